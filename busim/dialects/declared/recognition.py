"""What bytes are: requests, answers to a request, or something overheard.

A Recogniser sorts the messages of a dialect by size and by the byte that stands where messages begin, so that nearly
always one reader is asked. It makes readers when they are first needed.
"""

from __future__ import annotations

from busim.dialects.contract import FAILED, OTHER, UNKNOWN, Reply, Request
from busim.dialects.declared.compiled import PatternReader, Reader, Seal
from busim.dialects.declared.declaration import Declaration, Operation
from busim.dialects.declared.layouts import READS, Layout

_MOST_BUCKETS = 4096

Either = Reader | PatternReader


class Asked:
    """One operation as it is read in a request. `n`: how many values, None where the request tells."""

    __slots__ = (
        "_at_count",
        "_at_id",
        "_at_key",
        "_at_tag",
        "_key",
        "_most",
        "_n",
        "_number",
        "_read",
        "_values",
        "_verb",
    )

    def __init__(self, operation: Operation, reader: Either, n: int | None) -> None:
        places = {what: place for place, what in enumerate(reader.scalars)}
        self._read = reader.read
        self._at_id = places["id"]
        self._at_tag, self._at_key, self._at_count = places.get("tag"), places.get("key"), places.get("count")
        self._verb, self._number = operation.verb, operation.number
        self._key = operation.key or 0
        self._values = operation.values
        self._most = operation.most
        self._n = n

    def request(self, data: bytes) -> Request | None:
        """The request in these bytes, None where they are not this operation's."""
        found = self._read(data)
        if found is None:
            return None
        numbers, values = found
        n = self._n
        if n is None:
            n = len(values) if self._at_count is None else numbers[self._at_count]
            n = n if n <= self._most else 0
        return Request(
            numbers[self._at_id],
            self._verb,
            self._key if self._at_key is None else numbers[self._at_key],
            n,
            values if self._values is None else self._values,
            self._number if self._at_tag is None else self._number | numbers[self._at_tag] << 8,
        )


class Answer:
    """A reply or a refusal as it is read by who asked. `codes`: what is written as a reason to the contract's codes."""

    __slots__ = (
        "_at_count",
        "_at_id",
        "_at_key",
        "_at_reason",
        "_at_tag",
        "_codes",
        "_holds",
        "_read",
        "_refuses",
        "_size",
    )

    def __init__(self, layout: Layout, reader: Either, codes: dict[int, int]) -> None:
        places = {what: place for place, what in enumerate(reader.scalars)}
        self._read, self._size = reader.read, reader.size
        self._at_id = places["id"]
        self._at_tag, self._at_key, self._at_count = places.get("tag"), places.get("key"), places.get("count")
        self._at_reason = places.get("reason")
        self._refuses = layout.direction == "refusal"
        self._holds = layout.repeats or bool(layout.single_values)
        self._codes = codes

    def reply(self, data: bytes, request: Request, broadcast: int | None) -> Reply | None:
        """The reply to this request in these bytes; None where they are not that."""
        if self._size is not None and len(data) != self._size:
            return None
        found = self._read(data)
        if found is None:
            return None
        numbers, values = found
        id, verb, key, size, given, form = request
        said = numbers[self._at_id]
        if said != id and id != broadcast:
            return None
        if self._at_key is not None and numbers[self._at_key] != key:
            return None
        if self._at_tag is not None and numbers[self._at_tag] != form >> 8:
            return None
        if self._refuses:
            code = FAILED if self._at_reason is None else self._codes.get(numbers[self._at_reason], FAILED)
            return Reply(said, verb, key, (), code, form)
        if self._at_count is not None and numbers[self._at_count] != size:
            return None
        if not self._holds:
            return Reply(said, verb, key, () if verb in READS else given, 0, form)
        return Reply(said, verb, key, values, 0, form) if len(values) == size else None


