"""Two traces compared: their first difference, and their figures side by side.

Records are taken in order of their instants, then of their kinds, in whatever order a run wrote them. If the traces
have the same names, the rows themselves are compared. Otherwise names replace numbers, so one more camera does not
change every record.
"""

from __future__ import annotations

import heapq
from collections import deque
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from itertools import chain, islice
from pathlib import Path
from typing import Any

from busim.installation import outline
from busim.recording.expectations import expectations
from busim.recording.figures import Fold, Value
from busim.recording.trace import (
    BELIEF,
    BURST,
    CHANGE,
    EFFECT,
    EXCHANGE,
    INPUT,
    INTENT,
    REAL,
    TABLES,
    Record,
    Trace,
    damaged,
    open_trace,
)
from busim.recording.trace.schema import INSTANTS
from busim.runtime.session.replay import last_instant, plan_of
from busim.runtime.session.report import AT_A_REAL_LINE, Report, make_report
from busim.runtime.session.run import doors, restless
from busim.simulator.world import Name

SCHEMA = 1
_BEFORE, _AFTER = 3, 2  # records of context
_HEAD = ("busim", "clock", "seed", "speed", "played", "hook", "plan_text", "plan_files", "defaults", "complete")
_NUMBERS = ("line", "driver", "station", "master", "camera", "port", "who")  # columns that hold numbers of names
_AT = {kind: 1 + TABLES[kind][1].index(name) for kind, name in INSTANTS.items()}


@dataclass(frozen=True, slots=True)
class Parting:
    """The first difference of two traces: `at` ns, on `line` ("" for none), in a record of this `kind`.

    `columns`: name and both values of each difference, if both have such a record; else `only_in` is 1 or 2. `before`:
    the last common records, as text; `one` and `other`: how each goes on, the first different record first.
    """

    at: int
    line: str
    kind: str
    columns: tuple[tuple[str, Any, Any], ...]
    only_in: int
    before: tuple[str, ...]
    one: tuple[str, ...]
    other: tuple[str, ...]

    def as_json(self) -> dict[str, Any]:
        """JSON-ready."""
        return {
            "at_s": self.at / 1e9,
            "line": self.line or None,
            "kind": self.kind,
            "columns": [{"column": name, "one": one, "other": other} for name, one, other in self.columns],
            "only_in": self.only_in or None,
            "before": list(self.before),
            "one": list(self.one),
            "other": list(self.other),
        }


@dataclass(frozen=True, slots=True)
class Pair:
    """A figure of both: `of` is a line or camera (`kind`); None if the trace has no such entity."""

    kind: str
    of: str
    figure: str
    one: Value | None
    other: Value | None

    @property
    def same(self) -> bool:
        return _said(self.one) == _said(self.other)


@dataclass(frozen=True, slots=True)
class Comparison:
    """`parting` None and `notes` empty: both are the same. `notes`: other differences, in sentences."""

    parting: Parting | None
    equal: bool
    notes: tuple[str, ...]
    figures: tuple[Pair, ...]

    def as_json(self) -> dict[str, Any]:
        """JSON-ready."""
        return {
            "schema": SCHEMA,
            "equal": self.equal,
            "first_difference": None if self.parting is None else self.parting.as_json(),
            "notes": list(self.notes),
            "figures": [
                {"kind": pair.kind, "of": pair.of, "figure": pair.figure, "same": pair.same,
                 "one": _json(pair.one), "other": _json(pair.other)}
                for pair in self.figures
            ],
        }  # fmt: skip


def compare(one: str | Path, other: str | Path) -> Comparison:
    """Compare two traces. Raises UserError if one cannot be read."""
    with open_trace(one) as first, open_trace(other) as second:
        notes = [*_heads(first, second), *_tables(first, second)]
        parting = _parting(first, second)
        equal = parting is None and first.names == second.names and first.settings == second.settings
        if equal and first.fingerprint() != second.fingerprint():
            equal = False
            notes.append("the records are the same, but they were written in another order")
        return Comparison(parting, equal, tuple(notes), tuple(_pairs(recorded_report(first), recorded_report(second))))


def recorded_report(trace: Trace) -> Report:
    """The figures of a trace, from its records alone. Raises UserError if its plan cannot be read."""
    plan = plan_of(trace)
    names = [Name(number, *name) for number, name in trace.names.items()]
    fold = Fold(hooked=trace.head.get("hook") == 1)
    fold.restless = restless(outline(plan), names)
    fold.presence.doors = doors(names) if trace.head.get("clock") != "fast" else {}
    fold.unseen = "a tap does not see the wire" if trace.head.get("clock") == REAL else ""
    # In the order of writing: the fold needs the order within each kind, and there is none between these three groups.
    hook = heapq.merge(*(trace.records(kind) for kind in (CHANGE, INTENT, BELIEF, INPUT, EFFECT)), key=_instant)
    for record in chain(trace.records(BURST), trace.records(EXCHANGE), hook):
        fold.take(record)
    ended = trace.head.get("ended_at")
    until = ended if isinstance(ended, int) else last_instant(trace)
    seed, clock = trace.head.get("seed"), str(trace.head.get("clock"))
    try:
        report = make_report(plan, seed if isinstance(seed, int) else 0, clock, names, fold, until, expectations(plan))
    except KeyError as error:
        raise damaged(trace.path, f"names that are not those of its plan, as {str(error)[:80]}") from None
    return replace(report, assumptions=AT_A_REAL_LINE) if clock == REAL else report


