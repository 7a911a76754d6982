"""Messages to try a protocol with: of every operation, with numbers at the ends of their fields."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from busim.protocols import DeclaredProtocol, Layout, Reply, Request

_HIGHEST = 65535  # keys, and values as cameras have them
_MOST_TAG = 65535


@dataclass(frozen=True, slots=True)
class Exchange:
    """A request and the answer to it. `number`: of the operation; `refused`: whether the answer is a refusal."""

    number: int
    name: str
    request: Request
    reply: Reply

    @property
    def refused(self) -> bool:
        return self.reply.refused != 0

    def fields(self, direction: str, protocol: DeclaredProtocol) -> dict[str, object]:
        """The message's fields as the definition takes them."""
        message = self.request if direction == "request" else self.reply
        values = message.values
        operation = protocol.operations[self.number]
        layout = protocol.layouts[self.number, direction]
        if direction == "request" and operation.values is not None:
            values = ()
        if not layout.repeats:
            values = values[: len(layout.single_values)]
        reason = protocol.declaration.reasons.get(self.reply.refused, 0)
        return {
            "address": message.address,
            "key": message.key,
            "tag": self.request.form >> 8,
            "reason": reason,
            "count": self.request.size,
            "values": list(values),
        }


def exchanges(protocol: DeclaredProtocol) -> Iterator[Exchange]:
    """Two or three of every operation: all numbers small, all large, and, for protocols with refusals, one of each
    reason.
    """
    declaration = protocol.declaration
    first, last = protocol.addresses
    for number, operation in protocol.operations.items():
        low, high = protocol.sizes[number]
        for great in (False, True):
            n = high if great else low
            request = _request(protocol, number, last if great else first, n, great)
            values = tuple(_values(protocol.layouts[number, "reply"], n, great))
            if operation.verb not in ("read", "status", "identify"):
                values = request.values
            yield Exchange(
                number,
                operation.name,
                request,
                Reply(request.address, request.verb, request.key, values, 0, request.form),
            )
            if (number, "refusal") in protocol.layouts:
                codes = list(declaration.reasons) if great else list(declaration.reasons)[:1]
                for code in codes if "reason" in protocol.layouts[number, "refusal"].parts else [4]:
                    refusal = Reply(request.address, request.verb, request.key, (), code, request.form)
                    yield Exchange(number, operation.name, request, refusal)


def _request(protocol: DeclaredProtocol, number: int, address: int, n: int, great: bool) -> Request:
    operation = protocol.operations[number]
    layout = protocol.layouts[number, "request"]
    key = operation.key or 0
    for name in layout.names:
        if layout.holds(name) == "key":
            low, high = _bounds(layout, name)
            key = high if great else low
    values: tuple[int, ...] = ()
    if operation.values is not None:
        values = operation.values
    elif operation.verb not in ("read", "status", "identify"):
        values = tuple(_values(layout, n, great))
    tag = min(protocol.tags - 1, _MOST_TAG) if great and protocol.tags else 0
    return Request(address, operation.verb, key, n, values, number | tag << 8)


def _values(layout: Layout, n: int, great: bool) -> Iterator[int]:
    names = ["value"] * n if layout.repeats else layout.single_values
    for place, name in enumerate(names):
        low, high = _bounds(layout, name)
        yield high if great else min(low + place, high)


def _bounds(layout: Layout, name: str) -> tuple[int, int]:
    encoding = layout.encoding(name)
    if encoding.kind == "words":
        return min(encoding.words), max(encoding.words)
    low, high = encoding.bounds
    return (low if encoding.kind == "signed" or encoding.sign != "none" else max(low, min(0, high))), max(
        min(high, _HIGHEST), low
    )
