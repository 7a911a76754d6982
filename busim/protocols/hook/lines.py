"""Lines from a stream of bytes, none longer than a limit: a program that never ends its line takes no memory."""

from __future__ import annotations

from collections.abc import Iterator

LONGEST = 4096  # bytes


class Lines:
    """`feed` it chunks, cut anywhere; it returns each line without its end, and None for one that was too long."""

    def __init__(self) -> None:
        self._held = bytearray()
        self._dropping = False

    def feed(self, data: bytes) -> Iterator[bytes | None]:
        """The lines complete now, without empty ones."""
        *ends, rest = data.split(b"\n")
        for end in ends:
            yield from self._add(end)
            if self._held and not self._dropping:
                yield bytes(self._held).strip()
            self._held.clear()
            self._dropping = False
        yield from self._add(rest)

    def close(self) -> Iterator[bytes | None]:
        """The stream is over: an unfinished line counts as a line."""
        return self.feed(b"\n")

    def _add(self, piece: bytes) -> Iterator[None]:
        if self._dropping:
            return
        self._held += piece.lstrip(b" \t\r") if not self._held else piece
        if len(self._held.rstrip(b"\r")) > LONGEST:
            self._held.clear()
            self._dropping = True
            yield None