# -- records ------------------------------------------------------------------------------------------------


def _instant(record: Record) -> int:
    return int(record[_AT[record[0]]])


def _ordered(trace: Trace) -> Iterator[Record]:
    kinds = (trace.records(kind, by_time=True) for kind in TABLES)
    return heapq.merge(*kinds, key=lambda record: (_instant(record), record[0]))


def _parting(first: Trace, second: Trace) -> Parting | None:
    alike = first.names == second.names and first.settings == second.settings
    ones, others = _ordered(first), _ordered(second)
    before: deque[Record] = deque(maxlen=_BEFORE)
    while True:
        one, other = next(ones, None), next(others, None)
        if one is None and other is None:
            return None
        if one is None or other is None or (one != other and (alike or _row(first, one) != _row(second, other))):
            return _told(first, second, before, _with(one, ones), _with(other, others))
        before.append(one)


def _with(record: Record | None, rest: Iterable[Record]) -> list[Record]:
    return [] if record is None else [record, *islice(rest, _AFTER)]


def _told(first: Trace, second: Trace, before: Iterable[Record], ones: list[Record], others: list[Record]) -> Parting:
    """Both go on differently: with one changed record, or with another one, the earlier."""
    one, other = (_row(trace, each[0]) if each else () for trace, each in ((first, ones), (second, others)))
    columns: tuple[tuple[str, Any, Any], ...] = ()
    only_in = 0
    if one and other and _who(one) == _who(other):
        triples = zip(TABLES[one[0]][1], one[1:], other[1:], strict=True)
        columns = tuple((name, a, b) for name, a, b in triples if a != b)
    else:
        only_in = 1 if not other or (one and (one[_AT[one[0]]], one[0]) < (other[_AT[other[0]]], other[0])) else 2
    trace, record = (second, others[0]) if only_in == 2 else (first, ones[0])
    names = TABLES[record[0]][1]
    line = str(_row(trace, record)[1 + names.index("line")]) if "line" in names else ""
    return Parting(
        _instant(record), line, TABLES[record[0]][0], columns, only_in,
        tuple(_text(first, each) for each in before),
        tuple(_text(first, each) for each in ones),
        tuple(_text(second, each) for each in others),
    )  # fmt: skip


def _row(trace: Trace, record: Record) -> tuple[Any, ...]:
    """The record with names for numbers, the setting of a driver for its number, and bytes in hexadecimal."""
    row: list[Any] = [record[0]]
    for column, value in zip(TABLES[record[0]][1], record[1:], strict=True):
        if column in _NUMBERS and isinstance(value, int):
            name = trace.names.get(value)
            row.append(name.name if name is not None else "" if value == 0 else f"number {value}")
        elif column == "setting":
            setting = trace.settings.get(value)
            row.append(f"number {value}" if setting is None else " ".join(str(part) for part in setting))
        else:
            row.append(value.hex(" ") if isinstance(value, bytes) else value)
    return tuple(row)


def _who(row: tuple[Any, ...]) -> tuple[Any, ...]:
    """Its kind and its owner."""
    return (row[0], *(value for name, value in zip(TABLES[row[0]][1], row[1:], strict=True) if name in _NUMBERS))


def _text(trace: Trace, record: Record) -> str:
    kind = record[0]
    pairs = zip(TABLES[kind][1], _row(trace, record)[1:], strict=True)
    rest = ", ".join(f"{name} {value}" for name, value in pairs if value != "" and name != INSTANTS[kind])
    return f"{_instant(record) / 1e9:.9f} s {TABLES[kind][0]}: {rest}"


# -- besides ------------------------------------------------------------------------------------------------


def _heads(first: Trace, second: Trace) -> Iterator[str]:
    for key in _HEAD:
        one, other = first.head.get(key), second.head.get(key)
        if one != other:
            shown = key in ("busim", "clock", "seed", "speed", "played", "hook")
            yield f"{key} differs: {one} and {other}" if shown else f"{key} differs"


def _tables(first: Trace, second: Trace) -> Iterator[str]:
    for title, one, other in (("the first", first, second), ("the second", second, first)):
        known = {(name.kind, name.name) for name in other.names.values()}
        for name in one.names.values():
            if (name.kind, name.name) not in known:
                yield f"{name.kind} {name.name} is only in {title}"
    if first.settings != second.settings:
        yield "settings of drivers differ (table setting)"


def _pairs(one: Report, other: Report) -> Iterator[Pair]:
    ones, others = _scopes(one), _scopes(other)
    for scope in dict.fromkeys((*ones, *others)):
        a, b = ones.get(scope, {}), others.get(scope, {})
        for figure in dict.fromkeys((*a, *b)):
            yield Pair(*scope, figure, a.get(figure), b.get(figure))


def _scopes(report: Report) -> dict[tuple[str, str], dict[str, Value]]:
    found = {}
    for line in report.lines:
        found["line", line.name] = line.figures
        found.update({("camera", camera.name): camera.figures for camera in line.cameras})
    return found


def _said(value: Value | None) -> tuple[float | None, str] | None:
    return None if value is None else (value.value, value.why)


def _json(value: Value | None) -> dict[str, Any] | None:
    if value is None:
        return None
    said: dict[str, Any] = {"value": value.value, "unit": value.quantity.unit, "kind": value.kind, "count": value.count}
    return said if value.value is not None else said | {"not_applicable": value.why}
