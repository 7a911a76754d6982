"""Reads a trace file: head, names, settings, records in the order they were written.

Always read-only and always row by row: a trace may be larger than memory, and may still be being written.
"""

from __future__ import annotations

import hashlib
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from fractions import Fraction
from pathlib import Path
from types import TracebackType
from typing import Any, NamedTuple

from busim.foundation.errors import Defect, UserError
from busim.foundation.units import CharFormat
from busim.recording.trace.records import BELIEF, INPUT, INTENT, SCHEMA, TABLES, Record
from busim.recording.trace.schema import INSTANTS, SUMMARY_NS
from busim.recording.trace.writer import HeadValue, is_trace

_LATER = {INTENT: 2, BELIEF: 2}  # kinds that traces of older schemas do not have
_SETTINGS = "SELECT id, baud, format, ppm, inverted, lead, hold FROM setting ORDER BY id"


class Name(NamedTuple):
    """What a number stands for; `parent` is the number it belongs to, 0 for none."""

    kind: str
    name: str
    parent: int


class Setting(NamedTuple):
    """How a driver sends. `ppm` is the error of its clock; `inverted` is true where its pair is swapped.

    `lead` and `hold`: ns the driver is enabled before and after the characters, negative where it cuts them.
    """

    baud: Fraction
    format: CharFormat
    ppm: float
    inverted: bool
    lead: int = 0
    hold: int = 0

    @property
    def true_baud(self) -> Fraction:
        """Baud as the driver's own clock makes it."""
        return self.baud * (1 + Fraction(self.ppm).limit_denominator(10**6) / 10**6)


class SummaryRow(NamedTuple):
    """Sums over a stretch of one line beginning at `start`; see the summary table."""

    line: int
    start: int
    bursts: int
    exchanges: int
    wire_ns: int
    inside_ns: int
    time_outs: int
    damaged: int


