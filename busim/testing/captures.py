"""A capture beside a protocol: the frames that the protocol explains, and the bytes it does not.

A capture is the bytes of a line in the order of time, both directions together: raw, or as text of hex digits, in which
spaces, line ends, `0x`, commas and comments after `#` do not matter.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

from busim.foundation.errors import UserError
from busim.protocols import OTHER, UNKNOWN, DeclaredProtocol, Reply, Request

_MOST = 16_000_000  # bytes of a capture
_COMMENT = re.compile(rb"#[^\n]*")
_BETWEEN = re.compile(rb"0[xX]|[\s,;:\-]+")
_TEXT = re.compile(rb"[0-9A-Fa-f]*")


@dataclass(frozen=True, slots=True)
class Explained:
    """A stretch of a capture from byte `at` on: its meaning ("" without an explanation), and its bytes."""

    at: int
    what: str
    raw: bytes


@dataclass(frozen=True, slots=True)
class Explanation:
    """A whole capture, stretch by stretch."""

    stretches: tuple[Explained, ...]
    size: int

    @property
    def explained(self) -> int:
        """The number of bytes in explained frames."""
        return sum(len(one.raw) for one in self.stretches if one.what)


def read_capture(path: str | Path) -> bytes:
    """The bytes of a capture file. Raises UserError if it cannot be read, is empty or too large."""
    try:
        with open(path, "rb") as file:
            data = file.read(_MOST + 1)
    except OSError as error:
        raise UserError("the capture cannot be read", file=str(path), found=error.strerror or str(error)) from None
    if len(data) > _MOST:
        raise UserError(
            "the capture is too large", file=str(path), expected=f"at most {_MOST} bytes", mend="cut a part out"
        )
    if not data:
        raise UserError("the capture is empty", file=str(path))
    text = _BETWEEN.sub(b"", _COMMENT.sub(b"", data))
    return bytes.fromhex(text.decode()) if text and len(text) % 2 == 0 and _TEXT.fullmatch(text) else data


def explain(protocol: DeclaredProtocol, data: bytes) -> Explanation:
    """Each frame as a request, or as the answer to the request before it."""
    stretches: list[Explained] = []
    asked: Request | None = None
    end = 0
    for begin, stop, flaw in protocol.cut(data):
        if begin > end:
            stretches.append(Explained(end, "", data[end:begin]))
        raw = data[begin:stop]
        what = ""
        if not flaw:
            what, asked = _explained(protocol, raw, asked)
        stretches.append(Explained(begin, what, raw))
        end = stop
    if end < len(data):
        stretches.append(Explained(end, "", data[end:]))
    return Explanation(tuple(stretches), len(data))


def _explained(protocol: DeclaredProtocol, raw: bytes, asked: Request | None) -> tuple[str, Request | None]:
    """The meaning of the frame, and the request that is open after it."""
    if asked is not None:
        reply = protocol.decode_reply(raw, asked)
        if reply is not None:
            return _answer(reply), None
    request = protocol.decode_request(raw)
    if request is None or request.verb == UNKNOWN:
        return "", asked
    if request is OTHER:
        return "an answer to a request that is not in the capture", asked
    name = protocol.operations[request.form & 0xFF].name
    values = " = " + ", ".join(str(value) for value in request.values) if request.values else ""
    return f"request {name}: ID {request.address}, key {request.key}{values}", request


def _answer(reply: Reply) -> str:
    if reply.refused:
        return f"refusal of a {reply.verb}: ID {reply.address}, reason {reply.refused}"
    values = " = " + ", ".join(str(value) for value in reply.values) if reply.values else ""
    return f"reply to a {reply.verb}: ID {reply.address}, key {reply.key}{values}"
