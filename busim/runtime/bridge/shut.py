"""A real address while its box is down: connections to it are refused, or get no answer."""

from __future__ import annotations

import asyncio
import contextlib
import socket

from busim.runtime.bridge.addresses import Address
from busim.runtime.bridge.binding import listen

_FILLING = 4  # connections of our own: with a backlog of 0 a system admits one or two


class Shut:
    """Shuts one listening address, and opens it again."""

    def __init__(self) -> None:
        self._address: Address | None = None
        self._hanging: socket.socket | None = None
        self._filling: list[socket.socket] = []

    def shut(self, server: asyncio.AbstractServer, *, hang: bool) -> None:
        """Take the socket from an asyncio server. `hang`: its queue is filled, so the system answers nobody."""
        sockets: tuple[socket.socket, ...] = server.sockets  # type: ignore[attr-defined]
        self._address = Address(*sockets[0].getsockname()[:2])
        if hang:
            self._hanging = sockets[0].dup()
            self._hanging.listen(0)
        server.close()
        for _ in range(_FILLING if hang else 0):
            one = socket.socket()
            one.setblocking(False)
            with contextlib.suppress(OSError):  # under way, or no longer admitted
                one.connect(self._address)
            self._filling.append(one)

    def open(self) -> socket.socket:
        """A socket that listens there again. Raises OSError if another program has taken the address."""
        if self._hanging is None:
            assert self._address is not None
            return listen(self._address)
        listening, self._hanging = self._hanging, None
        own = {one.getsockname() for one in self._filling}
        for one in self._filling:
            one.close()
        self._filling.clear()
        for _ in range(_FILLING):  # ours, not clients
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
