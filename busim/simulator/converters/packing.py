"""Packing: how a converter collects bytes from the line into packets for the network.

A packet leaves when the line has been idle for a time, when it has a number of bytes, or after a delimiter. Behind slow
boxes most of an exchange's time goes here, not on the wire.
"""

from __future__ import annotations


class Packer:
    """`idle`: ns of quiet after which the held bytes leave; 0: each byte at once. `length`: bytes per packet, 0: any.

    `char`: ns of one character; bytes of one burst come closer together than `idle` if that is longer. `delimiter`:
    bytes after which a packet leaves at once, empty for none. `stops`: whether it may need bytes before a burst ends.
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
        # Each byte of a burst is due before the next one comes, or may end a packet.
        self._single = self._idle < char or bool(self._delimiter)
        self.stops = self._single or self._length > 0

    def stop(self) -> int:
        """After how many more bytes `feed` must be called; 0: not before the burst ends."""
        if self._single:
            return 1
        return self._length - len(self._held) if self._length else 0

    def feed(self, data: bytes, last: int) -> list[bytes]:
        """Take bytes from the line, the last of them at `last` ns. Returns the packets that are now full."""
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
        """When the held bytes leave if no more come (ns); None: none are held."""
        return self._due if self._held else None

    def elapsed(self, at: int) -> bytes:
        """It is `at` ns. Returns the packet that is due, or empty bytes."""
        if not self._held or at < self._due:
            return b""
        return self.take()

    def take(self) -> bytes:
        """All held bytes, now."""
        packet, self._held = self._held, b""
        return packet


def _behind(data: bytes, delimiter: bytes) -> list[bytes]:
    """Cut after each delimiter; the last piece has none."""
    *whole, rest = data.split(delimiter)
    return [*(piece + delimiter for piece in whole), rest]