class Trace:
    """An open trace; a context manager. Every method raises UserError when the file turns out damaged.

    `head`: the run (see the schema's HEAD); `names` and `settings`: by number.
    """

    def __init__(self, path: str) -> None:
        self.path = path
        with self._telling():
            self._database = sqlite3.connect(Path(path).absolute().as_uri() + "?mode=ro", uri=True)
            self.head: dict[str, HeadValue] = dict(self._rows("SELECT key, value FROM head"))
        self._check_schema()
        names = self._rows("SELECT id, kind, name, parent FROM name ORDER BY id")
        self.names = {row[0]: Name(*row[1:]) for row in names}
        self.settings = {row[0]: self._setting(*row[1:]) for row in self._rows(_SETTINGS)}

    def records(
        self,
        kind: int | None = None,
        since: int | None = None,
        until: int | None = None,
        *,
        line: int | None = None,
        by_time: bool = False,
    ) -> Iterator[Record]:
        """The records of a kind (of all kinds, one after the other, where None), in the order they were written.

        since <= instant < until, in ns; the instant of a burst is its start, of a heard its first character, of an
        exchange its end. `line` keeps one line's (kinds without a line are left out). `by_time` orders by the
        instant instead.
        """
        for each in TABLES if kind is None else (kind,):
            if each not in TABLES:
                raise Defect(f"no such kind of record: {each}")
            table, names, _ = TABLES[each]
            if each in _LATER and self._schema < _LATER[each]:
                continue
            if line is None or "line" in names:
                yield from self._records(each, table, names, since, until, line, by_time)

    def _records(
        self,
        kind: int,
        table: str,
        names: tuple[str, ...],
        since: int | None,
        until: int | None,
        line: int | None,
        by_time: bool,
    ) -> Iterator[Record]:
        instant = INSTANTS[kind]
        limits = [
            (text, value)
            for text, value in ((f'"{instant}" >= ?', since), (f'"{instant}" < ?', until), ("line = ?", line))
            if value is not None
        ]
        where = f" WHERE {' AND '.join(text for text, _ in limits)}" if limits else ""
        indexed = f" INDEXED BY {table}_at" if by_time or since is not None or until is not None else ""
        order = f'"{instant}", n' if by_time else "n"
        columns = ", ".join(f'"{name}"' for name in names)
        query = f"SELECT {kind}, {columns} FROM {table}{indexed}{where} ORDER BY {order}"
        yield from self._rows(query, tuple(value for _, value in limits))

    def inputs(self) -> Iterator[Record]:
        """The inputs from outside, in the order they came: what replay feeds back."""
        return self.records(INPUT)

    def lateness(self) -> Iterator[tuple[int, int]]:
        """(instant, ns late) of a run on the wall clock, in the order written."""
        return self._rows("SELECT at, ns FROM lateness ORDER BY rowid")

    def summary(
        self, line: int, since: int = 0, until: int | None = None, every: int = SUMMARY_NS
    ) -> Iterator[SummaryRow]:
        """Sums of a line per `every` ns (a multiple of 100 ms), since <= start < until; empty stretches left out.

        Raises Defect when `every` is no multiple of 100 ms.
        """
        if every <= 0 or every % SUMMARY_NS:
            raise Defect(f"a summary is made of steps of {SUMMARY_NS} ns, not of {every}")
        query = (
            "SELECT line, start / ?1 * ?1 AS bin, sum(bursts), sum(exchanges), sum(wire_ns), sum(inside_ns), "
            "sum(time_outs), sum(damaged) FROM summary WHERE line = ?2 AND start >= ?3 AND start < ?4 "
            "GROUP BY bin ORDER BY bin"
        )
        end = until if until is not None else 2**63 - 1
        return (SummaryRow(*row) for row in self._rows(query, (every, line, since, end)))

    def fingerprint(self) -> str:
        """SHA-256, in hex, of names, settings and all records in order: equal for two identical runs.

        Head, summary and lateness have no part in it: the first says where and when, the second follows
        from the records, the third is the machine's. The dump is the ASCII text of each row.
        """
        digest = hashlib.sha256()
        for number, name in self.names.items():
            digest.update(f"name{(number, *name)!a}\n".encode())
        for row in self._rows(_SETTINGS):
            digest.update(f"setting{row!a}\n".encode())
        for record in self.records():
            digest.update(f"{record!a}\n".encode())
        return digest.hexdigest()

    def close(self) -> None:
        self._database.close()

    def __enter__(self) -> Trace:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def _rows(self, query: str, values: tuple[int, ...] = ()) -> Iterator[Any]:
        with self._telling():
            yield from self._database.execute(query, values)

    def _setting(self, baud: str, form: str, ppm: float, inverted: int, lead: int, hold: int) -> Setting:
        try:
            return Setting(Fraction(baud), CharFormat.parse(form), ppm, bool(inverted), lead, hold)
        except (ValueError, ZeroDivisionError) as error:
            raise _damaged(self.path, f"baud {baud!r}") from error

    def _check_schema(self) -> None:
        schema = self.head.get("schema")
        if not isinstance(schema, int) or schema > SCHEMA:
            raise UserError(
                "this trace was written by a newer busim",
                file=self.path,
                found=f"schema {schema}, busim {self.head.get('busim')}",
                expected=f"schema {SCHEMA}",
                mend="read it with that version or a newer one",
            )
        self._schema = schema

    @contextmanager
    def _telling(self) -> Iterator[None]:
        try:
            yield
        except sqlite3.OperationalError as error:
            raise UserError(
                "the trace cannot be read",
                file=self.path,
                found=str(error),
                mend="after a killed run in a read-only folder copy the file and its -wal file elsewhere",
            ) from error
        except sqlite3.DatabaseError as error:
            raise _damaged(self.path, str(error)) from error


def _damaged(path: str, found: str) -> UserError:
    return UserError("the trace is damaged", file=path, found=found, mend="use another copy of it")


def open_trace(path: str | Path) -> Trace:
    """Open a trace to read. Raises UserError when it is missing, no trace, of a newer schema, or damaged."""
    text = str(path)
    try:
        good = is_trace(text)
    except OSError as error:
        raise UserError(
            "the trace cannot be opened", file=text, found=error.strerror or str(error), mend="check the path"
        ) from error
    if not good:
        raise UserError("this is not a trace", file=text, mend="give a file that busim wrote with --trace")
    return Trace(text)
