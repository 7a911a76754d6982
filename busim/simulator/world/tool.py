"""A tool: an engineer's laptop at the converter of a line, in simulated time.

It is a client from outside, so its actions are inputs of the trace, and replay repeats them. It hears what a laptop
hears there: packets of bytes, and the sound replies among them. Knowledge of the emulator alone (who drove the pair,
which characters had errors) is apart in `Heard.beneath`. A procedure must not decide by it, or it would work here and
fail on site; it explains failures.

Each call advances the kernel event by event, so all else happens as in any other run.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from fractions import Fraction

from busim.foundation.errors import UserError
from busim.foundation.units import CharFormat
from busim.protocols import BusProtocol, Reply, Request, StreamFramer
from busim.simulator.bus import Burst, Station
from busim.simulator.world.world import World


@dataclass(frozen=True, slots=True)
class Packet:
    """Bytes as the converter sent them, at `at` ns."""

    at: int
    data: bytes


@dataclass(frozen=True, slots=True)
class HeardReply:
    """A sound reply; `at`: ns of the packet with its last byte."""

    reply: Reply
    data: bytes
    at: int


@dataclass(frozen=True, slots=True)
class Drove:
    """A station (`kind` and `name` as in the plan) drove the pair with characters from `on` to `off` ns."""

    kind: str
    name: str
    on: int
    off: int
    data: bytes


@dataclass(frozen=True, slots=True)
class Beneath:
    """Facts that no laptop sees. `drove`: all but the tool's own converter, in order of time; `flawed`: characters that
    reached that converter with a framing or parity error or as a break.
    """

    drove: tuple[Drove, ...] = ()
    flawed: int = 0

    @property
    def who(self) -> tuple[str, ...]:
        """The names of the stations that drove the pair, each once."""
        return tuple(dict.fromkeys(one.name for one in self.drove))

    @property
    def together(self) -> bool:
        """Whether two of them drove at the same time (ignoring delays along the pair)."""
        busy = -1
        for one in self.drove:
            if one.on < busy:
                return True
            busy = max(busy, one.off)
        return False


@dataclass(frozen=True, slots=True)
class Heard:
    """The result of one call. `sent` at `since` ns (b"": it only listened), heard up to `until` ns.

    `replies`: every sound reply to the request; `rest`: all other bytes. After `listen` and `send` everything is
    `rest`, and `requests` are the sound requests of others in it (without those through the same converter, which does
    not hear itself).
    """

    sent: bytes
    since: int
    until: int
    packets: tuple[Packet, ...]
    replies: tuple[HeardReply, ...]
    rest: bytes
    requests: tuple[Request, ...]
    beneath: Beneath

    @property
    def data(self) -> bytes:
        return b"".join(packet.data for packet in self.packets)

    @property
    def silent(self) -> bool:
        return not self.packets

    @property
    def reply(self) -> Reply | None:
        """The first sound reply."""
        return self.replies[0].reply if self.replies else None

    @property
    def length(self) -> int:
        """ns from sending until it stopped listening."""
        return self.until - self.since


class Tool:
    """A laptop at a converter of `line`: at its first one, unless another is named.

    `client`: its number there, used by no other client. `station`: the converter's, on the pair. Raises UserError
    without such a line or converter, and if the converter admits nobody.
    """

    def __init__(self, world: World, line: str, *, converter: str | None = None, client: int = 1) -> None:
        self.world = world
        self.line = line
        self.converter = converter or _converter(world, line)
        port = world.converters.get(self.converter)
        if port is None or line not in world.lines or self.converter not in _converters(world, line):
            raise UserError(
                "no such converter on this line", found=f"{self.converter[:60]!r} on {line[:60]!r}",
                expected=" or ".join(map(repr, _converters(world, line)))[:300], mend="name a converter of the line",
            )  # fmt: skip
        self.protocol: BusProtocol = world.protocols[line]
        self.station: Station = next(one for one in world.lines[line].stations if one.label == port.number)
        self._kernel = world.kernel
        self._line = world.lines[line]
        self._port = port
        self._client = client
        self._finder = self.protocol.stream_framer()
        self._packets: list[Packet] = []
        self._drove: list[Burst] = []
        self._latest: dict[int, Burst] = {}  # station number to its last recorded burst
        self._flawed = 0
        self._kinds = {name.row: name.kind for name in world.names}
        self._note()
        before = port.replied

        def replied(data: bytes, last: int, flags: int) -> None:
            self._flawed += len(data) if flags else 0
            if before is not None:
                before(data, last, flags)

        port.replied = replied
        if not port.open(client, self._deliver, True):
            raise UserError(
                "the converter admits no further client", found=repr(self.converter), expected="a free client",
                mend="allow one client more (`clients` of the converter), or connect fewer masters",
            )  # fmt: skip

    @property
    def now(self) -> int:
        return self._kernel.now

    def ask(self, request: Request, time_out: int, *, linger: int | None = None) -> Heard:
        """Send a request and hear the answers within `time_out` ns.

        `linger`: ns to listen on after the first sound reply (0: none). None: to the end of the time-out, since a
        second camera with the same ID may answer later.
        """
        raw = self.protocol.encode_request(request)
        tagged = self._finder.ask(request, raw)
        asked = request if tagged == raw else self.protocol.decode_request(tagged) or request
        return self._exchange(tagged, time_out, asked, linger)

    def send(self, raw: bytes, time_out: int) -> Heard:
        """Send bytes unchanged, and hear for `time_out` ns."""
        return self._exchange(raw, time_out, None, None)

    def listen(self, length: int) -> Heard:
        """Send nothing, and hear for `length` ns."""
        return self._exchange(b"", length, None, None)

    def wait(self, until: int) -> None:
        """Let time pass up to `until` ns. Bytes that arrive meanwhile are not kept."""
        self._advance(until, lambda: None)
        self._packets, self._drove, self._flawed = [], [], 0

    def set(self, baud: Fraction, format: CharFormat) -> None:
        """Set the port of the converter now, as its settings page does."""
        self._port.set(self._client, baud, format)

    def close(self) -> None:
        """Leave the converter."""
        self._port.close(self._client)

    # -- how it goes about it -----------------------------------------------------------------------------------

    def _exchange(self, raw: bytes, length: int, asked: Request | None, linger: int | None) -> Heard:
        since = self._kernel.now
        self._packets, self._drove, self._flawed = [], [], 0
        self._note()
        groups = Replies(self.protocol, self._finder, asked)
        if raw:
            self._port.chunk(self._client, raw)

        def enough() -> int | None:
            groups.take(self._packets)
            return groups.found[0].at + linger if groups.found and linger is not None else None

        self._advance(since + length, enough)
        groups.take(self._packets)
        requests = () if asked is not None else tuple(self.protocol.cut_requests(groups.rest)[0])
        beneath = Beneath(self._who_drove(since), self._flawed)
        return Heard(
            raw, since, self._kernel.now, tuple(self._packets), tuple(groups.found), groups.rest, requests, beneath
        )

    def _deliver(self, _: int, data: bytes) -> None:
        self._packets.append(Packet(self._kernel.now, data))

    def _advance(self, until: int, enough: Callable[[], int | None]) -> None:
        """Advance to `until`, or until `enough` is true. Record every burst that begins on the way."""
        kernel = self._kernel
        seen = len(self._packets)
        while (due := kernel.next_deadline()) is not None and due <= until:
            kernel.advance(due)
            self._note()
            if len(self._packets) > seen:
                seen = len(self._packets)
                end = enough()
                until = until if end is None else max(kernel.now, min(until, end))
        kernel.advance(until)

    def _note(self) -> None:
        latest = self._latest
        for station in self._line.stations:
            burst = station.burst
            if burst is not None and latest.get(station.number) is not burst:
                latest[station.number] = burst
                self._drove.append(burst)

    def _who_drove(self, since: int) -> tuple[Drove, ...]:
        """The stations whose drivers were on, including bursts that began before."""
        own = self._port.number
        bursts = dict.fromkeys([*self._latest.values(), *self._drove])
        drove = [
            Drove(self._kinds.get(burst.station.label, ""), burst.station.name, burst.on, burst.off, burst.data)
            for burst in bursts
            if burst.begun and burst.station.label != own and burst.off > since
        ]
        return tuple(sorted(drove, key=lambda one: (one.on, one.name)))


class Replies:
    """Cuts bytes into sound replies to one request (`found`), and the rest; `asked` None: everything is rest.

    Gets the same list of packets at each call, which grows.
    """

    def __init__(self, protocol: BusProtocol, finder: StreamFramer, asked: Request | None) -> None:
        self.found: list[HeardReply] = []
        self._protocol, self._finder, self._asked = protocol, finder, asked
        self._passed = b""  # bytes before the last sound reply that belong to none
        self._held = b""
        self._taken = 0
        if asked is not None:
            finder.expect(asked)

    @property
    def rest(self) -> bytes:
        return self._passed + self._held

    def take(self, packets: Sequence[Packet]) -> None:
        """Read the packets since the last call."""
        for packet in packets[self._taken :]:
            if self._asked is None:
                self._held += packet.data
                continue
            for value in packet.data:
                self._byte(value, packet.at, self._asked)
        self._taken = len(packets)

    def _byte(self, value: int, at: int, asked: Request) -> None:
        self._held += bytes((value,))
        reply = self._finder.feed(bytes((value,)), at)
        if reply is None:
            return
        begin = max(0, len(self._held) - len(self._protocol.encode_reply(reply)))
        self._passed += self._held[:begin]
        self.found.append(HeardReply(reply, self._held[begin:], at))
        self._held = b""
        self._finder.expect(asked)


def _converters(world: World, line: str) -> list[str]:
    """The converters of a line, in its order."""
    number = next((name.row for name in world.names if name.kind == "line" and name.name == line), 0)
    return [name.name for name in world.names if name.kind == "converter" and name.parent == number]


def _converter(world: World, line: str) -> str:
    found = _converters(world, line)
    if not found:
        known = line in world.lines
        raise UserError(
            "there is no converter on this line to connect a tool to" if known else "no such line",
            found=repr(line[:60]), expected="one of " + ", ".join(map(repr, world.lines))[:300],
            mend="write a converter or a `port` into its order; a laptop with an adapter of its own is a port" if known
            else "name a line of the plan",
        )  # fmt: skip
    return found[0]
