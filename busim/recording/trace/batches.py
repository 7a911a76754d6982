"""Batches of records on their way to the writer process.

Inserting a row costs more than simulating it, so another process inserts. The simulation pays one `marshal.dumps` per
batch, the cheapest way to turn tuples of plain values into bytes. Both ends are the same interpreter, so marshal needs
no stable format. A length goes before each batch: a batch cut off by a killed sender is recognised and dropped.
"""

from __future__ import annotations

import marshal
from collections.abc import Iterator, Sequence
from typing import IO, Any, NamedTuple

from busim.foundation.errors import Defect
from busim.recording.trace.records import Record

_LENGTH = 8


class Batch(NamedTuple):
    """Rows for one commit. `ended_at` is given with the last batch of an orderly end, else None. `head`: new values of
    keys of the head.
    """

    names: list[tuple[int, str, str, int]]
    settings: list[tuple[int, str, str, float, int, int, int]]
    records: list[Record]
    lateness: list[tuple[int, int]]
    ended_at: int | None
    head: Sequence[tuple[str, int | float | str]] = ()


def pack(message: tuple[Any, ...]) -> bytes:
    """A message as bytes with its length before it. Raises Defect for a value that is not plain."""
    try:
        body = marshal.dumps(tuple(message))
    except ValueError as error:
        raise Defect("a record holds a value that is no plain integer, float, text or bytes") from error
    return len(body).to_bytes(_LENGTH, "little") + body


class Unpacker:
    """The messages of a stream that arrives in pieces."""

    def __init__(self) -> None:
        self._held = bytearray()

    def feed(self, data: bytes) -> Iterator[tuple[Any, ...]]:
        """Take bytes. The messages that are whole with them."""
        held = self._held
        held += data
        while len(held) >= _LENGTH:
            end = _LENGTH + int.from_bytes(held[:_LENGTH], "little")
            if len(held) < end:
                return
            body = bytes(held[_LENGTH:end])
            del held[:end]
            yield marshal.loads(body)


def unpack(stream: IO[bytes]) -> Iterator[tuple[Any, ...]]:
    """The whole messages of a stream, until its end; a truncated last one is dropped."""
    while len(head := stream.read(_LENGTH)) == _LENGTH:
        length = int.from_bytes(head, "little")
        body = stream.read(length)
        if len(body) < length:
            return
        yield marshal.loads(body)
