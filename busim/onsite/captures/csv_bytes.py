"""Bytes of a line out of CSV, as other tools log them: a time and bytes in hex per row, perhaps a direction.

The first row names the columns (RFC 4180). A time is in seconds, or in the unit that its column names (`time_ns`,
`t (ms)`); bytes are hex digits, with or without spaces and `0x`. The table `burst` that busim exports is read too.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator
from contextlib import contextmanager
from decimal import Decimal, InvalidOperation
from typing import IO, Any

from busim.foundation.errors import UserError
from busim.onsite.captures.pieces import BOTH, FROM_LINE, TO_LINE, Piece

_UNITS = {"ns": 1, "us": 10**3, "µs": 10**3, "ms": 10**6, "s": 10**9, "sec": 10**9, "seconds": 10**9}
_TIMES = ("time", "timestamp", "start", "start_time", "t", "at")
_BYTES = ("data", "bytes", "value", "hex", "payload")
_WAYS = ("direction", "dir", "way", "event")
_TO = {"tx", "out", "write", "sent", "to", ">", "request", "o"}
_FROM = {"rx", "in", "read", "received", "from", "<", "reply", "i"}
_OWN = ["line", "driver", "start", "end", "setting", "data", "exact"]  # the table `burst`, in ns
_BETWEEN = re.compile(r"0[xX]|[\s,;:\-]+")
_LONGEST = 1 << 20  # characters of a row


def csv_pieces(file: IO[str], name: str, line: str | None = None) -> Iterator[Piece]:
    """The pieces of a CSV stream; `line`: of this one, where busim exported several. Raises UserError with the row that
    cannot be read.
    """
    lines = _bounded(file, name)
    first = next(lines, "")
    if not first.strip().replace("\t", "").isprintable() or "\N{REPLACEMENT CHARACTER}" in first:
        raise UserError(
            "this is no capture", file=name, found="neither text nor a form that is known",
            expected="a trace of busim, pcapng, pcap, or CSV with times and bytes", mend="give one of these",
        )  # fmt: skip
    separator = max(",;\t", key=first.count)
    titles = [title.strip().lower() for title in next(csv.reader([first], delimiter=separator), [])]
    if titles == _OWN:
        yield from _own_bursts(csv.reader(lines), name, line)
        return
    time, unit = _time_column(titles)
    data = next((titles.index(one) for one in _BYTES if one in titles), None)
    way = next((titles.index(one) for one in _WAYS if one in titles), None)
    if time is None or data is None:
        raise UserError(
            "the columns of this CSV are not known", file=name, line=1, found=first.strip()[:80] or "nothing",
            expected=f"a time ({', '.join(_TIMES)}; `_ns`, `_us` or `_ms` behind it) and bytes ({', '.join(_BYTES)})",
            mend="name the two columns so in its first row",
        )  # fmt: skip
    reader = csv.reader(lines, delimiter=separator)
    with _rows(reader, name):
        for row in reader:
            if row and any(row):
                yield _piece(row, time, unit, data, way)


@contextmanager
def _rows(reader: Any, name: str) -> Iterator[None]:
    """Errors of a row leave with its line."""
    try:
        yield
    except (ValueError, IndexError, InvalidOperation, OverflowError, csv.Error) as error:
        raise UserError(
            "a row of this CSV cannot be read", file=name, line=1 + reader.line_num, found=str(error)[:120],
            expected="a time, and bytes as hex digits in pairs", mend="mend or remove the row",
        ) from None  # fmt: skip


def _own_bursts(reader: Any, name: str, wanted: str | None) -> Iterator[Piece]:
    """The bursts of one line, as they are in the trace."""
    chosen, found = wanted, False
    with _rows(reader, name):
        for line, driver, start, end, _, data, _ in filter(None, reader):
            chosen = line if chosen is None else chosen
            if line == chosen:
                found = True
                yield Piece(int(end), BOTH, bytes.fromhex(data), driver, int(start))
            elif wanted is None:
                raise UserError(
                    "which line of this table?", file=name, field="--line", found=f"{chosen!r} and {line!r}",
                    mend="name one with --line",
                )  # fmt: skip
    if wanted is not None and not found:
        raise UserError(
            "the table has no burst of this line",
            file=name,
            field="--line",
            found=repr(wanted),
            mend="see its column `line`",
        )


def _bounded(file: IO[str], name: str) -> Iterator[str]:
    while line := file.readline(_LONGEST):
        if len(line) >= _LONGEST:
            raise UserError(
                "a row of this CSV is too long", file=name, expected=f"less than {_LONGEST} characters",
                mend="see whether it is CSV with a row per message",
            )  # fmt: skip
        yield line


def _time_column(titles: list[str]) -> tuple[int | None, int]:
    """Its place, and the ns of its unit."""
    for place, title in enumerate(titles):
        found = re.fullmatch(r"([a-z_ ]*?)[ _]*[\[(]?([a-zµ]*)[\])]?", title)
        for name, unit in ((title, "s"), found.groups() if found else ("", "")):
            if name.strip() in _TIMES and unit in _UNITS:
                return place, _UNITS[unit]
    return None, 1


def _piece(row: list[str], time: int, unit: int, data: int, way: int | None) -> Piece:
    at = int(Decimal(row[time].strip()) * unit)
    word = "" if way is None else row[way].strip().lower()
    known = TO_LINE if word in _TO else FROM_LINE if word in _FROM else BOTH
    return Piece(at, known, _bytes(row[data]))


def _bytes(text: str) -> bytes:
    try:
        return bytes.fromhex(text)  # pairs of digits, perhaps with spaces between: most logs
    except ValueError:
        return bytes.fromhex(_BETWEEN.sub("", text))
