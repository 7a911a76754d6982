"""The definition of a declared protocol: its frames, field by field, in construct. Slow, and for reading by eye.

Tests compare the hot codec with it. So it shares nothing with the hot side except the declaration: numbers are written
digit by digit, checks are computed bit by bit from the parameters of the RevEng catalogue, escapes are inserted byte by
byte. construct leaks errors of its own kinds and ignores trailing bytes, so it stays inside: parsing returns fields or
None, building returns bytes or raises Defect.

Fields are dicts: `address`, `values` (list), and if the frame has them `tag`, `key`, `reason`, `count`.
"""

from __future__ import annotations

from typing import Any, NamedTuple

from anycrc import models
from construct import Bytes, Const, Construct, ConstructError, GreedyBytes, NullTerminated, Struct, Terminated

from busim.foundation.errors import Defect
from busim.protocols.declared.declaration import Declaration, Parts
from busim.protocols.declared.reference_numbers import Number
from busim.protocols.declared.sums import catalogue

Fields = dict[str, Any]


class Piece(NamedTuple):
    """A part of a built frame: its name (`` for constant bytes), and its bytes."""

    name: str
    raw: bytes


class Frame(NamedTuple):
    """A frame built by the definition: the bytes on the wire, and those before escaping."""

    raw: bytes
    pieces: tuple[Piece, ...]


def check_of(kind: str, data: bytes) -> int:
    """The check of `data`, a CRC bit by bit (Williams, "A painless guide to CRC error detection algorithms", 1993)."""
    total = 0
    if kind == "xor":
        for byte in data:
            total ^= byte
        return total
    if kind in ("sum", "sum-16", "lrc"):
        for byte in data:
            total += byte
        return total % 65536 if kind == "sum-16" else total % 256 if kind == "sum" else (256 - total % 256) % 256
    model = models[catalogue()[kind]]
    register = model.init
    for byte in data:
        for place in range(8):
            bit = byte >> place & 1 if model.refin else byte >> 7 - place & 1
            top = register >> model.width - 1 & 1
            register = (register << 1) & (1 << model.width) - 1
            if top ^ bit:
                register ^= model.poly
    if model.refout:
        register = int(f"{register:0{model.width}b}"[::-1], 2)
    return int(register ^ model.xorout)


