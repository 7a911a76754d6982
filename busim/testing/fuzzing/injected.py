"""Applies the fault events of a case to a running world, each at its instant, through the fault hooks.

Every effect is a record, so a verdict can name the fault, and a run without any effect is known as such.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from busim.plan import FaultPlan, Plan
from busim.protocols import Reply
from busim.recording.trace import EFFECT
from busim.simulator.fault_hooks import CameraReply
from busim.simulator.kernel import Chance, Stream
from busim.simulator.world import CameraPort, World
from busim.testing.fuzzing.case import Case, FaultEvent

MS = 1_000_000


def scheduled(plan: Plan, case: Case) -> Plan:
    """The plan with those faults of a case that are in the catalogue."""
    entries = [
        FaultPlan(one.kind, (one.target,), one.at, one.length, parameters=dict(one.parameters))
        for one in case.faults
        if one.kind not in KINDS
    ]
    return replace(plan, faults=(*plan.faults, *entries)) if entries else plan


def inject(world: World, case: Case) -> None:
    """Schedule the faults of the campaign's own, before the world starts."""
    chance = Chance(case.seed)
    replies: dict[str, _Replies] = {}
    for number, event in enumerate(case.faults):
        stream = chance.stream("fault", event.kind, event.target, str(number))
        if event.kind in _REPLY:
            port = world.cameras.get(event.target)
            if port is None:
                continue
            if event.target not in replies:
                replies[event.target] = _Replies(world, port)
            replies[event.target].events.append((event, stream))
        elif event.kind in _OTHER:
            _OTHER[event.kind](world, event, stream)


class _Replies:
    """Sits between one camera and its driver."""

    def __init__(self, world: World, port: CameraPort) -> None:
        self._world = world
        self._number = port.number
        self.port = port
        self.events: list[tuple[FaultEvent, Stream]] = []
        self._beneath: CameraReply = port.fit_reply(self)

    def answer(self, raw: bytes, reply: Reply) -> tuple[int, bytes]:
        delay, raw = self._beneath.answer(raw, reply)
        now = self._world.kernel.now
        for event, stream in self.events:
            if event.at <= now < event.at + event.length:
                before, held = raw, delay
                delay, raw = _REPLY[event.kind](self, event, stream, delay, raw)
                if raw != before:
                    self.tell(event.kind, f"{before.hex(' ')} became {raw.hex(' ') or 'nothing'}")
                elif delay != held:
                    self.tell(event.kind, f"held for {(delay - held) / MS:g} ms")
        return delay, raw

    def tell(self, kind: str, text: str) -> None:
        """A fault took effect on a reply."""
        tell(self._world, self._number, kind, text)

    def later(self, delay: int, raw: bytes) -> None:
        """Send more, after its reply."""
        station = self.port.station
        line = next(one for one in self._world.lines.values() if station in one.stations)

        def send(data: bytes) -> None:
            line.send(station, data)

        self._world.kernel.at(self._world.kernel.now + delay, send, raw)


def tell(world: World, who: int, kind: str, text: str) -> None:
    """A fault took effect."""
    world.emit((EFFECT, world.kernel.now, who, kind, text))


# -- what may happen to a reply ----------------------------------------------------------------------------------


def _late(_: _Replies, event: FaultEvent, __: Stream, delay: int, raw: bytes) -> tuple[int, bytes]:
    return delay + event.amount * MS, raw


def _lost(_: _Replies, __: FaultEvent, ___: Stream, delay: int, ____: bytes) -> tuple[int, bytes]:
    return delay, b""


def _damaged(_: _Replies, __: FaultEvent, stream: Stream, delay: int, raw: bytes) -> tuple[int, bytes]:
    """One bit after the address inverted: every check finds it."""
    if len(raw) < 4:
        return delay, raw
    at, bit = stream.between(2, len(raw) - 2), stream.between(0, 7)
    return delay, raw[:at] + bytes((raw[at] ^ 1 << bit,)) + raw[at + 1 :]


