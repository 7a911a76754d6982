"""A run sheet as data: what is printed, before anybody thinks about paper.

Numbers on a sheet are believed, so each carries where it comes from: planned (the plan says it), assumed (a default of
busim or the figure of a camera's model, where the plan is silent) or computed (from both). Words carry nothing.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from busim.foundation.diagnostics import Finding

PLANNED, ASSUMED, COMPUTED = "planned", "assumed", "computed"


@dataclass(frozen=True, slots=True)
class Value:
    """A number as it is printed, and where it comes from."""

    text: str
    kind: str


Cell = str | Value
Facts = tuple[tuple[str, Cell], ...]


@dataclass(frozen=True, slots=True)
class Table:
    """`ticks`: each row gets a box to tick; `found`: and an empty column for what was found."""

    title: str
    columns: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]
    note: str = ""
    ticks: bool = False
    found: bool = False


@dataclass(frozen=True, slots=True)
class Cable:
    """A piece of cable between two neighbours of a line, `number` from 1 along it."""

    number: int
    metres: Value | None  # None: nobody says
    gauge: Value
    start: str
    end: str


@dataclass(frozen=True, slots=True)
class Stand:
    """A position of a line. `cable`: the one that leads to it; `marks`: what is switched on or fed in there.

    `ohms`: of a terminator. `idle` and `peak`: V of its supply, None where nothing is known of one.
    """

    kind: str
    name: str
    at: Value
    cable: Cable | None = None
    stub: Value | None = None
    id: Value | None = None
    serial: Value | None = None
    place: str = ""
    ohms: Value | None = None
    marks: tuple[str, ...] = ()
    idle: Value | None = None
    peak: Value | None = None
    present: bool = True


@dataclass(frozen=True, slots=True)
class Card:
    """The settings of one converter."""

    name: str
    place: str
    facts: Facts


@dataclass(frozen=True, slots=True)
class LinePart:
    """One line: what is written over its diagram, its positions in order, and the converters on it."""

    name: str
    facts: Facts
    stands: tuple[Stand, ...]
    cards: tuple[Card, ...]


@dataclass(frozen=True, slots=True)
class Task:
    """A step of the commissioning. `look`: what somebody confirms by eye; `hands`: seconds assumed for it."""

    number: int
    line: str
    what: str
    look: str = ""
    hands: Value | None = None


@dataclass(frozen=True, slots=True)
class Label:
    """What is printed on a label to cut out: a large word (an ID, an end of a cable) and lines of text."""

    kind: str
    name: str
    large: str
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Checks:
    """What `busim check` found, as far as it is printed. `silenced`: finding and the reason for its silence."""

    findings: tuple[Finding, ...] = ()
    silenced: tuple[tuple[Finding, str], ...] = ()
    assumed: tuple[str, ...] = ()

    def of(self, severity: str) -> tuple[Finding, ...]:
        return tuple(one for one in self.findings if one.severity == severity)


@dataclass(frozen=True, slots=True)
class Document:
    """A whole sheet. `digest`: of the plan's text and the files it names, so that two prints can be told apart."""

    name: str
    path: str
    digest: str
    version: str
    date: str
    facts: Facts
    checks: Checks
    lines: tuple[LinePart, ...]
    settings: tuple[Table, ...]
    bill: tuple[Table, ...]
    tasks: tuple[Task, ...]
    labels: tuple[Label, ...]
    loose: tuple[Card, ...] = ()  # converters that stand on no line
    tasks_note: str = ""
    cautions: tuple[tuple[str, str], ...] = field(default=())
