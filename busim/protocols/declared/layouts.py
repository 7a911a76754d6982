"""Layouts: a message in its frame, with its sizes before any number is written.

A content is the bytes between the marks, before escaping. `n` is the number of values of an operation. With `n` given,
most layouts have one size, and every field a fixed place.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from busim.protocols.declared.declaration import Declaration, Operation, Part, Parts
from busim.protocols.declared.encodings import Encoding

READS: Final = ("read", "status", "identify")


@dataclass(frozen=True, slots=True)
class Layout:
    """One message of one operation in its frame. `operation` None: the refusal of an unknown one."""

    declaration: Declaration
    operation: Operation | None
    direction: str
    parts: Parts

    def holds(self, name: str) -> str:
        """The content of a field: its name, or `key` or `value` if the file says so."""
        return self.declaration.holds.get(name, name)

    def encoding(self, name: str) -> Encoding:
        return self.declaration.fields["value" if name == "values" else name]

    @property
    def names(self) -> list[str]:
        return [part for part in self.parts if isinstance(part, str)]

    @property
    def single_values(self) -> list[str]:
        """Fields that carry one value each, in order."""
        return [name for name in self.names if self.holds(name) == "value"]

    @property
    def repeats(self) -> bool:
        """Whether it carries `values`, in any number."""
        return "values" in self.parts

    def width(self, part: Part, n: int) -> tuple[int, int]:
        """Fewest and most bytes of a part."""
        if isinstance(part, bytes):
            return len(part), len(part)
        least, most = self.encoding(part).widths
        if part == "values":
            between = len(self.declaration.between) * (n - 1) if n else 0
            return n * least + between, n * most + between
        return least, most

    def size(self, n: int) -> tuple[int, int]:
        """Fewest and most bytes of the content."""
        widths = [self.width(part, n) for part in self.parts]
        return sum(least for least, _ in widths), sum(most for _, most in widths)

    def fixed(self, n: int) -> bool:
        least, most = self.size(n)
        return least == most

    def offset(self, name: str, n: int = 0) -> int | None:
        """The start of a field; None if it varies."""
        at = 0
        for part in self.parts:
            if part == name:
                return at
            least, most = self.width(part, n)
            if least != most or part == "values":
                return None
            at += least
        return None

    def pieces(self, n: int) -> list[tuple[str, Part]]:
        """The parts with `values` drawn out into n of them: the content of each (`literal` for bytes), and the part."""
        drawn: list[tuple[str, Part]] = []
        for part in self.parts:
            if isinstance(part, bytes):
                drawn.append(("literal", part))
            elif part == "values":
                for index in range(n):
                    if index and self.declaration.between:
                        drawn.append(("literal", self.declaration.between))
                    drawn.append(("value", "value"))
            else:
                drawn.append((self.holds(part), part))
        return drawn

    def counted(self, n: int, size: int) -> int:
        """The length field's number for a content of `size` bytes."""
        counts = self.declaration.framing.counts
        if counts == "frame":
            return size
        if counts == "behind":
            return size - (self.offset("length") or 0) - self.width("length", n)[0]
        frame = self.declaration.frame
        return size - sum(self.width(part, n)[0] for part in frame if part != "message")

    def value_bytes(self, n: int) -> int:
        """The number of `{size}`: bytes of the values."""
        if self.repeats:
            return self.width("values", n)[0]
        return sum(self.width(name, n)[0] for name in self.single_values)


def values_asked(operation: Operation, request: Layout, reply: Layout) -> tuple[int, int]:
    """Fewest and most values of one request of this operation."""
    if operation.verb in READS:
        if reply.repeats:
            return (1, operation.most) if "count" in request.parts else (operation.most, operation.most)
        return len(reply.single_values), len(reply.single_values)
    if operation.values is not None:
        return len(operation.values), len(operation.values)
    if request.repeats:
        return 1, operation.most
    return len(request.single_values), len(request.single_values)


def layouts(declaration: Declaration) -> dict[tuple[int, str], Layout]:
    """Every layout of a protocol by number of the operation (0: none) and direction. No refusal: none in the answer."""
    found: dict[tuple[int, str], Layout] = {}
    for operation in declaration.operations:
        for direction in ("request", "reply", "refusal"):
            message = declaration.message(operation, direction)
            if message or direction != "refusal":
                found[operation.number, direction] = Layout(
                    declaration, operation, direction, declaration.whole(message)
                )
    if declaration.refusal:
        found[0, "refusal"] = Layout(declaration, None, "refusal", declaration.whole(declaration.refusal))
    return found
