"""A tool at a real line: asks as a master does, one request at a time, with the silence that the protocol requires.

It hears what any laptop hears: packets of bytes, and the sound replies among them. Where bytes hold a request that it
has not sent, another master polls; then it raises OtherMaster and sends nothing more.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from busim.commissioning.scan_methods import Quiet
from busim.foundation.errors import UserError
from busim.onsite.targets.link import Heard, Link
from busim.protocols import BusProtocol, Reply, Request
from busim.simulator.bus import Setting
from busim.simulator.world import HeardReply, Packet, Replies

_MARGIN = 2_000_000  # ns beyond the silence that the protocol requires: a system wakes up late
_RESTLESS = 200  # such waits after which a line counts as never silent
_OWN = 4  # latest messages of the tool that a device may repeat, as the reply to a write does


class OtherMaster(UserError):
    """Another master polls this line, so nothing (more) was sent. `requests`: those of it that were heard."""

    def __init__(self, found: str, requests: Sequence[Request] = ()) -> None:
        super().__init__(
            "somebody else is heard on this line", found=found, expected="silence, since a line has one master",
            mend="stop the controller and everything else that polls this line, then start again",
        )  # fmt: skip
        self.requests = tuple(requests)


@dataclass(frozen=True, slots=True)
class Asked:
    """One exchange. `heard`: without the tool's own echo, which came whole at `echoed` ns after sending (None: none).

    `replies`: the sound ones to the request; `rest`: all other bytes.
    """

    heard: Heard
    replies: tuple[HeardReply, ...]
    rest: bytes
    echoed: int | None = None

    @property
    def reply(self) -> Reply | None:
        """The first sound reply."""
        return self.replies[0].reply if self.replies else None

    @property
    def took(self) -> int | None:
        """ns from sending to the last byte of the first sound reply, None without one."""
        return self.replies[0].at - self.heard.since if self.replies else None

    @property
    def silent(self) -> bool:
        return not self.heard.packets


class RealTool:
    """Asks over `link` in `protocol`, on a line set to `setting`. Every method raises UserError if the link fails.

    `echo`: whether the tool hears its own bytes; None until the first read has shown it. `sent`: every message so far.
    """

    def __init__(self, link: Link, protocol: BusProtocol, setting: Setting, *, time_out: int = 1_000_000_000) -> None:
        self.link = link
        self.protocol = protocol
        self.setting = setting
        self.time_out = time_out
        self.echo: bool | None = None
        self.sent: list[bytes] = []
        self.silence = protocol.silence(float(setting.baud))
        self._finder = protocol.stream_framer()

    def tune(self, setting: Setting, *, by_hand: bool = False) -> None:
        """Ask at this setting from now on. `by_hand`: a person has set the port."""
        if not by_hand:
            self.link.set(int(setting.baud), setting.format)
        self.setting = setting
        self.silence = self.protocol.silence(float(setting.baud))

    def listen_first(self, length: int) -> Quiet:
        """Listen for `length` ns before anything is sent. Raises OtherMaster if a single byte comes."""
        heard = self.link.hear(length)
        requests = tuple(self.protocol.cut_requests(heard.data)[0])
        quiet = Quiet(length, heard.data, heard.first, requests)
        if not quiet.safe:
            shown = heard.data[:24].hex(" ").upper() + (" ..." if len(heard.data) > 24 else "")
            after = (heard.first or 0) / 1e9
            raise OtherMaster(f"{len(heard.data)} bytes, the first after {after:.3f} s: {shown}", requests)
        return quiet

    def ask(self, request: Request, *, linger: int | None = 0, time_out: int | None = None) -> Asked:
        """Send a request, hear its answers. `linger`: ns to listen on after the first sound one, None: to the end.

        Raises OtherMaster where the other bytes hold a request.
        """
        raw = self.protocol.encode_request(request)
        tagged = self._finder.ask(request, raw)
        asked = request if tagged == raw else self.protocol.decode_request(tagged) or request
        groups, packets = Replies(self.protocol, self._finder, asked), list[Packet]()
        own = _Echo(tagged, self.echo is not False)

        def enough(packet: Packet) -> int | None:
            left = own.strip(packet)
            if left is not None:
                packets.append(left)
                groups.take(packets)
            return groups.found[0].at + linger if groups.found and linger is not None else None

        self.settle()
        self.sent.append(tagged)
        length = self.time_out if time_out is None else time_out
        heard = self.link.exchange(tagged, length + self._wire(tagged), enough=enough)
        if self.echo is None and (packets or own.whole):
            self.echo = own.whole
        if not own.whole:  # what looked like the beginning of an echo was none
            packets = list(heard.packets)
            groups = Replies(self.protocol, self._finder, asked)
            groups.take(packets)
        self._nobody_else(groups.rest)
        heard = replace(heard, packets=tuple(packets))
        return Asked(heard, tuple(groups.found), groups.rest, _since(own.at, heard.since))

    def send(self, raw: bytes, length: int | None = None) -> Asked:
        """Send bytes unchanged and hear for `length` ns (None: the time-out); all of it is `rest`."""
        packets, own = list[Packet](), _Echo(raw, self.echo is True)
        self.settle()
        self.sent.append(raw)
        heard = self.link.exchange(raw, self._wire(raw) + (self.time_out if length is None else length))
        for packet in heard.packets:
            left = own.strip(packet)
            if left is not None:
                packets.append(left)
        heard = replace(heard, packets=tuple(packets))
        return Asked(heard, (), heard.data, _since(own.at, heard.since))

    def settle(self) -> bytes:
        """Wait until the line has had the silence that the protocol requires. Returns what came meanwhile.

        Raises OtherMaster for a request of another master, and where the line does not fall silent.
        """
        came, length = b"", self.silence + _MARGIN
        for _ in range(_RESTLESS):
            heard = self.link.hear(length)
            if not heard.packets:
                self._nobody_else(came)
                return came
            came += heard.data
        raise OtherMaster(f"{len(came)} bytes without a pause of {length / 1e6:.1f} ms between them")

    def _nobody_else(self, data: bytes) -> None:
        """Raises OtherMaster if these bytes hold a request that is none of this tool's own."""
        others = [
            one for one in self.protocol.cut_requests(data)[0]
            if self.protocol.encode_request(one) not in self.sent[-_OWN:]
        ]  # fmt: skip
        if others:
            ids = ", ".join(str(one.address) for one in others)
            raise OtherMaster(f"a request of another master to bus ID {ids}", others)

    def _wire(self, raw: bytes) -> int:
        """ns of these bytes on the wire."""
        return self.setting.offset(len(raw) * self.setting.halves)


class _Echo:
    """Takes the tool's own bytes off the front of what it hears. `at`: when the last of them came; `whole`: all did."""

    def __init__(self, sent: bytes, expected: bool) -> None:
        self._left = sent if expected else b""
        self.whole = False
        self.at: int | None = None

    def strip(self, packet: Packet) -> Packet | None:
        left = self._left
        if not left:
            return packet
        common = min(len(left), len(packet.data))
        if packet.data[:common] != left[:common]:
            self._left = b""
            return packet
        self._left = left[common:]
        if not self._left:
            self.whole, self.at = True, packet.at
        return Packet(packet.at, packet.data[common:]) if len(packet.data) > common else None


def _since(at: int | None, since: int) -> int | None:
    return None if at is None else at - since
