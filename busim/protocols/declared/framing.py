"""Between content and bytes on the wire: marks, escaping, hex digits. The hot side; the reference does it byte by
byte.
"""

from __future__ import annotations

import re
from binascii import hexlify
from typing import Final

from busim.protocols.declared.declaration import Framing

_HEX: Final = re.compile(rb"(?:[0-9A-F]{2})*")


class Wrapper:
    """Puts a content between its marks and takes it out again. `plain`: the content is sent unchanged."""

    def __init__(self, framing: Framing) -> None:
        self._start = framing.start
        self._end = framing.end
        self._hex = framing.hex
        self._shared = framing.start == framing.end  # one mark may end a frame and begin the next
        self.plain = not framing.hex and framing.escape is None
        self._steps: list[tuple[bytes, bytes]] = []
        if framing.escape is not None:
            byte, images = framing.escape.byte, framing.escape.images
            order = [byte] + [mark for mark in images if mark != byte]  # the announcing byte itself goes first
            self._steps = [(bytes((mark,)), bytes((byte, images[mark]))) for mark in order]
        self._announcing = self._steps[0][0] if self._steps else b""

    def wrap(self, content: bytes) -> bytes:
        if self._hex:
            content = hexlify(content).upper()
        return self._start + self._escaped(content) + self._end

    def _escaped(self, content: bytes) -> bytes:
        for mark, image in self._steps:
            if mark in content:
                content = content.replace(mark, image)
        return content

    def unwrap(self, data: bytes) -> bytes | None:
        """The content, or None for bytes that `wrap` does not make."""
        start, end = self._start, self._end
        if not data.endswith(end):
            return None
        if data.startswith(start) and len(data) >= len(start) + len(end):
            inner = data[len(start) : len(data) - len(end)]
        elif self._shared:
            inner = data[: len(data) - len(end)]
        else:
            return None
        if self._hex:
            return bytes.fromhex(inner.decode()) if _HEX.fullmatch(inner) else None
        if self._announcing in inner:
            content = inner
            for mark, image in reversed(
                self._steps
            ):  # an announcing byte is never an image, so no step undoes another's
                content = content.replace(image, mark)
            return content if self._escaped(content) == inner else None
        return None if any(mark in inner for mark, _ in self._steps) else inner
