"""Checks of a trace before any query: a file may be damaged, or made to harm its reader.

A database can hold views, triggers and expressions that run when it is read, values of types that its tables do not
take, and pages that form a circle. So busim compares the schema, letter for letter, with its own before any query, and
checks every row. All of it takes time and memory in proportion to the file.
"""

from __future__ import annotations

import math
import operator
import os
import re
import sqlite3
import stat
from collections.abc import Iterator
from contextlib import closing
from fractions import Fraction
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Any, NamedTuple

from busim.foundation.errors import UserError
from busim.foundation.units import CharFormat
from busim.recording.trace.records import BELIEF, INTENT, PULSE, SCHEMA, TABLES, TYPES
from busim.recording.trace.schema import BESIDE, HEAD, statements
from busim.recording.trace.writer import HeadValue

NAMED_ROW = 4  # the schema since which a number of the tables `name` and `setting` is called `row`; before, `id`
LATER = {INTENT: 2, BELIEF: 2, PULSE: 3}  # kinds that traces of older schemas do not have
LONGEST_RUN = 400 * 86_400 * 10**9  # ns; busim writes no trace with more
_BAUD = re.compile(r"[1-9][0-9]{0,14}(/[1-9][0-9]{0,14})?")
_ROW = re.compile(r"\brow\b")
_LEAST_LIMIT = 1 << 20  # bytes of a value, and of a query, that are always allowed
_MOST_PPM = 1e6
_MOST_LEAD = 10**12  # ns
_SQL_TYPES: dict[str, type] = {"INTEGER": int, "REAL": float, "TEXT": str, "BLOB": bytes}
_NUMBERS = {
    "schema": SCHEMA,
    "complete": 1,
    "hook": 1,
    "distinct": 1,
    "ended_at": LONGEST_RUN,
    "seed": 2**63 - 1,
    "epoch": 2**63 - 1,
}
_REACHED = {"CANTOPEN", "BUSY", "LOCKED", "IOERR", "READONLY", "PERM", "AUTH", "FULL", "NOMEM", "PROTOCOL"}


