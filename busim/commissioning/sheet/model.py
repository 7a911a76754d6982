"""A run sheet as data, independent of paper.

A crew trusts printed numbers, so each carries its origin: planned (from the plan), assumed (a default of busim or a
figure of the camera model, where the plan has no value) or computed (from both). Words have no origin.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from busim.foundation.diagnostics import Finding

PLANNED, ASSUMED, COMPUTED = "planned", "assumed", "computed"


@dataclass(frozen=True, slots=True)
class Value:
    """A printed number and its origin (`kind`)."""

    text: str
    kind: str


Cell = str | Value
Facts = tuple[tuple[str, Cell], ...]


@dataclass(frozen=True, slots=True)
class Table:
    """A table. `ticks`: each row has a box to tick; `found`: an empty column for notes on site."""

    title: str
    columns: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]
    note: str = ""
    ticks: bool = False
    found: bool = False


@dataclass(frozen=True, slots=True)
class Cable:
    """A piece of cable between two neighbours of a line, `number`: from 1, once in the hall."""

    number: int
    metres: Value | None  # None: unknown
    gauge: Value
    start: str
    end: str


@dataclass(frozen=True, slots=True)
class Stand:
    """A position of a line. `cable`: the cable that leads to it; `marks`: switches on, supplies injected there.

    `ohms`: of a terminator. `idle`, `peak`: supply voltage there, None if unknown. `supply_pair`: joined, past or cut,
    "" on a line without a supply pair.
    """

    kind: str
    name: str
    at: Value
    cable: Cable | None = None
    stub: Value | None = None
    bus_id: Value | None = None
    serial: Value | None = None
    place: str = ""
    ohms: Value | None = None
    marks: tuple[str, ...] = ()
    idle: Value | None = None
    peak: Value | None = None
    present: bool = True
    supply_pair: str = ""


@dataclass(frozen=True, slots=True)
class Card:
    """The settings of one converter."""

    name: str
    place: str
    facts: Facts


@dataclass(frozen=True, slots=True)
class LinePart:
    """One line: facts above its diagram, positions in order, and the cards of its converters."""

    name: str
    facts: Facts
    stands: tuple[Stand, ...]
    cards: tuple[Card, ...]


@dataclass(frozen=True, slots=True)
class Task:
    """A step of the commissioning. `look`: what the crew confirms by eye; `handling`: assumed handling time; `result`:
    of the rehearsal, "" if it passed or was not run; `caution`: what can hurt at this step."""

    number: int
    line: str
    what: str
    look: str = ""
    handling: Value | None = None
    result: str = ""
    caution: str = ""


@dataclass(frozen=True, slots=True)
class Label:
    """A label to cut out: one large word (an ID, a cable number) and lines of text."""

    kind: str
    name: str
    large: str
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Checks:
    """Printed findings of `busim check`. `silenced`: each finding with the reason for silencing it."""

    findings: tuple[Finding, ...] = ()
    silenced: tuple[tuple[Finding, str], ...] = ()
    assumed: tuple[str, ...] = ()

    def of(self, severity: str) -> tuple[Finding, ...]:
        return tuple(one for one in self.findings if one.severity == severity)


@dataclass(frozen=True, slots=True)
class Changes:
    """What changed since another print, of the plan `name` with this `digest`. `tasks`: kind of work and its texts.
    `caution`: of work that can hurt someone, "" if there is none."""

    name: str
    digest: str
    tasks: tuple[tuple[str, tuple[str, ...]], ...]
    caution: str


@dataclass(frozen=True, slots=True)
class Silent:
    """What to do if a camera of a line does not answer. `tree`: questions in order, and what follows from each."""

    line: str
    tree: tuple[tuple[str, str, str], ...]
    table: Table


@dataclass(frozen=True, slots=True)
class AsDone:
    """The record of a commissioning of `line`. `about`: where, when and by whom it was begun; `steps`: every try;
    `notes`: between the steps; `signature`: "" if there is none; `warnings`: why not to rely on it."""

    line: str
    about: str
    steps: Table
    notes: tuple[str, ...]
    signature: str
    warnings: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Document:
    """A whole sheet. `digest`: hash of the plan's text and files, which identifies a print; `silent`: what to do on
    each line if a camera does not answer; `done`: records of commissionings."""

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
    loose: tuple[Card, ...] = ()  # converters on no line
    tasks_note: str = ""
    cautions: tuple[tuple[str, str], ...] = field(default=())
    revision: str = ""
    author: str = ""
    changes: Changes | None = None
    silent: tuple[Silent, ...] = ()
    done: tuple[AsDone, ...] = ()
