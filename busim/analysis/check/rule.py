"""A rule: one possible mistake in a plan, with its whole documentation.

A rule carries its own page: the reason on site, the source, the advice, and two examples, a plan with a finding and a
plan without. So page and rule cannot differ, and one test holds all rules to their examples. A rule is a module in
`rules`; no other place lists it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import NamedTuple

from busim.analysis.check.survey import Survey
from busim.foundation.diagnostics import Severity

AREAS = {
    "addresses": "bus IDs, serial numbers, endpoints and networks",
    "masters": "masters, their converters and clients, and the needs of panels",
    "settings": "baud, format, clocks, drivers, protocols and firmware",
    "cable": "lengths, terminators, bias and unit loads",
    "supply": "voltages along the chain, classes and fuses",
    "time": "wanted rates, time-outs, and delays that operators feel",
    "video": "shutters and frame rates",
    "cautions": "where work can hurt someone",
    "plan": "the plan itself",
}

# Ends the remedy of every rule that has a person touch a cable, a plug, a supply or a box.
CAUTION = "Caution: supply off and checked first; heads can move; the local code and licensed people decide."

# Pieces of the sound plan, each with what stands in its place: see `examples`.
Edits = tuple[tuple[str, str], ...]


class Spot(NamedTuple):
    """One finding of a rule. `field`: path of the plan's field, such as `cameras[2].bus_id`.

    `what` is one sentence without a full stop. `found` and `expected` hold numbers with their units and their
    origin: planned, assumed or computed. `mend`: what to do; "": the advice of the rule.
    """

    field: str
    what: str
    found: str
    expected: str
    mend: str = ""


Spots = Iterator[Spot]


@dataclass(frozen=True, slots=True)
class Rule:
    """One rule. `id`: words joined by hyphens, as it is silenced and explained; its module has the same name.

    `explanation`: the reason on site. `source`: published, or "common practice, no source". `advice`: what to do.
    `find` yields every spot, raises nothing, and takes time in proportion to the plan. `bad`: with these edits
    of the sound plan this rule has a finding at every mark, and no other rule has any. `good`: no rule has a finding.
    `hands_on`: its remedy has a person touch a cable, a plug, a supply or a box, so it ends with `CAUTION`.
    `refuses`: its findings prevent a run and a budget, so a plan cannot silence it.
    `afterwards`: it judges the results of the other rules. `beside`: names and texts of files that the examples name.
    """

    id: str
    title: str
    severity: Severity
    area: str
    explanation: str
    source: str
    advice: str
    find: Callable[[Survey], Spots]
    bad: Edits
    good: Edits
    hands_on: bool = False
    refuses: bool = False
    afterwards: bool = False
    beside: tuple[tuple[str, str], ...] = ()

    def remedy(self, mend: str = "") -> str:
        """What to do: `mend` of a spot or the advice, with the caution if a person touches the installation."""
        said = mend or self.advice
        return f"{said} {CAUTION}" if self.hands_on else said
