"""Link hygiene: does the controller connect rarely, once, and with growing pauses?"""

from __future__ import annotations

from typing import Any, Final

from busim.testing.judging import About, Ground, Judge, Scene

_SECOND: Final = 1_000_000_000
_MARGIN: Final = 0.9  # share of a second: a timer may be slightly early
_PATIENT: Final = 5  # attempts in a row after which the pause must have grown


class LinkHygiene(Judge):
    """Watches the clients of each converter come and go."""

    about = About(
        name="link-hygiene",
        title="Link hygiene: connections are opened rarely, one at a time",
        passes="at most one attempt to connect per second (the first one after a lost connection may come at once), "
        "growing pauses while attempts fail, and the old connection is closed before another is opened",
        catches="a reconnect storm, a slot held by a half-open connection, two connections at once",
        needs="inputs of a converter: connections from outside",
        bound="1 attempt per second, growing to 5 s (common practice, no source)",
    )

    def __init__(self, ground: Ground, scene: Scene) -> None:
        super().__init__(ground, scene)
        self._open: dict[int, set[int]] = {}
        self._attempts: dict[int, list[int]] = {}  # attempts in a row since the last received bytes
        self._line: dict[int, int] = {}

    def entered(self, record: tuple[Any, ...]) -> None:
        _, at, port, client, what, data = record
        if what == "open" and data != b"plain":
            self._opens(at, port, client)
        elif what in ("close", "reset"):
            self._open.get(port, set()).discard(client)
        elif what == "bytes":
            self._attempts[port] = []

    def took_effect(self, record: tuple[Any, ...]) -> None:
        """A converter ends or refuses a connection: the client is not to blame for the missing close."""
        _, _, who, fault, _ = record
        if fault in ("clients", "reboot", "idle"):
            self._open.pop(who, None)

    def _opens(self, at: int, port: int, client: int) -> None:
        self.judged += 1
        self.state = "connecting"
        attempts = self._attempts.setdefault(port, [])
        attempts.append(at)
        name = self.ground.name(port)
        line = self.ground.port_lines.get(port, 0)
        others = self._open.setdefault(port, set())
        if others:
            self.fail(at, line, f"a connection to {name} while {len(others)} more of the controller are open")
        others.add(client)
        # The first may follow the loss at once, and so may the one after a success that carried no bytes.
        if len(attempts) > 2 and attempts[-1] - attempts[-2] < _MARGIN * _SECOND:
            self.fail(
                at,
                line,
                f"{len(attempts)} attempts to connect to {name} in a row, the last "
                f"{(attempts[-1] - attempts[-2]) / 1e9:.3f} s after the one before",
            )
        elif len(attempts) == _PATIENT + 1 and attempts[-1] - attempts[-2] < 1.2 * (attempts[2] - attempts[1]):
            self.fail(at, line, f"after {len(attempts)} attempts to connect to {name} the pause has not grown")


JUDGE = LinkHygiene
