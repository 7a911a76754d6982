"""Recognises bytes: requests, or other sound messages.

A Recogniser sorts the messages of a protocol by size and by their first byte, so mostly one function is tried.
Functions are made at their first use.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from busim.protocols.contract import OTHER, UNKNOWN, Request
from busim.protocols.declared.codegen_read import ReadRequest, request_reader
from busim.protocols.declared.codegen_request import Program, Seal
from busim.protocols.declared.declaration import Declaration
from busim.protocols.declared.layouts import Layout

_MOST_BUCKETS = 4096

Place = tuple[int, int]  # size of the frame, first byte of the message


class Recogniser:
    """Recognises a frame, between its marks and without escapes. `sizes`: fewest and most values by operation."""

    def __init__(
        self, declaration: Declaration, layouts: Mapping[tuple[int, str], Layout],
        sizes: Mapping[int, tuple[int, int]], before: bytes, behind: bytes,
    ) -> None:  # fmt: skip
        self._layouts = layouts
        self._sizes = sizes
        self._before, self._behind = before, behind
        self._made: dict[tuple[int, int], ReadRequest] = {}
        self._requests: dict[Place, tuple[ReadRequest, ...]] = {}
        self._others: dict[Place, bool] = {}
        self._first = layouts[declaration.operations[0].number, "request"]
        self._message_at = self._offset(declaration)
        self._sound = self._make_sound()
        self._id_at, self._tag_at = self._first.offset("address"), self._first.offset("tag")

    def _offset(self, declaration: Declaration) -> int:
        """The start of messages in the bytes, or 0 if it varies."""
        at = len(self._before)
        for part in declaration.frame:
            if part == "message":
                return at
            least, most = self._first.width(part, 0)
            if least != most:
                break
            at += least
        return 0

    def _make_sound(self) -> Callable[[bytes], bool] | None:
        """A function that checks a frame's check and the bytes outside it; None without a check."""
        seal = Seal(self._first, self._before, self._behind)
        if not seal:
            return None
        program = Program("data")
        program.say(f"end = len(data) - {seal.size}")
        text = seal.text(program, f"data[{seal.first}:end - {seal.gap}]")
        first = self._first.declaration.frame[0]
        outside = [f"data.startswith({program.hold(self._before + (first if isinstance(first, bytes) else b''))})"]
        if seal.gap:
            outside.append(f"data[end - {seal.gap}:end] == {program.hold(seal.between)}")
        program.say(f"return end > 0 and data[end:] == {text} and {' and '.join(outside)}")
        return program.made()

    def request(self, data: bytes) -> Request | None:
        """As Protocol.decode_request."""
        at = self._message_at
        place = len(data), data[at] if at < len(data) else -1
        readers = self._requests.get(place)
        if readers is None:
            readers = self._sorted_in(*place)
        for read in readers:
            request = read(data)
            if request is not None:
                return request
        if self._sound is not None and not self._sound(data):
            return None
        others = self._others.get(place)
        if others is None:
            others = self._overheard(*place)
        return OTHER if others else self._unknown(data)

    def _unknown(self, data: bytes) -> Request | None:
        """A sound frame with an unknown message, if it has an address. Without a check nothing is sound."""
        if self._sound is None:
            return None
        address = self._number("address", self._id_at, data)
        if address is None:
            return OTHER
        return Request(address, UNKNOWN, 0, 0, (), (self._number("tag", self._tag_at, data) or 0) << 8)

    def _number(self, name: str, at: int | None, data: bytes) -> int | None:
        if at is None:
            return None
        encoding = self._first.encoding(name)
        least, most = encoding.widths
        at += len(self._before)
        return encoding.decode(data[at : at + least]) if least == most else None

    # -- sorting --------------------------------------------------------------------------------------------

    def _sorted_in(self, size: int, byte: int) -> tuple[ReadRequest, ...]:
        found = tuple(
            self._reader(number, n)
            for (number, direction), layout in self._layouts.items()
            if direction == "request" and self._may_begin(layout, byte)
            for n in self._counts(number, layout, size)
        )
        if len(self._requests) < _MOST_BUCKETS:
            self._requests[size, byte] = found
        return found

    def _overheard(self, size: int, byte: int) -> bool:
        found = any(
            direction != "request" and self._may_begin(layout, byte) and bool(self._counts(number, layout, size))
            for (number, direction), layout in self._layouts.items()
        )
        if len(self._others) < _MOST_BUCKETS:
            self._others[size, byte] = found
        return found

    def _reader(self, number: int, n: int) -> ReadRequest:
        reader = self._made.get((number, n))
        if reader is None:
            layout = self._layouts[number, "request"]
            assert layout.operation is not None
            most = self._sizes[number][1]
            reader = request_reader(layout, layout.operation, n, most, self._before, self._behind)
            self._made[number, n] = reader
        return reader

    def _counts(self, number: int, layout: Layout, size: int) -> list[int]:
        """The numbers of values with which a layout may be a frame of this size; one of them if it states its own."""
        low, high = self._sizes.get(number, (0, 0))
        content = size - len(self._before) - len(self._behind)
        if not layout.fixed(high):
            least, most = layout.size(low)[0], layout.size(high)[1]
            return [high] if least <= content <= most else []
        if not layout.repeats:
            return [high] if layout.size(high)[0] == content else []
        return [n for n in range(low, high + 1) if layout.size(n)[0] == content]

    def _may_begin(self, layout: Layout, byte: int) -> bool:
        """Whether a message may begin with this byte, by its constant bytes."""
        if byte < 0 or not self._message_at:
            return True
        at = self._message_at - len(self._before)
        for part in layout.parts:
            size = layout.width(part, 1)[0]
            if at < size:
                return not isinstance(part, bytes) or part[at] == byte
            at -= size
        return True
