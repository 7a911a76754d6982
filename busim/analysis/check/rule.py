"""What a rule is: one thing that can be wrong with a plan, with everything there is to say about it.

A rule carries its own page: why the thing matters on site, where the knowledge comes from, what to do, and two plans,
one on which it speaks and one on which it is silent. So the page cannot drift from the rule, and one test holds all
rules to their examples. A rule is a module of its own in `rules`; nothing has to be told of it anywhere else.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import NamedTuple

from busim.analysis.check.survey import Survey
from busim.foundation.diagnostics import Severity

AREAS = {
    "addresses": "bus IDs, serial numbers, endpoints and networks",
    "masters": "who asks, through what, and whether panels get what they need",
    "settings": "baud, format, clocks, drivers, protocols and firmware",
    "cable": "lengths, terminators, bias and unit loads",
    "supply": "voltages along the chain, classes and fuses",
    "time": "rates that are wanted, time-outs, and what operators feel",
    "video": "shutters and frame rates",
    "cautions": "where work can hurt someone",
    "plan": "the plan itself",
}

# Pieces of the sound plan, each with what stands in its place: see `examples`.
Edits = tuple[tuple[str, str], ...]


class Spot(NamedTuple):
    """A place at which a rule does not hold. `field`: path of the plan's field, such as `cameras[2].id`.

    `what` is one sentence without a full stop. `found` and `expected` hold numbers with their units, and whether those
    were planned, assumed or computed, where that is not plain. `mend`: what to do; "" where the rule's advice says it.
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

    `explanation`: why it matters on site. `source`: published, or "common practice, no source". `advice`: how to mend.
    `find` yields every spot, raises nothing, and takes time in proportion to the plan. `bad`: with these edits
    of the sound plan this rule speaks at every mark, and no other rule does. `good`: with these none speaks.
    `refuses`: what it finds keeps the plan from being run or computed, so a plan cannot silence it.
    `afterwards`: it judges what the other rules found. `beside`: names and texts of files that the examples name.
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
    refuses: bool = False
    afterwards: bool = False
    beside: tuple[tuple[str, str], ...] = ()
