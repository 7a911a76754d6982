"""Packing: how a converter collects bytes from the line into packets for the network.

Bytes go when the line has been idle for a time, when a number of them is there, or behind a delimiter. This, not the
wire, is where most of an exchange's time goes behind slow boxes.
"""

from __future__ import annotations


class Packer:
    """`idle`: ns of quiet after which the bytes held go; 0: each byte at once. `length`: so many go at once, 0: any.

    `char`: ns of one character, by which it knows that bytes of one burst come closer together than `idle`.
    `delimiter`: bytes behind which a packet goes at once, empty for none. `stops`: whether it ever has to be told
    before a burst ends.
    """

    __slots__ = ("_delimiter", "_due", "_held", "_idle", "_length", "_single", "stops")

    def __init__(self, idle: int, length: int, char: int, delimiter: bytes = b"") -> None:
        self._idle = idle
        self._length = length
        self._delimiter = delimiter
        self._held = b""
        self._due = 0
        self.set_char(char)

    def set_char(self, char: int) -> None:
        """Characters take `char` ns from now on."""
        # each byte of a burst falls due before the next one comes, or may be the one that ends a packet
        self._single = self._idle < char or bool(self._delimiter)
        self.stops = self._single or self._length > 0

    def stop(self) -> int:
        """After how many more bytes it must be told at once; 0: not before the burst ends."""
        if self._single:
            return 1
        return self._length - len(self._held) if self._length else 0

    def feed(self, data: bytes, last: int) -> list[bytes]:
        """Bytes from the line, the last of them at `last` ns; packets that are full now."""
        self._held = self._held + data if self._held else data
        self._due = last + self._idle
        packets: list[bytes] = []
        if self._delimiter:
            *packets, self._held = _behind(self._held, self._delimiter)
        if self._length:
            while len(self._held) >= self._length:
                packets.append(self._held[: self._length])
                self._held = self._held[self._length :]
        return packets

    @property
    def due(self) -> int | None:
        """When the bytes held go, if no more come (ns); None: none are held."""
        return self._due if self._held else None

    def elapsed(self, at: int) -> bytes:
        """It is `at` ns: the packet that is due, or none (empty)."""
        if not self._held or at < self._due:
            return b""
        return self.take()

    def take(self) -> bytes:
        """What is held, at once."""
        packet, self._held = self._held, b""
        return packet


def _behind(data: bytes, delimiter: bytes) -> list[bytes]:
    """Cut behind each delimiter; the last piece has none."""
    *whole, rest = data.split(delimiter)
    return [*(piece + delimiter for piece in whole), rest]