class Setting(NamedTuple):
    """The setting of a sender. `ppm` is the error of its clock; `inverted` is true if its pair is swapped.

    `lead` and `hold`: ns the driver is enabled before and after the characters, negative if it cuts them.
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


def types_of(kind: int) -> tuple[type, ...]:
    """The types of a record of this kind, its kind included."""
    return (int, *(_SQL_TYPES[TYPES.get(name, "INTEGER")] for name in TABLES[kind][1]))


def types_beside(table: str) -> tuple[type, ...]:
    """The types of a row of a table that holds no records."""
    return tuple(_SQL_TYPES[column.split()[1]] for column in BESIDE[table][0])


def connect(path: str) -> sqlite3.Connection:
    """A read-only connection that sees the file as of the first query. Raises sqlite3.Error, OSError."""
    size = sum(os.stat(name).st_size for name in (path, f"{path}-wal") if os.path.exists(name))
    database = sqlite3.connect(Path(path).absolute().as_uri() + "?mode=ro", uri=True, isolation_level=None)
    try:
        database.setlimit(sqlite3.SQLITE_LIMIT_LENGTH, max(_LEAST_LIMIT, min(size, 2**31 - 1)))  # no value is longer
        for pragma in ("trusted_schema = OFF", "cell_size_check = ON", "query_only = ON", "mmap_size = 0"):
            database.execute(f"PRAGMA {pragma}").close()
        database.execute("BEGIN").close()
    except BaseException:
        database.close()
        raise
    return database


def check_schema(database: sqlite3.Connection, path: str) -> dict[str, HeadValue]:
    """The head, if the file holds the tables and indexes of a trace and nothing else. Raises UserError."""
    found: set[tuple[Any, ...]] = set()
    most = 4 * len(_schema(SCHEMA))
    with closing(database.execute("SELECT type, name, tbl_name, sql FROM sqlite_schema")) as rows:
        for row in rows:
            found.add(row)
            if len(found) > most:
                raise damaged(path, f"more than {most} tables and indexes")
    head_table = {row for row in _schema(SCHEMA) if row[2] == "head"}
    if not head_table <= found:
        raise damaged(path, "no table `head` as a trace has it")
    head = _head(database, path)
    wanted = _schema(int(head["schema"]))
    if found != wanted:
        odd = sorted(str(row[1])[:60] for row in found ^ wanted)
        raise damaged(path, f"tables that are not those of a trace: {', '.join(map(repr, odd[:5]))}")
    return head


@cache
def _schema(schema: int) -> frozenset[tuple[Any, ...]]:
    """The content of sqlite_schema in a trace of this schema."""
    left_out = {TABLES[kind][0] for kind, since in LATER.items() if schema < since}
    with closing(sqlite3.connect(":memory:")) as database:
        for statement in statements():
            database.execute(statement if schema >= NAMED_ROW else _ROW.sub("id", statement))
        rows = database.execute("SELECT type, name, tbl_name, sql FROM sqlite_schema").fetchall()
    return frozenset(row for row in rows if row[2] not in left_out)


def _head(database: sqlite3.Connection, path: str) -> dict[str, HeadValue]:
    """The run of a trace: known keys, each once, each of its type and within its bounds."""
    head: dict[str, HeadValue] = {}
    with closing(database.execute("SELECT key, value FROM head")) as rows:
        for key, value in rows:
            if key == "schema" and type(value) is int and value > SCHEMA:
                raise _newer(path, value, database)
            if type(key) is not str or key not in HEAD or key in head or not _fits(key, value):
                raise damaged(path, f"{str(key)[:60]} {str(value)[:60]!r} in its head")
            head[key] = value
    if head.get("schema", 0) not in range(1, SCHEMA + 1):
        raise damaged(path, "no schema in its head")
    return head


def _fits(key: str, value: Any) -> bool:
    if key in _NUMBERS:
        return type(value) is int and (-(2**63) if key in ("epoch", "seed") else 0) <= value <= _NUMBERS[key]
    if key == "speed":
        return type(value) in (int, float) and math.isfinite(value) and 0 < value <= 1000
    return type(value) is str


def _newer(path: str, schema: int, database: sqlite3.Connection) -> UserError:
    with closing(database.execute("SELECT value FROM head WHERE key = 'busim'")) as rows:
        version = next(rows, ("?",))[0]
    return UserError(
        "this trace was written by a newer busim",
        file=path,
        found=f"schema {schema}, busim {str(version)[:60]}",
        expected=f"schema {SCHEMA}",
        mend="read it with that version or a newer one",
    )


def setting_of(path: str, baud: str, form: str, ppm: float, inverted: int, lead: int, hold: int) -> Setting:
    """A row of the setting table. Raises UserError for a setting that no driver can have."""
    try:
        if not _BAUD.fullmatch(baud):
            raise ValueError(baud)
        setting = Setting(Fraction(baud), CharFormat.parse(form[:20]), ppm, bool(inverted), lead, hold)
    except (ValueError, UserError):
        raise damaged(path, f"baud {baud[:60]!r}, format {form[:60]!r}") from None
    if not abs(ppm) < _MOST_PPM or inverted not in (0, 1) or max(abs(lead), abs(hold)) > _MOST_LEAD:
        raise damaged(path, f"setting {(ppm, inverted, lead, hold)}")
    return setting


def baud_of(text: str) -> Fraction:
    """Baud as a rational, as a trace has it. Raises ValueError for another form or an absurd value."""
    if not _BAUD.fullmatch(text):
        raise ValueError(text)
    return Fraction(text)


def batches(
    cursor: sqlite3.Cursor, types: tuple[type, ...], path: str, order: tuple[int, ...], most: int
) -> Iterator[list[tuple[Any, ...]]]:
    """The rows, at most so many at once, if each has these types and follows the one before it by the columns `order`.

    Repeated rows reveal a circle of pages, which would be read for ever. Raises UserError.
    """
    place = operator.itemgetter(*order)
    last: list[Any] = []
    count = 1  # who wants a first row does not wait for thousands
    while rows := cursor.fetchmany(count):
        count = min(4 * count, most)
        for column, wanted in zip(zip(*rows, strict=True), types, strict=True):
            if set(map(type, column)) != {wanted}:
                wrong = next(row for row in rows if tuple(map(type, row)) != types)
                raise damaged(path, f"a row with a value of a wrong type: {repr(wrong)[:80]}")
        places = [*last, *map(place, rows)]
        for one, following in pairwise(places):
            if following <= one:
                raise damaged(path, f"rows out of order: {following} behind {one}")
        last = places[-1:]
        yield rows


def told(error: sqlite3.Error, path: str) -> UserError:
    """The error behind a message of the database: out of reach, or damaged."""
    name = getattr(error, "sqlite_errorname", "").removeprefix("SQLITE_").partition("_")[0]
    if name not in _REACHED:
        return damaged(path, str(error))
    return UserError(
        "the trace cannot be read",
        file=path,
        found=str(error),
        mend="after a killed run in a read-only folder copy the file and its -wal file elsewhere",
    )


def damaged(path: str, found: str) -> UserError:
    """The error for a trace that differs from what busim writes."""
    return UserError("the trace is damaged", file=path, found=found, mend="use another copy of it")


def is_regular(path: str) -> bool:
    """Whether it is a file, and no pipe or device that may keep a reader waiting. Raises OSError if
    it does not exist.
    """
    return stat.S_ISREG(os.stat(path).st_mode)
