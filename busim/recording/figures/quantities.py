"""The named quantities: the meaning and unit of each figure. Handbook, tables and JSON read them here."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

SCHEMA = 1


@dataclass(frozen=True, slots=True)
class Quantity:
    """`unit`: "" for a plain number, "1" for a share."""

    name: str
    title: str
    unit: str
    definition: str


class Value(NamedTuple):
    """A value of a quantity. `kind`: planned, assumed, computed or measured.

    `value` None: not applicable, `why` says so. `count`: the number of observations behind it.
    """

    quantity: Quantity
    value: float | None
    count: int  # type: ignore[assignment]  # and not the method of tuples
    why: str = ""
    kind: str = "measured"


def _table(*rows: tuple[str, str, str, str]) -> dict[str, Quantity]:
    return {row[0]: Quantity(*row) for row in rows}


QUANTITIES = _table(
    ("exchanges", "exchanges", "", "requests that ended in any way: answered, refused, timed out, damaged; broadcasts, "
     "which nobody answers, too"),
    ("poll_rate", "poll rate", "/s", "polls answered well, divided by the time of the run, or on a line that only "
     "clients from outside ask, from the first one's coming to the last one's going; for a camera, those of its most "
     "polled group, or all reads by clients from outside"),
    ("age_mean", "age, mean", "s", "mean over time of now minus the instant at which the camera read the value last "
     "delivered, for the oldest part of its most polled group; where clients from outside read, for the value of which "
     "it is largest, those read only once left out"),
    ("age_worst", "age, worst", "s", "the largest value of this age"),
    ("latency_p50", "latency p50", "s", "half of the exchanges took at most this from request sent to reply whole at "
     "the master (answered ones; to 0.1 %)"),
    ("latency_p95", "latency p95", "s", "95 % of the exchanges took at most this"),
    ("latency_p99", "latency p99", "s", "99 % of the exchanges took at most this"),
    ("latency_max", "latency max", "s", "the longest exchange"),
    ("move_p95", "move p95", "s", "95 % of operators' moves were acknowledged within this, from the move at the panel; "
     "of moves that a controller under test was told of: were at the camera within this"),
    ("move_max", "move max", "s", "the longest time of any move"),
    ("time_outs", "time-outs", "", "exchanges given up without a single character heard"),
    ("ran_together", "ran together", "", "exchanges given up without a single character heard whose request followed "
     "other bytes, or was followed by some, without the silence between two frames"),
    ("retries", "retries", "", "attempts beyond the first for the same command"),
    ("damaged", "damaged", "", "exchanges given up with characters heard that made no sound reply, be they others' or "
     "an echo of the request"),
    ("refused", "refused", "", "exchanges that the camera answered with a refusal"),
    ("collisions", "collisions", "", "bursts that began before another driver's characters had ended"),
    ("occupancy", "occupancy", "1", "share of time in which characters are on the wire"),
    ("load", "load", "1", "share of time in which the busiest master is inside exchanges, the pause it owes the line "
     "after each included"),
    ("headroom", "headroom", "1", "1 - load, where every poll group has a wanted rate"),
    ("intents", "intents", "", "operators' moves that a controller under test was told of"),
    ("intent_p95", "intent p95", "s", "95 % of these moves that reached their camera had changed it within this, from "
     "the move; one that finds its value there already is not counted"),
    ("intent_max", "intent max", "s", "the longest of these times"),
    ("intents_left", "intents left", "", "moves whose value their camera had not taken by the end, and that no later "
     "move of the same control replaced"),
    ("beliefs", "beliefs", "", "values of controls that the controller said a camera has"),
    ("belief_share", "beliefs right", "1", "share of these that the camera did have at that instant"),
    ("behind_p95", "behind p95", "s", "95 % of these beliefs lagged behind their camera by at most this: 0 where they "
     "are right, else the time since the camera had that value; those that it never had are not counted"),
    ("behind_max", "behind max", "s", "the longest of these lags"),
    ("fast_share", "fast path", "1", "share of exchanges whose bursts all took the fast path"),
)  # fmt: skip
