"""A layout compiled: from numbers to bytes and from bytes to numbers, with little in between.

Bytes that stand as they are are joined to the field behind them, so a frame is a few look-ups in tables from number to
bytes and one join, and reading it is the same look-ups from slices of it to numbers. A table fills itself with what is
asked of it, up to a bound, by the encodings, which are slow and strict. A run of plain binary values goes through
struct; what has no fixed places is read by one regular expression, made here of bounded pieces that cannot be taken
for one another. No text of a file is ever executed: what comes from it are bytes, sizes and tables.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from struct import Struct
from struct import error as StructError
from typing import Any

from busim.dialects.declared.declaration import Part
from busim.dialects.declared.encodings import Encoding
from busim.dialects.declared.layouts import Layout
from busim.dialects.declared.sums import Sum, summer

# Where a number stands in the row that is written; values follow.
ROW = {"id": 0, "key": 1, "tag": 2, "reason": 3, "count": 4}
VALUES = 5
_MOST_KEPT = 4096
_BULK = 4  # plain binary values in a row from which struct is quicker
_CODES = {("unsigned", 1): "B", ("unsigned", 2): "H", ("unsigned", 4): "I", ("unsigned", 8): "Q",
          ("signed", 1): "b", ("signed", 2): "h", ("signed", 4): "i", ("signed", 8): "q"}  # fmt: skip

Row = tuple[int, ...]
Numbers = tuple[list[int], tuple[int, ...]]  # the numbers in the order of a reader's `scalars`, and the values


class Table(dict[Any, Any]):
    """Answers computed once; no more of them are kept than a bound."""

    __slots__ = ("_of",)

    def __init__(self, of: Callable[[Any], Any]) -> None:
        self._of = of

    def __missing__(self, asked: Any) -> Any:
        answer = self._of(asked)
        if len(self) < _MOST_KEPT:
            self[asked] = answer
        return answer


def _bytes_of(encoding: Encoding, before: bytes, behind: bytes) -> Table:
    return Table(lambda number: before + encoding.encode(number) + behind)


def _number_in(encoding: Encoding, before: bytes, behind: bytes) -> Table:
    first, last = len(before), len(behind)

    def read(raw: bytes) -> int | None:
        if not raw.startswith(before) or not raw.endswith(behind):
            return None
        return encoding.decode(raw[first : len(raw) - last])

    return Table(read)


def _constant(answer: bytes) -> Table:
    return Table(lambda _: answer)


class Seal:
    """The check and what stands behind it. `size`: bytes of both; what is covered begins at `first` and ends `gap`
    before.
    """

    def __init__(self, layout: Layout, before: bytes, behind: bytes) -> None:
        check = layout.declaration.check
        self.sum: Sum = lambda _: 0
        self.first, self.gap = 0, 0
        self.table = _constant(behind)
        self.size = len(behind)
        if check is None:
            return
        at = layout.parts.index("check")
        after = b"".join(part for part in layout.parts[at + 1 :] if isinstance(part, bytes)) + behind
        encoding = layout.encoding("check")
        self.sum = summer(check.kind)
        if check.start != "mark":
            inside = 0 if check.start == "frame" else frame_offset(layout, check.start)
            self.first = len(before) + inside
        if check.to is not None:
            self.gap = gap_before_check(layout, check.to)
        self.table = Table(lambda number: encoding.encode(number) + after)
        self.size = encoding.widths[0] + len(after)


def frame_offset(layout: Layout, name: str) -> int:
    """Where a field of the frame begins in the content; the fields before it have one size each."""
    at = 0
    for part in layout.declaration.frame:
        if part == name:
            break
        at += layout.width(part, 0)[0]
    return at


def gap_before_check(layout: Layout, name: str) -> int:
    """Bytes between the last field that the check covers and the check itself; nothing but bytes stands there."""
    frame = layout.declaration.frame
    return sum(len(part) for part in frame[frame.index(name) + 1 : frame.index("check")])


class Leg:
    """A field with the bytes that stand before it and, at the last one, behind it."""

    __slots__ = ("before", "behind", "encoding", "what")

    def __init__(self, before: bytes, what: str, encoding: Encoding) -> None:
        self.before = before
        self.what = what
        self.encoding = encoding
        self.behind = b""

    @property
    def size(self) -> int:
        """Bytes of a leg whose encoding has one size."""
        return len(self.before) + self.encoding.widths[0] + len(self.behind)


def _legs(layout: Layout, n: int, before: bytes, behind: bytes) -> list[Leg]:
    """The frame up to its check. Every number that `n` alone decides is turned into bytes."""
    legs: list[Leg] = []
    held = before
    for what, part in layout.pieces(n):
        if what == "check":
            break
        folded = part if isinstance(part, bytes) else _folded(layout, n, what, part)
        if isinstance(folded, bytes):
            held += folded
        else:
            legs.append(Leg(held, what, layout.encoding(folded)))
            held = b""
    legs[-1].behind = held + (b"" if layout.declaration.check else behind)  # there is one: the bus ID
    return legs


def _folded(layout: Layout, n: int, what: str, name: str) -> Part:
    if what == "length" and layout.fixed(n):
        return layout.encoding(name).encode(layout.counted(n, layout.size(n)[0]))
    if what == "size":
        return layout.encoding(name).encode(layout.value_bytes(n))
    if what == "count" and (layout.repeats or layout.single_values):
        return layout.encoding(name).encode(n)
    return name


def _bulk(legs: list[Leg]) -> Struct | None:
    """A struct for all values, where they are plain binary numbers that stand together at the end."""
    values = [leg for leg in legs if leg.what == "value"]
    if len(values) < _BULK or legs[-len(values) :] != values or any(leg.before for leg in values[1:]):
        return None
    encoding = values[0].encoding
    code = _CODES.get((encoding.kind, encoding.size))
    if code is None or encoding.special or (encoding.times, encoding.plus) != (1, 0):
        return None
    if any(leg.encoding != encoding for leg in values):
        return None
    return Struct(f"{'<' if encoding.order == 'little' else '>'}{len(values)}{code}")


class Writer:
    """Writes one layout with `n` values. `write` takes a row of numbers; it raises ValueError for one that does not
    fit.
    """

    def __init__(self, layout: Layout, n: int, before: bytes, behind: bytes) -> None:
        legs = _legs(layout, n, before, behind)
        bulk = _bulk(legs)
        self._seal = Seal(layout, before, behind)
        self._first, self._gap = self._seal.first, self._seal.gap
        self.write: Callable[[Row], bytes] = self._write
        if bulk is not None:
            count = len(legs) - n
            self._pack, self._before, self._behind = bulk.pack, legs[count].before, legs[-1].behind
            legs = legs[:count]
            self.write = self._write_bulk
        elif any(leg.what == "length" for leg in legs):
            self._layout, self._n = layout, n
            self._length = layout.encoding("length")
            self._length_at = len(before) + (layout.offset("length") or 0)
            self._around = len(before) + len(behind)
            self.write = self._write_length
        number = VALUES
        self._legs: list[tuple[Table, int]] = []
        for leg in legs:
            table = _bytes_of(leg.encoding, leg.before, leg.behind)
            if leg.what == "length":  # room for it; what it counts is known when all else is written
                table = _constant(leg.before + bytes(leg.encoding.widths[0]) + leg.behind)
            self._legs.append((table, number if leg.what == "value" else ROW.get(leg.what, 0)))
            number += leg.what == "value"

    def _write(self, row: Row) -> bytes:
        return self._sealed(b"".join([table[row[place]] for table, place in self._legs]))

    def _write_bulk(self, row: Row) -> bytes:
        try:
            run = self._pack(*row[VALUES:])
        except StructError as error:
            raise ValueError(str(error)) from None
        head = b"".join([table[row[place]] for table, place in self._legs])
        return self._sealed(head + self._before + run + self._behind)

    def _write_length(self, row: Row) -> bytes:
        body = b"".join([table[row[place]] for table, place in self._legs])
        size = len(body) + self._seal.size - self._around
        number = self._length.encode(self._layout.counted(self._n, size))
        at = self._length_at
        return self._sealed(body[:at] + number + body[at + len(number) :])

    def _sealed(self, body: bytes) -> bytes:
        seal = self._seal
        tail: bytes = seal.table[seal.sum(body[self._first : len(body) - self._gap])]
        return body + tail


class Reader:
    """Reads one layout with `n` values, all at places of their own.

    `scalars`: what the numbers are, in order. `size`: bytes of the frame; it is for the caller to compare.
    """

    def __init__(self, layout: Layout, n: int, before: bytes, behind: bytes) -> None:
        legs = _legs(layout, n, before, behind)
        bulk = _bulk(legs)
        self._seal = Seal(layout, before, behind)
        self._first = self._seal.first
        self.scalars = [leg.what for leg in legs if leg.what != "value"]
        numbers: list[tuple[Table, slice]] = []
        values: list[tuple[Table, slice]] = []
        at = 0
        for leg in legs:
            place = numbers if leg.what != "value" else values
            place.append((_number_in(leg.encoding, leg.before, leg.behind), slice(at, at + leg.size)))
            at += leg.size
        self._count = len(numbers)
        self._body = at
        self.size: int | None = at + self._seal.size
        self._covered = slice(self._seal.first, at - self._seal.gap)
        self.read: Callable[[bytes], Numbers | None] = self._read
        if bulk is not None:
            self._unpack = bulk.unpack_from
            start = values[0][1].start
            self._literal = slice(start, start + len(legs[-n].before)), legs[-n].before
            self._last = slice(at - len(legs[-1].behind), at), legs[-1].behind
            self._values_at = start + len(legs[-n].before)
            self.read = self._read_bulk
            values = []
        self._legs = numbers + values

    def _read(self, data: bytes) -> Numbers | None:
        seal = self._seal
        if seal.table[seal.sum(data[self._covered])] != data[self._body :]:
            return None
        found = [table[data[place]] for table, place in self._legs]
        if None in found:
            return None
        return found, tuple(found[self._count :])

    def _read_bulk(self, data: bytes) -> Numbers | None:
        seal = self._seal
        if seal.table[seal.sum(data[self._covered])] != data[self._body :]:
            return None
        for place, literal in (self._literal, self._last):
            if data[place] != literal:
                return None
        found = [table[data[place]] for table, place in self._legs]
        return None if None in found else (found, self._unpack(data, self._values_at))


class PatternReader:
    """Reads one layout whose fields have no fixed places, with any number of values up to `most`."""

    size: int | None = None

    def __init__(self, layout: Layout, most: int, before: bytes, behind: bytes) -> None:
        self._layout = layout
        self._seal = Seal(layout, before, behind)
        self._around = len(before) + len(behind)
        pattern, groups = [re.escape(before)], []
        for part in layout.parts:
            if part == "check":
                break
            if isinstance(part, bytes):
                pattern.append(re.escape(part))
                continue
            one = layout.encoding(part).pattern
            if part == "values":
                between = re.escape(layout.declaration.between)
                one += b"(?:%s%s){0,%d}" % (between, one, max(most - 1, 0))
            pattern.append(b"(%s)" % one)
            groups.append(part)
        self._groups = groups
        self._tables = {name: _number_in(layout.encoding(name), b"", b"") for name in groups}
        if layout.declaration.check is None:
            pattern.append(re.escape(behind))
        self._pattern = re.compile(b"".join(pattern), re.DOTALL)
        self.scalars = [layout.holds(name) for name in groups if layout.holds(name) not in ("value", "values")]

    def read(self, data: bytes) -> Numbers | None:
        seal = self._seal
        end = len(data) - seal.size
        if end <= 0 or seal.table[seal.sum(data[seal.first : end - seal.gap])] != data[end:]:
            return None
        match = (
            self._pattern.fullmatch(data, 0, end) if self._layout.declaration.check else self._pattern.fullmatch(data)
        )
        if match is None:
            return None
        found: list[int | None] = []
        values: list[int | None] = []
        for name, raw in zip(self._groups, match.groups(), strict=True):
            if name == "values":
                values += [self._tables[name][piece] for piece in self._pieces(raw)]
            else:
                number = self._tables[name][raw]
                (values if self._layout.holds(name) == "value" else found).append(number)
        if None in found or None in values or not self._agree(found, len(values), len(data)):
            return None
        return [number for number in found if number is not None], tuple(one for one in values if one is not None)

    def _pieces(self, raw: bytes) -> list[bytes]:
        between = self._layout.declaration.between
        if between:
            return raw.split(between)
        width = self._layout.encoding("values").widths[0]
        return [raw[at : at + width] for at in range(0, len(raw), width)]

    def _agree(self, found: list[int | None], n: int, size: int) -> bool:
        """Whether the numbers that count something say what is there."""
        for what, number in zip(self.scalars, found, strict=True):
            if what == "length" and number != self._layout.counted(n, size - self._around):
                return False
            if what == "size" and number != self._layout.value_bytes(n):
                return False
            if what == "count" and n and number != n:
                return False
        return True