def _wrong_id(replies: _Replies, event: FaultEvent, _: Stream, delay: int, raw: bytes) -> tuple[int, bytes]:
    """The reply of a neighbour: sound, with another address."""
    protocol = replies.port.protocol
    request = replies.port.last_request
    reply = None if request is None else protocol.decode_reply(raw, request)
    if reply is None:
        return delay, raw
    low, high = protocol.addresses
    other = low + (reply.address - low + max(1, event.amount)) % (high - low + 1)
    return delay, protocol.encode_reply(reply._replace(address=other))


def _cut_short(_: _Replies, event: FaultEvent, __: Stream, delay: int, raw: bytes) -> tuple[int, bytes]:
    return delay, raw[: max(1, len(raw) - max(1, event.amount))] if raw else raw


def _junk_before(_: _Replies, event: FaultEvent, __: Stream, delay: int, raw: bytes) -> tuple[int, bytes]:
    return delay, bytes(max(1, event.amount)) + raw if raw else raw


def _twice(replies: _Replies, event: FaultEvent, _: Stream, delay: int, raw: bytes) -> tuple[int, bytes]:
    if raw:
        replies.later(delay + max(8, event.amount) * MS, raw)
        replies.tell("twice", f"{raw.hex(' ')} comes again after {max(8, event.amount)} ms")
    return delay, raw


_Change = Callable[[_Replies, FaultEvent, Stream, int, bytes], tuple[int, bytes]]
_REPLY: dict[str, _Change] = {
    "late": _late, "lost": _lost, "damaged": _damaged, "wrong-id": _wrong_id, "cut-short": _cut_short,
    "junk-before": _junk_before, "twice": _twice,
}  # fmt: skip


# -- what may happen to a camera or a line -----------------------------------------------------------------------


def _dead(world: World, event: FaultEvent, _: Stream) -> None:
    """Without power from now on; it boots when power returns."""
    port = world.cameras.get(event.target)
    if port is None:
        return

    def switch(on: bool) -> None:
        port.power(on, world.kernel.now)
        if not on:
            tell(world, port.number, "dead", "no power")

    world.kernel.at(event.at, switch, False)
    world.kernel.at(event.at + event.length, switch, True)


def _noise(world: World, event: FaultEvent, stream: Stream) -> None:
    """Pulses of one bit at random instants: `amount` per second."""
    line = world.lines[event.target]
    bit = round(1e9 / float(line.stations[0].setting.baud))
    until = event.at + event.length

    def strike(_: object) -> None:
        line.pulse(bit, False)
        tell(world, line.number, "noise", "a pulse of one bit")
        following = world.kernel.now + stream.exponential(1e9 / max(1, event.amount))
        if following < until:
            world.kernel.at(following, strike)

    world.kernel.at(event.at, strike)


def _echo(world: World, event: FaultEvent, _: Stream) -> None:
    """Masters on this line hear themselves."""
    line = world.lines[event.target]
    asking = [port.station for (_, name), port in world.masters.items() if name == event.target
              and hasattr(port, "station")]  # fmt: skip

    def switch(on: bool) -> None:
        for station in asking:
            station.echo = on
        if on:
            tell(world, line.number, "echo", "masters hear what they send")

    world.kernel.at(event.at, switch, True)
    world.kernel.at(event.at + event.length, switch, False)


def _babble(world: World, event: FaultEvent, stream: Stream) -> None:
    """A camera sends junk without end."""
    port = world.cameras.get(event.target)
    if port is None:
        return
    station = port.station
    line = next(one for one in world.lines.values() if station in one.stations)
    until = event.at + event.length

    def send(_: object) -> None:
        burst = line.send(station, bytes(stream.between(0, 255) for _ in range(16)))
        tell(world, port.number, "babble", "16 bytes of rubbish")
        if burst.end < until:
            world.kernel.at(burst.end + 2 * MS, send)

    world.kernel.at(event.at, send)


_OTHER: dict[str, Callable[[World, FaultEvent, Stream], None]] = {
    "dead": _dead, "noise": _noise, "echo": _echo, "babble": _babble,
}  # fmt: skip
KINDS = (*_REPLY, *_OTHER)
LINE_KINDS = frozenset(("noise", "echo"))
