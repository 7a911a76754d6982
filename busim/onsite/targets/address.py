"""What a target is called: the way to a real line as a user writes it."""

from __future__ import annotations

from dataclasses import dataclass
from urllib.parse import urlsplit

from busim.foundation.errors import UserError

SOCKET, RFC2217, PORT = "socket", "rfc2217", "port"
_EXPECTED = "socket://HOST:PORT, rfc2217://HOST:PORT, or the path of a serial port as /dev/ttyUSB0"


@dataclass(frozen=True, slots=True)
class Target:
    """A way to a line. `kind`: SOCKET (a box, raw TCP), RFC2217 (a box that takes settings) or PORT (of this machine).

    `text`: as written, which pyserial understands too. `where`: `HOST:PORT`, or the path.
    """

    text: str
    kind: str
    where: str

    @property
    def remote(self) -> bool:
        """Whether it is a box on the network."""
        return self.kind != PORT


def parse_target(text: str) -> Target:
    """Read a target. Raises UserError."""
    scheme, found, rest = text.partition("://")
    if not found:
        if not text.strip() or any(ord(one) < 32 for one in text):
            raise UserError("not a target", found=repr(text[:80]), expected=_EXPECTED, mend="name the way to the line")
        return Target(text, PORT, text)
    if scheme not in (SOCKET, RFC2217):
        raise UserError("not a target", found=repr(text[:80]), expected=_EXPECTED, mend="choose one of these ways")
    try:
        parts = urlsplit(text)
        host, port = parts.hostname, parts.port
    except ValueError:  # a port that is no number, or a broken IPv6 address
        host = port = None
    if not host or not port or parts.path.strip("/") or parts.query or parts.fragment or "@" in parts.netloc:
        raise UserError(
            "not a target", found=repr(text[:80]), expected=f"{scheme}://HOST:PORT, nothing after it",
            mend=f"write for example {scheme}://192.0.2.10:4001",
        )  # fmt: skip
    return Target(f"{scheme}://{rest.rstrip('/')}", scheme, parts.netloc)
