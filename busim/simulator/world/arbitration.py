"""Arbitration in a running converter: schedules the arbiter's requests, and gives each client its own replies."""

from __future__ import annotations

from collections.abc import Callable

from busim.simulator.bus import Line, Station
from busim.simulator.converters import Arbiter, Packer
from busim.simulator.kernel import Kernel
from busim.simulator.world.clients import Clients


class Arbitration:
    """`send` hands a request to the driver and returns the end of its last character, ns; `effect` reports losses."""

    def __init__(
        self, kernel: Kernel, line: Line, station: Station, arbiter: Arbiter, packer: Packer, clients: Clients,
        send: Callable[[bytes], int], effect: Callable[[str, str], None],
    ) -> None:  # fmt: skip
        self._kernel = kernel
        self._line = line
        self._station = station
        self._arbiter = arbiter
        self._packer = packer
        self._clients = clients
        self._send = send
        self._effect = effect

    @property
    def owner(self) -> int | None:
        """The client whose request is on the line; None without one."""
        return self._arbiter.owner

    def take(self, client: int, data: bytes) -> None:
        """Bytes of a client."""
        lost = self._arbiter.take(client, data)
        if lost:
            self._effect("arbitration", f"{lost} requests of client {client} lost: too many wait")
        self._next()

    def leave(self, client: int) -> None:
        """A client has gone."""
        self._arbiter.leave(client)

    def clear(self) -> None:
        """The box reboots: it forgets waiting requests and the one on the line."""
        self._arbiter.clear()

    def heard(self, data: bytes, end: int) -> None:
        """The packer has characters from the line, over at `end` ns."""
        if self._arbiter.heard(data, end):
            self._flush()
            self._next()

    def _next(self) -> None:
        """Send the next request if it is time, or look again later."""
        arbiter, now = self._arbiter, self._kernel.now
        raw = arbiter.next(now)
        if raw:
            arbiter.sent(self._send(raw))
        if arbiter.due is not None:
            self._kernel.at_near(max(arbiter.due, now), self._look, arbiter.due)

    def _look(self, due: int) -> None:
        arbiter = self._arbiter
        if arbiter.due != due:
            return
        self._line.catch_up(self._station)
        if arbiter.due == due and arbiter.elapsed(self._kernel.now):
            self._effect("arbitration", "no reply in time")
            self._flush()
        self._next()

    def _flush(self) -> None:
        """An exchange is over: its bytes go to the client that asked."""
        packet = self._packer.take()
        if packet and self._arbiter.owner is not None:
            self._clients.send(packet, self._kernel.now, self._arbiter.owner)
        self._arbiter.owner = None
