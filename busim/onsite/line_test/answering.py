"""The laptop in the place of a camera: it answers the controller through the real cable, one camera after the other.

The camera is the emulated one, so the replies are those of its model. Only what the laptop hears decides: how often it
was asked. Whether the controller takes the replies shows at the controller.
"""

from __future__ import annotations

from dataclasses import dataclass

from busim.installation import ResolvedCamera
from busim.onsite.targets import Link
from busim.protocols import BusProtocol, Request
from busim.simulator.cameras import Camera

_LOOK = 5_000_000  # ns of one wait for bytes
_HELD = 512  # bytes kept of what makes no request


@dataclass(frozen=True, slots=True)
class Answered:
    """A camera that the laptop stood for, for `length` ns. `asked`: requests to it; `answered`: replies sent; `others`:
    requests to other bus IDs; `noise`: bytes that made no request.
    """

    camera: str
    bus_id: int
    asked: int
    answered: int
    others: int
    noise: int
    length: int

    @property
    def holds(self) -> bool:
        """Whether it was asked."""
        return self.asked > 0


def answer_as(link: Link, one: ResolvedCamera, protocol: BusProtocol, *, enough: int, patience: int) -> Answered:
    """Stand for a camera until it was asked `enough` times or `patience` ns are over. Raises UserError if a link fails.

    Its turnaround is the least of the plan, and no shorter than the protocol's silence.
    """
    plan = one.camera
    camera = Camera(one.model, protocol.name, plan.bus_id, plan.serial)
    begun, held, seen = link.now, b"", _Seen()
    delay = plan.turnaround.low
    own = b""
    while seen.asked < enough and link.now - begun < patience:
        data = link.hear(_LOOK, enough=lambda packet: packet.at).data
        if own and data:  # an adapter that hears itself: the reply to a write looks like a request
            common = min(len(own), len(data))
            same = data[:common] == own[:common]
            own, data = (own[common:], data[common:]) if same else (b"", data)
        held += data
        requests, held = protocol.cut_requests(held)
        seen.noise += max(0, len(held) - _HELD)
        held = held[-_HELD:]
        for request in requests:
            if not seen.takes(request, plan.bus_id, protocol.broadcast):
                continue
            raw = _reply(camera, protocol, request, link.now)
            if raw:
                held += link.hear(delay).data
                link.send(raw)
                seen.answered += 1
                own = raw
    return Answered(
        one.name, plan.bus_id, seen.asked, seen.answered, seen.others, seen.noise + len(held), link.now - begun
    )


@dataclass(slots=True)
class _Seen:
    asked: int = 0
    answered: int = 0
    others: int = 0
    noise: int = 0

    def takes(self, request: Request, bus_id: int, broadcast: int | None) -> bool:
        """Count a request; whether it is for this camera."""
        if request.address in (bus_id, broadcast):
            self.asked += 1
            return True
        self.others += 1
        return False


def _reply(camera: Camera, protocol: BusProtocol, request: Request, at: int) -> bytes:
    camera.woken(at)
    reply = camera.serve(request, at)
    if request.address == protocol.broadcast and not protocol.answers_broadcast:
        return b""
    return protocol.encode_reply(reply)
