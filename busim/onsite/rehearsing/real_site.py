"""The real line as a site: requests go through a `RealTool`, everything by hand through a `Person`.

Reads are sent at once. Everything else is a write, and each one is shown and agreed to before it is sent. A cause is
said only as far as a laptop can know it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from fractions import Fraction

from busim.commissioning.bus_scan import Ground
from busim.commissioning.rehearse import (
    DAMAGED,
    FAILED,
    FOREIGN,
    OK,
    REFUSED,
    SILENT,
    TWO_ANSWERED,
    UNSEEN,
    Declined,
    Outcome,
    Planned,
    Reason,
    Site,
    Step,
)
from busim.commissioning.sheet import instruction
from busim.foundation.units import CharFormat, show_time
from busim.onsite.rehearsing.person import Person, Remembered
from busim.onsite.targets import SOCKET, RealTool, Target
from busim.plan import Plan
from busim.protocols import READ, SEARCH, WRITE, BusProtocol, Request
from busim.simulator.bus import setting
from busim.simulator.world import Beneath, Heard, way_through

_STARTING = 500_000_000  # ns added to the start-up time of a model
_AWAY = 100_000_000  # ns added to each time-out: adapters, networks and this system's own delay (assumed)
_HARMLESS = (READ, SEARCH)


class RealSite(Site):
    """A line behind `tool`. `person`: their answers since the last step; `strays`: bytes outside any reply."""

    def __init__(
        self, plan: Plan, cameras: Mapping[str, Planned], line: str, tool: RealTool, target: Target, person: Person
    ) -> None:
        super().__init__(plan, cameras)
        self.line = line
        self.person = Remembered(person)
        self.strays = 0
        self._tool = tool
        self._target = target
        ground = Ground(self.installation, line, adapter=True)
        self.grounds[line] = ground
        self.tools = {line: _Asker(self)}
        self._port = ground.at.port
        self._way = way_through(ground.at)
        self._step: Step | None = None

    def begin(self, step: Step) -> None:
        """A step begins."""
        self._step = step
        self.strays = 0

    @property
    def now(self) -> int:
        return self._tool.link.now

    def stands(self, control: str) -> Mapping[str, int]:
        return {}  # that no other camera moved is seen by eye

    # -- what was heard ---------------------------------------------------------------------------------------

    def ask(self, line: str, request: Request) -> Heard:
        if request.verb not in _HARMLESS:
            write = self._said(request)
            if not self.person.agrees(write):
                raise Declined(f"{write}: not sent")
        return self.put(request, self._way.time_out(self._tool.protocol, request, self.slowest(line)))

    def put(self, request: Request, length: int) -> Heard:
        """Send a request and listen for `length` ns and the way there."""
        asked = self._tool.ask(request, linger=None, time_out=length + _AWAY)
        self.strays += len(asked.rest)
        heard = asked.heard
        return Heard(
            heard.sent, heard.since, heard.until, heard.packets, asked.replies, asked.rest, (), Beneath()
        )  # fmt: skip

    def hear(self, length: int) -> Heard:
        """Listen alone."""
        heard = self._tool.link.hear(length)
        requests = tuple(self._tool.protocol.cut_requests(heard.data)[0])
        return Heard(b"", heard.since, heard.until, heard.packets, (), heard.data, requests, Beneath())

    def listen(self, step: Step) -> Outcome:
        heard = self.hear(step.length)
        if heard.silent:
            return Outcome(OK, f"nothing in {show_time(step.length)} (measured)")
        shown = heard.data[:24].hex(" ").upper()
        said = f"{len(heard.data)} bytes in {show_time(step.length)}, valid requests: {len(heard.requests)}: {shown}"
        return Outcome(FAILED, said, "", Reason(
            FOREIGN, "somebody else is heard on this line, or noise",
            "stop the controller and everything else that polls this line; if nothing does, look at bias, "
            "terminators and screens; then go on with --resume",
        ))  # fmt: skip

    def why(self, camera: str, bus_id: int, heard: Heard) -> Reason | None:
        if len(heard.replies) > 1:
            return Reason(
                TWO_ANSWERED, f"{len(heard.replies)} replies came to one request at bus ID {bus_id}",
                "leave one of the cameras with this ID connected, and give it its own before the next",
            )  # fmt: skip
        if heard.reply is not None:
            if not heard.reply.refused:
                return None
            return Reason(
                REFUSED, f"{camera!r} refused the request with code {heard.reply.refused}",
                "switch automatic functions off, wait for any save to end, and look the code up in its manual",
            )  # fmt: skip
        if heard.silent:
            return Reason(
                SILENT, f"nothing answers at bus ID {bus_id}",
                "check its plug, its supply, its bus ID, baud and format, and the two wires of the pair, in this order "
                "(the sheet has a page for it); then go on with --resume",
            )  # fmt: skip
        return Reason(
            DAMAGED, f"bytes came from bus ID {bus_id}, and no sound reply",
            "damage each time points to baud, format or two cameras at one ID; damage now and then to terminators, "
            "bias or noise",
        )  # fmt: skip

    def found_at(self, camera: str, bus_id: int) -> int:
        """Ask once at `bus_id`. If nothing answers, look for the camera at the other IDs of its line, by reads."""
        if not self._read(camera, bus_id).silent:
            return bus_id
        for other in self._elsewhere(camera, bus_id):
            heard = self._read(camera, other)
            if heard.reply is None or heard.reply.refused or not heard.reply.values:
                continue
            value, own = heard.reply.values[0], self.cameras[camera].serial
            known = own is not None and self.tell_apart(camera).meaning == "serial"
            if known and value != own:
                continue
            said = f"its planned serial number {value}" if known else f"{self.tell_apart(camera).name} {value}"
            question = f"{camera} is silent at bus ID {bus_id}, and {said} answers at bus ID {other}. Go on there"
            if (known and self.person.script) or self.person.decides(question):
                self.believed[camera] = other
                return other
        return bus_id

    def _read(self, camera: str, bus_id: int) -> Heard:
        return self.ask(self.line, self.request(camera, self.tell_apart(camera).name, bus_id))

    def _elsewhere(self, camera: str, bus_id: int) -> list[int]:
        """Other IDs at which it may be: its own first, and none of a camera that is there already."""
        here = [one for one in self.cameras.values() if one.line == self.line]
        taken = {self.believed[name] for name in self.met if name != camera}
        own = self.cameras[camera]
        wanted = [own.bus_id, own.factory_id, *(one.bus_id for one in here), *(one.factory_id for one in here)]
        return [one for one in dict.fromkeys(wanted) if one != bus_id and one not in taken]

    # -- by hand ----------------------------------------------------------------------------------------------

    def sees(self, look: str) -> Reason | None:
        if self.person.sees(look):
            return None
        return Reason(UNSEEN, f"not seen: {look}", "find out why before the next step; then go on with --resume")

    def plug(self, camera: str) -> None:
        self._does()
        self.met.add(camera)

    def unplug(self, camera: str, through: bool = True) -> None:
        self._does()
        self.met.discard(camera)

    def power(self, camera: str, on: bool) -> None:
        self._does(f"Switch {camera} {'on' if on else 'off'}")
        self.wait(self.model(camera).timing.boot + _STARTING if on else 0)

    def switch(self, supply: str, on: bool) -> tuple[str, ...]:
        state = "on: everybody is off the cable" if on else "off, and lock it off"
        self._does(f"Switch {supply} {state}")
        feeds = next(one.feeds for one in self.installation.plan.supplies if one.name == supply)
        fed = tuple(name for name in feeds if name in self.met)
        boxes = [one.name for one in self.installation.plan.converters if one.name in feeds]
        self.wait(max((self.model(name).timing.boot + _STARTING for name in fed), default=0) if on else 0)
        return (*boxes, *fed)

    def tune(self, line: str, baud: Fraction | None, format: CharFormat | None) -> tuple[Fraction, CharFormat]:
        assert self._port is not None
        to = baud or self._port.baud, format or self._port.format
        if self._target.kind == SOCKET:
            self._does(f"Set the port of the box to {to[0]} Bd {to[1]}, on its page")
        self._tool.tune(setting(*to), by_hand=self._target.kind == SOCKET)
        self._way = replace(self._way, setting=setting(*to))
        self.grounds[line].tune(setting(*to))
        return to

    def set_by_hand(self, camera: str, bus_id: int) -> None:
        self._does(f"Set the switches of {camera} to bus ID {bus_id}, with its power off, and switch it on")
        self.wait(self.model(camera).timing.boot + _STARTING)

    def swap(self, camera: str, swapped: bool) -> None:
        self._does()

    def dial(self, camera: str, baud: Fraction | None, format: CharFormat | None) -> tuple[Fraction, CharFormat]:
        self._does()
        port = self.cameras[camera].port
        return baud or port[0], format or port[1]

    def replace(self, camera: str, bus_id: int, serial: int) -> None:
        self._does()
        self.wait(self.model(camera).timing.boot + _STARTING)

    def mark(self, text: str) -> None:
        """The record has the step."""

    def wait(self, length: int) -> None:
        self._tool.link.hear(length)

    def _does(self, what: str = "") -> None:
        if not what:
            assert self._step is not None
            what = instruction(self._step, self.cameras.get(self._step.camera))[0]
        if not self.person.does(what):
            raise Declined(f"{what}: not done")

    def _said(self, request: Request) -> str:
        """A write in words: what, where, which value."""
        assert self._step is not None
        camera = self._step.camera
        what = request.verb if request.verb != WRITE or not camera else self._named(camera, request)
        where = f"key {request.key}" if request.verb == WRITE else ""
        values = f"value {' '.join(map(str, request.values))}" if request.values else ""
        everybody = request.address == self._tool.protocol.broadcast
        to = "EVERY camera of this line" if everybody else f"bus ID {request.address}"
        return ", ".join(one for one in (f"write {what} to {to}".replace("  ", " "), where, values) if one)

    def _named(self, camera: str, request: Request) -> str:
        """The parameter, or the effect of the order, that a write to this key concerns."""
        model, protocol = self.model(camera), self.protocol(camera).name
        for order in model.orders:
            if model.order_keys.get(protocol, {}).get(order.name) == request.key:
                return (order.codes.get(request.values[0]) if request.values else None) or order.does or order.name
        return next((name for name, key in model.keys[protocol].items() if key == request.key), "")


class _Asker:
    """Asks for a search by serial number."""

    def __init__(self, site: RealSite) -> None:
        self._site = site

    @property
    def protocol(self) -> BusProtocol:
        return self._site.grounds[self._site.line].protocol

    @property
    def now(self) -> int:
        return self._site.now

    def ask(self, request: Request, time_out: int) -> Heard:
        return self._site.put(request, time_out)

    def listen(self, length: int) -> Heard:
        return self._site.hear(length)
