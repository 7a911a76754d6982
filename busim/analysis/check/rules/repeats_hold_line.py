"""A command to a dead camera that holds the line."""

from __future__ import annotations

from busim.analysis.check.exchanges import ONE_WAY, by_master, elsewhere, lost
from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey, Timed
from busim.foundation.units import show_time

_FLOW = 1_000_000_000.0  # ns


def _find(survey: Survey) -> Spots:
    for timed, count in by_master(survey, _held):
        yield Spot(
            f"{timed.asker.field}.retries",
            f"a command to a dead camera holds line {timed.case.line!r}{elsewhere(count)}",
            f"{1 + timed.case.retries} attempts, {show_time(_whole(timed))} in total (computed)",
            f"at most {show_time(_FLOW)}, which keeps the flow of thought (Nielsen 1993, ch. 5)",
        )


def _whole(timed: Timed) -> float:
    return (1 + timed.case.retries) * lost(timed)


def _held(timed: Timed) -> float:
    short = lost(timed) <= ONE_WAY  # otherwise a single attempt is too long
    return _whole(timed) - _FLOW if timed.case.moves and short else 0.0


RULE = Rule(
    id="repeats-hold-line",
    title="A command to a dead camera that holds the line",
    severity="warning",
    area="time",
    explanation="When an operator turns a knob of a dead camera, all other cameras on the line stand still for this "
    "time, for all operators.",
    source="1 s keeps the flow of thought: Nielsen, Usability Engineering, 1993, ch. 5; Miller, AFIPS 33, 1968",
    advice="Lower `retries`: a newer move follows anyway.",
    find=_find,
    bad=(("retries: 2", "retries: «60"),),
    good=(("retries: 2", "retries: 5"),),
)