class Recogniser:
    """Tells requests, and what is none, from bytes between which nothing is missing."""

    def __init__(
        self, declaration: Declaration, layouts: dict[tuple[int, str], Layout], sizes: dict[int, tuple[int, int]],
        before: bytes, behind: bytes,
    ) -> None:  # fmt: skip
        self._layouts = layouts
        self._sizes = sizes
        self._before, self._behind = before, behind
        self._made: dict[tuple[int, str, int], Either] = {}
        self._requests: dict[tuple[int, int], tuple[Asked, ...]] = {}
        self._others: dict[tuple[int, int], tuple[Either, ...]] = {}
        first = self._first = layouts[declaration.operations[0].number, "request"]
        self._message_at = self._offset(declaration, first)
        self._seal = Seal(first, before, behind) if declaration.check else None
        self._id_at, self._tag_at = first.offset("id"), first.offset("tag")

    def _offset(self, declaration: Declaration, layout: Layout) -> int:
        """Where messages begin in the bytes, or 0 where that is not one place."""
        at = len(self._before)
        for part in declaration.frame:
            if part == "message":
                return at
            least, most = layout.width(part, 0)
            if least != most:
                break
            at += least
        return 0

    def reader(self, number: int, direction: str, n: int) -> Either:
        """The reader of one layout with `n` values."""
        asked = number, direction, n
        reader = self._made.get(asked)
        if reader is None:
            layout = self._layouts[number, direction]
            if layout.fixed(n):
                reader = Reader(layout, n, self._before, self._behind)
            else:
                most = self._sizes[number][1] if number else 1
                reader = PatternReader(layout, most, self._before, self._behind)
            self._made[asked] = reader
        return reader

    def request(self, data: bytes) -> Request | None:
        """As Dialect.decode_request, of a content without escapes."""
        at = self._message_at
        place = len(data), data[at] if at < len(data) else -1
        candidates = self._requests.get(place)
        if candidates is None:
            candidates = self._sorted_in(*place)
        for asked in candidates:
            request = asked.request(data)
            if request is not None:
                return request
        for reader in self._others[place] if place in self._others else self._overheard(*place):
            if reader.read(data) is not None:
                return OTHER
        return self._unknown(data)

    def sound(self, data: bytes) -> bool:
        """Whether the check is right; without one, whether it is a message at all."""
        if self._seal is None:
            return self.request(data) is not None
        return self._checks(data)

    def _checks(self, data: bytes) -> bool:
        seal = self._seal
        if seal is None:
            return False
        end = len(data) - seal.size
        return end > 0 and bool(seal.table[seal.sum(data[seal.first : end - seal.gap])] == data[end:])

    def _unknown(self, data: bytes) -> Request | None:
        """A sound frame with a message that no operation has, where it says to whom."""
        if self._id_at is None or not self._checks(data):
            return None
        id = self._number("id", self._id_at, data)
        if id is None:
            return OTHER
        tag = None if self._tag_at is None else self._number("tag", self._tag_at, data)
        return Request(id, UNKNOWN, 0, 0, (), (tag or 0) << 8)

    def _number(self, name: str, at: int, data: bytes) -> int | None:
        encoding = self._first.encoding(name)
        least, most = encoding.widths
        at += len(self._before)
        return encoding.decode(data[at : at + least]) if least == most else None

    # -- sorting --------------------------------------------------------------------------------------------

    def _sorted_in(self, size: int, byte: int) -> tuple[Asked, ...]:
        found = []
        for (number, direction), layout in self._layouts.items():
            if direction == "request" and layout.operation is not None and self._may_begin(layout, byte):
                for n, reader in self._readers(number, direction, size):
                    told = "count" in reader.scalars or (reader.size is None and layout.repeats)
                    found.append(Asked(layout.operation, reader, None if told else n))
        if len(self._requests) < _MOST_BUCKETS:
            self._requests[size, byte] = tuple(found)
        return tuple(found)

    def _overheard(self, size: int, byte: int) -> tuple[Either, ...]:
        found = tuple(
            reader
            for (number, direction), layout in self._layouts.items()
            if direction != "request" and self._may_begin(layout, byte)
            for _, reader in self._readers(number, direction, size)
        )
        if len(self._others) < _MOST_BUCKETS:
            self._others[size, byte] = found
        return found

    def _readers(self, number: int, direction: str, size: int) -> list[tuple[int, Either]]:
        """The readers of a layout for frames of this size, each with its number of values."""
        layout = self._layouts[number, direction]
        low, high = self._sizes.get(number, (0, 0))
        content = size - len(self._before) - len(self._behind)
        if not layout.fixed(high):
            least, most = layout.size(low)[0], layout.size(high)[1]
            return [(high, self.reader(number, direction, high))] if least <= content <= most else []
        if not layout.repeats:
            return [(high, self.reader(number, direction, high))] if layout.size(high)[0] == content else []
        return [(n, self.reader(number, direction, n)) for n in range(low, high + 1) if layout.size(n)[0] == content]

    def _may_begin(self, layout: Layout, byte: int) -> bool:
        """Whether the byte where messages begin may be this one, as far as bytes that stand as they are tell."""
        if byte < 0 or not self._message_at:
            return True
        at = self._message_at - len(self._before)
        for part in layout.parts:
            size = len(part) if isinstance(part, bytes) else layout.width(part, 0)[0]
            if at < size:
                return not isinstance(part, bytes) or part[at] == byte
            at -= size
        return True