class Reference:
    """The frames of one declaration. `message`: one of its messages, as the declaration has it."""

    def __init__(self, declaration: Declaration) -> None:
        self._declaration = declaration
        self._framing = declaration.framing

    # -- building -------------------------------------------------------------------------------------------

    def build(self, message: Parts, fields: Fields) -> Frame:
        """The frame with these fields. Raises Defect if they make none."""
        try:
            return self._frame(message, fields)
        except (ConstructError, KeyError, IndexError, TypeError) as error:
            raise Defect(f"no frame of {self._declaration.name} has the fields {fields}: {error!r}") from error

    def _frame(self, message: Parts, fields: Fields) -> Frame:
        numbers = {"length": 0, **fields}
        pieces = self._pieces(message, numbers)
        if "length" in self._declaration.frame:
            numbers["length"] = self._counted(pieces)
            pieces = self._pieces(message, numbers)
        plain = [piece for _, piece in pieces]
        if self._declaration.check is not None:
            at = [piece.name for piece in plain].index("check")
            number = check_of(self._declaration.check.kind, self._covered(pieces[:at]))
            plain[at] = Piece("check", self._written("check", number))
        content = b"".join(piece.raw for piece in plain)
        return Frame(self._framing.start + self._sent(content) + self._framing.end, tuple(plain))

    def _pieces(self, message: Parts, numbers: Fields) -> list[tuple[bool, Piece]]:
        """Each part with its bytes, and whether it belongs to the message; the check is still empty."""
        values = list(numbers["values"])
        sizes = len(values) * self._declaration.fields["value"].widths[0] if "value" in self._declaration.fields else 0
        if "values" in message and len(values) > 1:
            sizes += (len(values) - 1) * len(self._declaration.between)
        numbers = {"count": len(values), "size": sizes, **numbers}
        found: list[tuple[bool, Piece]] = []
        for outer in self._declaration.frame:
            for part in message if outer == "message" else (outer,):
                inside = outer == "message"
                if isinstance(part, bytes):
                    found.append((inside, Piece("", part)))
                elif part == "check":
                    found.append((inside, Piece("check", b"")))
                elif part == "values":
                    for index, value in enumerate(values):
                        if index and self._declaration.between:
                            found.append((inside, Piece("", self._declaration.between)))
                        found.append((inside, Piece("value", self._written("value", value))))
                else:
                    what = self._declaration.holds.get(part, part)
                    number = values.pop(0) if what == "value" else numbers[what]
                    found.append((inside, Piece(part, self._written(part, number))))
        return found

    def _written(self, name: str, number: int) -> bytes:
        return bytes(Number(GreedyBytes, self._declaration.fields[name]).build(number))

    def _counted(self, pieces: list[tuple[bool, Piece]]) -> int:
        """The length field's number: of the frame, of the bytes after it, or of the message."""
        widths = [
            self._declaration.fields["check"].widths[0] if piece.name == "check" else len(piece.raw)
            for _, piece in pieces
        ]
        if self._framing.counts == "frame":
            return sum(widths)
        if self._framing.counts == "message":
            return sum(width for width, (inside, _) in zip(widths, pieces, strict=True) if inside)
        at = [piece.name for _, piece in pieces].index("length")
        return sum(widths[at + 1 :])

    def _covered(self, before: list[tuple[bool, Piece]]) -> bytes:
        """The bytes that the check covers, of all before it."""
        check = self._declaration.check
        assert check is not None
        first, last = 0, len(before)
        if check.start not in ("mark", "frame"):
            first = self._places(before, check.start)[0]
        if check.to is not None:
            last = self._places(before, check.to)[-1] + 1
        data = b"".join(piece.raw for _, piece in before[first:last])
        return self._framing.start + data if check.start == "mark" else data

    def _places(self, pieces: list[tuple[bool, Piece]], name: str) -> list[int]:
        """The places of a frame's field among the pieces; a message may be several."""
        if name == "message":
            return [place for place, (inside, _) in enumerate(pieces) if inside]
        return [place for place, (inside, piece) in enumerate(pieces) if not inside and piece.name == name]

    def _sent(self, content: bytes) -> bytes:
        """The content between the marks as sent, byte by byte."""
        escape = self._framing.escape
        sent = bytearray()
        for byte in content:
            if self._framing.hex:
                sent += f"{byte:02X}".encode()
            elif escape is not None and byte in escape.images:
                sent += bytes((escape.byte, escape.images[byte]))
            else:
                sent.append(byte)
        return bytes(sent)

    # -- parsing --------------------------------------------------------------------------------------------

    def parse(self, message: Parts, raw: bytes, n: int) -> Fields | None:
        """The fields of a frame with `n` values, or None unless `raw` is exactly one such frame. Raises nothing."""
        content = self._content(raw)
        if content is None:
            return None
        parts = self._declaration.whole(message)
        behind = b""
        if self._declaration.check is not None:
            at = parts.index("check")
            behind = b"".join(part for part in parts[at + 1 :] if isinstance(part, bytes))
            parts = parts[:at]
        end = len(content) - len(behind)
        if self._declaration.check is not None:
            end -= self._declaration.fields["check"].widths[0]
        if end < 0:
            return None
        names, struct = self._struct(parts, n)
        try:
            found = struct.parse(content[:end])
        except ConstructError:
            return None
        fields: Fields = {"values": []}
        for index, name in enumerate(names):
            if name == "value":
                fields["values"].append(found[f"field{index}"])
            else:
                fields[name] = found[f"field{index}"]
        counted = {"length", "size"} | ({"count"} if fields["values"] else set())
        # A frame is the result of building its fields: so the check, lengths and counts are right, and no byte is left
        # over.
        try:
            frame = self._frame(message, {name: fields[name] for name in fields if name not in counted})
        except (ConstructError, KeyError, IndexError):
            return None
        return fields if b"".join(piece.raw for piece in frame.pieces) == content else None

    def _struct(self, parts: Parts, n: int) -> tuple[list[str], Construct]:
        """construct's definition of a content up to its check, and the names of its fields in order."""
        drawn: list[bytes | str] = []
        for part in parts:
            if part != "values":
                drawn.append(part)
                continue
            for index in range(n):
                drawn += [self._declaration.between] if index and self._declaration.between else []
                drawn.append("value")
        names: list[str] = []
        members = []
        for index, part in enumerate(drawn):
            if isinstance(part, bytes):
                members.append(Const(part))
                continue
            encoding = self._declaration.fields[part]
            least, most = encoding.widths
            behind = drawn[index + 1] if index + 1 < len(drawn) else b""
            if least == most:
                raw: Construct = Bytes(least)
            elif behind:
                raw = NullTerminated(GreedyBytes, term=bytes(behind[:1]), consume=False)  # type: ignore[arg-type]
            else:
                raw = GreedyBytes
            members.append(f"field{len(names)}" / Number(raw, encoding))
            names.append(self._declaration.holds.get(part, part))
        return names, Struct(*members, Terminated)

    def _content(self, raw: bytes) -> bytes | None:
        """The bytes between the marks, before escaping; None for bytes that `_sent` does not make."""
        start, end, escape = self._framing.start, self._framing.end, self._framing.escape
        if raw[: len(start)] == start and len(raw) >= len(start) + len(end):
            raw = raw[len(start) :]
        elif start != end:
            return None
        if raw[len(raw) - len(end) :] != end:
            return None
        raw = raw[: len(raw) - len(end)]
        if self._framing.hex:
            digits = b"0123456789ABCDEF"
            if len(raw) % 2 or any(byte not in digits for byte in raw):
                return None
            return bytes(
                16 * digits.index(high) + digits.index(low) for high, low in zip(raw[::2], raw[1::2], strict=True)
            )
        if escape is None:
            return raw
        content = bytearray()
        waiting = iter(raw)
        for byte in waiting:
            if byte == escape.byte:
                given = next(waiting, -1)
                marks = [mark for mark, image in escape.images.items() if image == given]
                if not marks:
                    return None
                content.append(marks[0])
            elif byte in escape.images:
                return None
            else:
                content.append(byte)
        return bytes(content)
