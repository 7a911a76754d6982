"""The network side of a converter: its clients, and their packets.

Clients are in the world (a played master) or outside (a real connection through the bridge). With COM port control each
connection from outside speaks Telnet, unless it is a plain one: a local port and no network connection. UDP has no
connections: the sender of a datagram is a client until nothing has come from it for a while.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from busim.simulator.converters import MOST_IGNORED, MOST_UNREAD, Action, ComClient, ComPort, Forward, Policy, Slots
from busim.simulator.fault_hooks import Admission, Crossing, Passage
from busim.simulator.kernel import Kernel

Deliver = Callable[[int, bytes], None]  # client, bytes
Drop = Callable[[int, bool], None]  # client, whether by a reset

_ERRORS: Final = ((1, 8), (2, 4), (4, 16))  # character flags: framing, parity, break; and line state bits (RFC 2217)


class _Client:
    """`stalled`: it does not read, `held`: it wants no data now; `kept`: its waiting bytes; `peer`: over UDP."""

    __slots__ = ("active", "com", "deliver", "held", "kept", "lasting", "peer", "stalled")

    def __init__(self, deliver: Deliver, com: ComClient | None, now: int, *, lasting: bool, peer: bool = False) -> None:
        self.peer = peer
        self.deliver = deliver
        self.com = com
        self.lasting = lasting
        self.active = now
        self.stalled = False
        self.held = False
        self.kept = b""


class Clients:
    """`drop` is called to end a connection; `effect` reports effects of a policy, `left` clients that are gone.

    Hook points: `to_net` (how long a passage takes), `up` (packets on it), `slots` (the clients admitted).
    """

    def __init__(
        self, kernel: Kernel, policy: Policy, to_net: Crossing, com: ComPort | None,
        effect: Callable[[str, str], None], left: Callable[[int, list[Action]], None],
    ) -> None:  # fmt: skip
        self.drop: Drop = lambda _client, _reset: None
        self._kernel = kernel
        self._policy = policy
        self.slots: Admission = Slots(policy.clients.most, policy.clients.when_full, policy.clients.hold_slot)
        self.to_net = to_net
        self.up: Passage = self._reach_clients
        self._com = com
        self._effect = effect
        self._left = left
        self._down_until = 0
        self._life = 0  # counts reboots: packets from before the last one are lost
        self._clients: dict[int, _Client] = {}
        self._ignored: dict[int, int] = {}  # clients that are not served: bytes recorded of each
        self.unplugged = (
            ""  # "same" or "renamed": while down it is unplugged, and returns as the same device or another
        )
        self.box_up: Callable[[bool], None] = lambda _: None  # called when it goes down and when it is back
        self._outside = 0
        self._net_time = 0  # when the last bytes towards the network arrive
        self._stale = b""
        self._quiet_since = 0

    def start(self) -> None:
        """Instant 0."""
        policy = self._policy
        if policy.clients.keep_alive_every and policy.clients.keep_alive_to == "network":
            self._kernel.at_shown(policy.clients.keep_alive_every, self._keep_alive)

    # -- who is there ---------------------------------------------------------------------------------------

    @property
    def outside(self) -> bool:
        """Whether a client from outside is connected."""
        return self._outside > 0

    def stay(self, client: int, deliver: Deliver) -> None:
        """A client in the world itself."""
        self.slots.stay(client)
        self._clients[client] = _Client(deliver, None, 0, lasting=True)

    def part(self, client: int) -> None:
        """A client in the world leaves and keeps its slot; its replacement takes one more."""
        del self._clients[client]

    def open(self, client: int, deliver: Deliver, *, plain: bool) -> bool:
        """A client from outside connects. Returns whether it is admitted."""
        now = self._kernel.now
        if now < self._down_until:
            self._effect("reboot", f"client {client} refused: the converter is starting")
            return False
        arrival = self.slots.arrive(client, now)
        if arrival.dropped is not None:
            self._effect("clients", f"client {arrival.dropped} dropped: client {client} came")
            self.end(arrival.dropped, reset=True)
        peer = self._policy.datagrams and not plain
        if not arrival.connected or (peer and not arrival.served):
            self._effect("clients", f"client {client} refused: {self._policy.clients.most} are connected")
        elif not arrival.served:
            self._effect(
                "clients", f"client {client} is let in and not served: {self._policy.clients.most} are connected"
            )
        else:
            com = None if plain or self._com is None else ComClient(self._com)
            self._enter(client, _Client(deliver, com, now, lasting=False, peer=peer))
        return arrival.served if peer else arrival.connected

    def _enter(self, client: int, one: _Client) -> None:
        self._clients[client] = one
        self._outside += 1
        first, self._stale = self._policy.clients.greeting + self._stale, b""
        if first:
            self.answer(client, first if one.com is None else one.com.wrap(first))
        if self._policy.clients.idle_close:
            self._kernel.at_shown(self._kernel.now + self._policy.clients.idle_close, self._idle, (client, one))

    def close(self, client: int, *, ended: bool) -> None:
        """A client has gone: closed, or reset."""
        held = self.slots.leave(client, self._kernel.now, ended=ended)
        if held is not None:
            self._effect("clients", f"client {client} is gone and its slot is held")
        self._serve_no_more(client)

    def _serve_no_more(self, client: int) -> None:
        """Stop serving it, and release its break."""
        one = self._clients.pop(client, None)
        if one is not None:
            self._outside -= 1
            self._left(client, [] if one.com is None else one.com.gone())

    def end(self, client: int, *, reset: bool) -> None:
        """The converter itself ends a connection."""
        self.close(client, ended=True)
        self.drop(client, reset)

    def hang_up(self, *, reset: bool) -> int:
        """End every connection from outside. Returns their number."""
        outside = [client for client, one in self._clients.items() if not one.lasting]
        for client in outside:
            self._effect("clients", f"client {client}: its connection is ended")
            self.end(client, reset=reset)
        return len(outside)

    def has(self, client: int) -> bool:
        return client in self._clients

    def reboot(self, until: int) -> None:
        """Break every connection; up to `until` ns nobody is admitted and nothing leaves."""
        self._down_until = until
        self.box_up(False)
        self._kernel.at_shown(until, self._back)
        self._life += 1
        self._stale = b""
        for client, one in list(self._clients.items()):
            one.kept = b""
            if not one.lasting:
                self.end(client, reset=True)

    def _back(self, _: object) -> None:
        if self._kernel.now >= self._down_until:
            self.box_up(True)

    @property
    def when_down(self) -> str:
        """The treatment of clients that connect while the box is down: refuse or hang."""
        return self._policy.when_down

    # -- what comes from them ---------------------------------------------------------------------------------

    def notes(self, client: int, data: bytes) -> bool:
        """Whether it records these bytes of a client. For a client that is not served it records up to a length. It
        ignores bytes that extend a sub-negotiation which is too long already.
        """
        one = self._clients.get(client)
        if one is not None:
            return one.com is None or not one.com.passes_over(data)
        noted = self._ignored.get(client, 0)
        if noted >= MOST_IGNORED:
            return False
        noted = self._ignored[client] = noted + len(data)
        if noted >= MOST_IGNORED:
            self._effect("clients", f"client {client} is not served and goes on sending: no more of it is noted")
        return True

    def receive(self, client: int, data: bytes) -> list[Action]:
        """The requests in a client's bytes."""
        one = self._clients[client]
        one.active = self._kernel.now
        return [Forward(data)] if one.com is None else one.com.receive(data)

    def stall(self, client: int, on: bool) -> None:
        """A client stops reading, or reads again."""
        one = self._clients.get(client)
        if one is not None:
            one.stalled = on
            self._release(client, one)

    def hold(self, client: int, on: bool) -> None:
        """A client wants no data for now, or wants it again."""
        one = self._clients.get(client)
        if one is not None:
            one.held = on
            self._release(client, one)

    def forget(self, client: int) -> None:
        """Drop the bytes kept for a client."""
        one = self._clients.get(client)
        if one is not None:
            one.kept = b""

    def _release(self, client: int, one: _Client) -> None:
        if one.kept and not (one.stalled or one.held):
            kept, one.kept = one.kept, b""
            one.deliver(client, kept)

    # -- what goes to them ----------------------------------------------------------------------------------

    def send(self, packet: bytes, at: int, only: int | None = None) -> None:
        """A packet from the line: to all, or to one."""
        if not self._clients or self._kernel.now < self._down_until:
            if self._policy.clients.stale:
                self._stale = (self._stale + packet)[-self._policy.clients.stale :]
            return
        self._quiet_since = self._arrive_at(at)
        self._kernel.at_shown(self._quiet_since, self._arrive, (self._life, packet, only))

    def answer(self, client: int, data: bytes) -> None:
        """Bytes of the converter itself to one client, as sent on the connection."""
        self._kernel.at_shown(self._arrive_at(self._kernel.now), self._hand_over, (self._life, client, data))

    def notice(self, flags: int) -> None:
        """A character had errors: notify the clients that asked for it."""
        if self._com is None:
            return
        state = sum(bit for flag, bit in _ERRORS if flags & flag)
        for client, one in self._clients.items():
            told = one.com.line_state(state) if one.com is not None else b""
            if told:
                self.answer(client, told)

    def _arrive_at(self, at: int) -> int:
        self._net_time = max(self._net_time, at + self.to_net.delay(), self._kernel.now)
        return self._net_time

    def _arrive(self, what: tuple[int, bytes, int | None]) -> None:
        life, packet, only = what
        if life == self._life and self._kernel.now >= self._down_until:
            self.up(packet, only)

    def _reach_clients(self, packet: bytes, only: int | None) -> None:
        """A packet has reached the network's side."""
        for client, one in list(self._clients.items()):
            if only is None or client == only:
                self._put(client, one, packet if one.com is None else one.com.wrap(packet))

    def _hand_over(self, what: tuple[int, int, bytes]) -> None:
        life, client, data = what
        one = self._clients.get(client)
        if one is not None and life == self._life:
            self._put(client, one, data)

    def _put(self, client: int, one: _Client, data: bytes) -> None:
        if not one.peer:
            one.active = self._kernel.now
        if not (one.stalled or one.held):
            one.deliver(client, data)
        elif len(one.kept) + len(data) <= MOST_UNREAD:
            one.kept += data
        else:
            self._effect("unread", f"{len(data)} bytes lost: client {client} does not read")

    # -- what happens when nothing does -----------------------------------------------------------------------

    def _idle(self, what: tuple[int, _Client]) -> None:
        client, one = what
        if self._clients.get(client) is not one:
            return
        due = one.active + self._policy.clients.idle_close
        if due > self._kernel.now:
            self._kernel.at_shown(due, self._idle, what)
            return
        way = "forgotten" if one.peer else self._policy.clients.idle_way
        self._effect("idle", f"client {client} was idle: {way}")
        if way == "ignore":
            self._serve_no_more(client)  # its slot stays taken until it leaves
        else:
            self.end(client, reset=way == "reset")

    def _keep_alive(self, _: object) -> None:
        policy = self._policy
        due = self._quiet_since + policy.clients.keep_alive_every
        if due <= self._kernel.now:
            self._quiet_since = self._kernel.now
            if self._clients:
                self._arrive((self._life, policy.clients.keep_alive, None))
            due = self._kernel.now + policy.clients.keep_alive_every
        self._kernel.at_shown(due, self._keep_alive)
