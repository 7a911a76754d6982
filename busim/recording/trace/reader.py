"""Reads a trace file: head, names, settings, records in the order of writing.

Always read-only and few rows at once: a trace may be larger than memory, and may still be growing.
"""

from __future__ import annotations

import hashlib
import sqlite3
from collections.abc import Iterator
from contextlib import suppress
from itertools import chain
from pathlib import Path
from types import TracebackType
from typing import Any, NamedTuple

from busim.foundation.errors import Defect, UserError
from busim.recording.trace.claim import is_trace
from busim.recording.trace.integrity import (
    LATER,
    NAMED_ROW,
    batches,
    check_schema,
    connect,
    is_regular,
    setting_of,
    told,
    types_beside,
    types_of,
)
from busim.recording.trace.records import INPUT, TABLES, Record
from busim.recording.trace.schema import INSTANTS

_AT_ONCE = 4096  # rows of plain numbers
_FEW = 128  # rows that may hold many bytes each
_NAMES = "SELECT {row}, kind, name, parent FROM name ORDER BY {row}"
_SETTINGS = "SELECT {row}, baud, format, ppm, inverted, lead, hold FROM setting ORDER BY {row}"
_SUMMARY = (
    "SELECT line, start, bursts, exchanges, wire_ns, inside_ns, time_outs, damaged FROM summary "
    "WHERE line = ? AND start >= ? AND start < ? ORDER BY start"
)


class Name(NamedTuple):
    """The entity of a number; `parent` is the number of its owner, 0 for none."""

    kind: str
    name: str
    parent: int


class Trace:
    """An open trace; a context manager. Every method raises UserError if the file turns out damaged.

    `head`: the run (see the schema's HEAD); `names` and `settings`: by number. All reads see the file as it was when
    opened, though its run may go on.
    """

    def __init__(self, path: str) -> None:
        self.path = path
        try:
            self._database = connect(path)
        except sqlite3.Error as error:
            raise told(error, path) from error
        try:
            try:
                self.head = check_schema(self._database, path)
            except sqlite3.Error as error:
                raise told(error, path) from error
            self._schema = int(self.head["schema"])
            self._row = "row" if self._schema >= NAMED_ROW else "id"
            names = self._rows(_NAMES.format(row=self._row), types_beside("name"), (0,))
            self.names = {row[0]: Name(*row[1:]) for row in names}
            settings = self._rows(_SETTINGS.format(row=self._row), types_beside("setting"), (0,))
            self.settings = {row[0]: setting_of(path, *row[1:]) for row in settings}
        except BaseException:
            self._database.close()
            raise

    def records(
        self,
        kind: int | None = None,
        since: int | None = None,
        until: int | None = None,
        *,
        line: int | None = None,
        by_time: bool = False,
    ) -> Iterator[Record]:
        """The records of a kind (of all kinds, one after the other, for None), in the order of writing.

        since <= instant < until, in ns. The instant of a burst is its start, of a heard its first character, of an
        exchange its end. `line` keeps one line's records (kinds without a line are left out). `by_time` orders by the
        instant instead.
        """
        for each in TABLES if kind is None else (kind,):
            if each not in TABLES:
                raise Defect(f"no such kind of record: {each}")
            table, names, _ = TABLES[each]
            if each in LATER and self._schema < LATER[each]:
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
        query = f"SELECT {kind}, {columns}, n FROM {table}{indexed}{where} ORDER BY {order}"
        last = len(names) + 1
        behind = (1 + names.index(instant), last) if by_time else (last,)
        values = tuple(value for _, value in limits)
        return (row[:-1] for row in self._rows(query, (*types_of(kind), int), behind, values))

    def inputs(self) -> Iterator[Record]:
        """The inputs from outside, in the order of arrival: replay feeds them in again."""
        return self.records(INPUT)

    def lateness(self) -> Iterator[tuple[int, int]]:
        """(instant, ns late) of a run on the wall clock, in the order of writing."""
        query = "SELECT at, ns, rowid FROM lateness ORDER BY rowid"
        return ((at, ns) for at, ns, _ in self._rows(query, (int, int, int), (2,)))

    def summary(self, line: int, since: int = 0, until: int | None = None) -> Iterator[list[tuple[int, ...]]]:
        """The rows of the summary table of a line that begin in since <= start < until (ns), thousands at once: line,
        start (ns) of 100 ms with an event, and their sums, times in ns.
        """
        end = until if until is not None else 2**63 - 1
        return self._batches(_SUMMARY, types_beside("summary"), (1,), (line, since, end), _AT_ONCE)

    def last_sum(self, line: int) -> int:
        """The start, in ns, of the last row of the summary table of a line; -1 without one."""
        query = "SELECT start FROM summary WHERE line = ? ORDER BY start DESC LIMIT 1"
        return next((start for (start,) in self._rows(query, (int,), (0,), (line,))), -1)

    def fingerprint(self) -> str:
        """SHA-256, in hex, of names, settings and all records in order: equal for two identical runs.

        Head, summary and lateness have no part in it: the first says where and when, the second follows
        from the records, the third is the machine's. The dump is the ASCII text of each row.
        """
        digest = hashlib.sha256()
        for number, name in self.names.items():
            digest.update(f"name{(number, *name)!a}\n".encode())
        for row in self._rows(_SETTINGS.format(row=self._row), types_beside("setting"), (0,)):
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

    def _rows(
        self, query: str, types: tuple[type, ...], order: tuple[int, ...], values: tuple[int, ...] = ()
    ) -> Iterator[Any]:
        return chain.from_iterable(self._batches(query, types, order, values, _FEW))

    def _batches(
        self, query: str, types: tuple[type, ...], order: tuple[int, ...], values: tuple[int, ...], most: int
    ) -> Iterator[list[tuple[Any, ...]]]:
        try:
            cursor = self._database.execute(query, values)
            try:
                yield from batches(cursor, types, self.path, order, most)
            finally:
                with suppress(sqlite3.ProgrammingError):  # the trace was closed first, and its cursors with it
                    cursor.close()
        except sqlite3.Error as error:
            raise told(error, self.path) from error


def open_trace(path: str | Path) -> Trace:
    """Open a trace to read. Raises UserError when it is missing, no trace, of a newer schema, or damaged."""
    text = str(path)
    try:
        good = is_regular(text) and is_trace(text)
    except OSError as error:
        raise UserError(
            "the trace cannot be opened", file=text, found=error.strerror or str(error), mend="check the path"
        ) from error
    if not good:
        raise UserError("this is not a trace", file=text, mend="give a file that busim wrote with --trace")
    return Trace(text)
