"""A real address whose box is down: connections to it are refused, or get no answer."""

from __future__ import annotations

import asyncio
import contextlib
import socket

from busim.runtime.bridge.addresses import Address
from busim.runtime.bridge.binding import listen

_FILLING = 4  # connections of our own: with a backlog of 0 a system lets in one or two, and no more


class Shut:
    """Shuts one listening address, and opens it again."""

    def __init__(self) -> None:
        self._address: Address | None = None
        self._hanging: socket.socket | None = None
        self._filling: list[socket.socket] = []

    def shut(self, server: asyncio.AbstractServer, *, hang: bool) -> None:
        """Take an asyncio server's socket from it. `hang`: its queue is filled, so that the system answers nobody."""
        sockets: tuple[socket.socket, ...] = server.sockets  # type: ignore[attr-defined]
        self._address = Address(*sockets[0].getsockname()[:2])
        if hang:
            self._hanging = sockets[0].dup()
            self._hanging.listen(0)
        server.close()
        for _ in range(_FILLING if hang else 0):
            one = socket.socket()
            one.setblocking(False)
            with contextlib.suppress(OSError):  # under way, or not let in any more
                one.connect(self._address)
            self._filling.append(one)

    def open(self) -> socket.socket:
        """A socket that listens there again. Raises OSError where somebody else does by now."""
        if self._hanging is None:
            assert self._address is not None
            return listen(self._address)
        listening, self._hanging = self._hanging, None
        own = {one.getsockname() for one in self._filling}
        for one in self._filling:
            one.close()
        self._filling.clear()
        for _ in range(_FILLING):  # ours, which nobody shall take for clients
            try:
                taken, peer = listening.accept()
            except OSError:
                break
            taken.close()
            if peer not in own:  # a client that came in between: it tries again
                break
        return listening

    def forget(self) -> None:
        """The session ends."""
        for one in [*self._filling, *([self._hanging] if self._hanging is not None else [])]:
            one.close()
        self._filling.clear()
        self._hanging = None
