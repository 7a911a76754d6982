"""The named quantities: the meaning and unit of each figure. Handbook, tables and JSON read them here."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, NamedTuple

SCHEMA: Final = 1


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


QUANTITIES: Final = _table(
    ("exchanges", "exchanges", "", "requests that ended in any way: answered, refused, timed out, damaged; also "
     "broadcasts, which have no answer"),
    ("poll_rate", "poll rate", "/s", "polls answered well, divided by the time of the run; on a line that only "
     "clients from outside poll, by the time from the first connection to the last disconnection; for a camera, "
     "those of its most polled group, or all reads by clients from outside"),
    ("age_mean", "age, mean", "s", "mean over time of now minus the instant at which the camera read the value last "
     "delivered, for the oldest part of its most polled group; for reads by clients from outside, of the value with "
     "the largest one, without values read only once"),
    ("age_worst", "age, worst", "s", "the largest value of this age"),
    ("latency_p50", "latency p50", "s", "half of the exchanges took at most this from the request sent to the "
     "complete reply at the master (answered ones; to 0.1 %)"),
    ("latency_p95", "latency p95", "s", "95 % of the exchanges took at most this"),
    ("latency_p99", "latency p99", "s", "99 % of the exchanges took at most this"),
    ("latency_max", "latency max", "s", "the longest exchange"),
    ("move_p95", "move p95", "s", "95 % of operators' moves were acknowledged within this, from the move at the "
     "panel; moves sent to a controller under test had reached the camera within this"),
    ("move_max", "move max", "s", "the longest time of any move"),
    ("time_outs", "time-outs", "", "exchanges timed out without a single character heard"),
    ("ran_together", "ran together", "", "exchanges timed out without a single character heard, whose request had "
     "bytes before or after it without the silence between two frames"),
    ("retries", "retries", "", "attempts beyond the first for the same command"),
    ("damaged", "damaged", "", "exchanges given up with characters heard that made no sound reply, be they others' or "
     "an echo of the request"),
    ("refused", "refused", "", "exchanges that the camera answered with a refusal"),
    ("collisions", "collisions", "", "bursts that began before another driver's characters had ended"),
    ("occupancy", "occupancy", "1", "share of time in which characters are on the wire"),
    ("load", "load", "1", "share of time in which the busiest master is inside exchanges, with the pause after each"),
    ("headroom", "headroom", "1", "1 - load, if every poll group has a wanted rate"),
    ("intents", "intents", "", "operators' moves sent to a controller under test"),
    ("intent_p95", "intent p95", "s", "95 % of these moves that reached their camera had changed it within this, "
     "from the move; without moves to the value that it already had"),
    ("intent_max", "intent max", "s", "the longest of these times"),
    ("intents_left", "intents left", "", "moves whose value their camera had not taken by the end, without those "
     "that a later move of the same control replaced"),
    ("beliefs", "beliefs", "", "values of controls that the controller reported for its cameras"),
    ("belief_share", "beliefs right", "1", "share of these values that the camera had at that instant"),
    ("behind_p95", "behind p95", "s", "95 % of these beliefs lagged behind their camera by at most this: 0 if right, "
     "else the time since the camera had that value; without values that it never had"),
    ("behind_max", "behind max", "s", "the longest of these lags"),
    ("fast_share", "fast path", "1", "share of exchanges whose bursts all took the fast path"),
)  # fmt: skip
