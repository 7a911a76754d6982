"""The facts that judges know beforehand: the entities of an installation, and the times that its plan allows."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, field
from typing import Final

from busim.installation import Installation, ResolvedCamera, ResolvedLine, resolve
from busim.physics.exchange import drain
from busim.plan import ConverterPlan, Plan
from busim.protocols import UNKNOWN, BusProtocol, Request
from busim.simulator.bus import setting
from busim.simulator.world import Name, SettingRow, Way, way_through

_NEVER: Final = 1 << 62  # ns


@dataclass(frozen=True, slots=True)
class CameraGround:
    """`names`: register to parameter; `readings`: parameters that change by themselves; `turnaround`: ns at most."""

    number: int
    name: str
    address: int
    names: dict[int, str]
    readings: frozenset[str]
    turnaround: int


@dataclass(frozen=True, slots=True)
class LineGround:
    """Times in ns. `silence`: between two frames; `reaction`: until the controller can know that the line is busy, from
    the instant at which a first piece of a burst can leave the line for it; `packet`: the longest such piece, 0 on the
    line itself. A converter with a packing timer alone forwards nothing before a burst is over.
    """

    number: int
    name: str
    protocol: BusProtocol
    cameras: dict[int, CameraGround]  # by number in the trace
    by_address: dict[int, int]
    way: Way
    char: int
    silence: int
    reaction: int
    packet: int
    time_out: int | None  # the plan's own
    wanted: float  # requests per second that the plan's polls need, 0 if one of them never rests
    polls: int  # exchanges of one round
    slowest: int  # ns from poll to poll of the slowest group
    _known: dict[tuple[int, str, int, int], tuple[int, int]] = field(default_factory=dict, repr=False, compare=False)

    def known(self, start: int, end: int) -> int:
        """Earliest instant (ns) on the wire of a request whose sender knew of a burst of another station."""
        return min(end, start + self.packet) + self.reaction

    @property
    def drain(self) -> int:
        """ns of quiet after a failure that a controller waits for at least, so that a late reply hits no request."""
        return drain(self.silence, self.way.packing, self.way.latency)

    def times(self, request: Request) -> tuple[int, int]:
        """ns from the first bit of a request until the controller can have the whole reply, at the longest, and ns
        after which a controller that waits as planned times out. The same for all requests of one shape to one camera.
        """
        shape = request.address, request.verb, request.size, request.form
        times = self._known.get(shape)
        if times is None:
            response = self._response(request)
            times = self._known[shape] = response, max(self._planned_wait(request), response)
        return times

    def _response(self, request: Request) -> int:
        camera = self.cameras.get(self.by_address.get(request.address, 0))
        # Cut and merged streams make frames of operations that nobody knows: their replies have no known length.
        sent, back, _ = (0, 0, 0) if request.verb == UNKNOWN else self.protocol.lengths(request)
        wire = (sent + back) * self.char
        turnaround = 0 if camera is None else camera.turnaround
        return wire + self.silence + turnaround + self.way.packing + 2 * self.way.latency

    def _planned_wait(self, request: Request) -> int:
        if self.time_out is not None or request.verb == UNKNOWN:
            return self.time_out or 0
        camera = self.cameras.get(self.by_address.get(request.address, 0))
        return self.way.time_out(self.protocol, request, 0 if camera is None else camera.turnaround)


@dataclass(frozen=True, slots=True)
class Ground:
    """`names`: number in the trace to (kind, name); `ours`: stations through which the controller under test sends.

    `hooked`: it reports beliefs; `played`: busim plays it, so exchange records are its own report. `lag`: ns by which
    beliefs may lag behind the replies they rest on. `retries`: repeats of a command that the plan allows.
    `offline_after`: failed polls after which a camera counts as offline. `drivers`: the settings of senders by number,
    1 first; a running world adds to them.
    """

    lines: dict[int, LineGround]
    names: dict[int, tuple[str, str]]
    camera_lines: dict[int, int]
    port_lines: dict[int, int]
    ours: frozenset[int]
    hooked: bool
    played: bool
    lag: int
    retries: int
    offline_after: int
    drivers: Sequence[SettingRow] = ()

    def released(self, end: int, setting: int) -> int:
        """When the driver lets go (ns) of a burst whose characters end at `end`, if that is early; else `end`."""
        hold = self.drivers[setting - 1].hold if setting <= len(self.drivers) else 0
        return end + min(hold, 0)

    def name(self, number: int) -> str:
        return self.names.get(number, ("", f"number {number}"))[1]

    def camera(self, number: int) -> CameraGround | None:
        line = self.lines.get(self.camera_lines.get(number, 0))
        return None if line is None else line.cameras.get(number)


def ground_of(
    plan: Plan | Installation, names: Iterable[Name], master: str, *, hooked: bool = False, played: bool = True,
    lag: int = 0, also_ours: Collection[str] = (), drivers: Sequence[SettingRow] = (),
) -> Ground:  # fmt: skip
    """The facts about `plan`, whose entities have the numbers of `names`. `master`: the one under test.

    `drivers`: its settings of senders, as far as they are known. Raises Findings as `resolve` does.
    """
    rows = list(names)
    numbers = {(one.kind, one.name): one.row for one in rows}
    site = resolve(plan)
    plan_of = site.masters[master].master
    lines, camera_lines = {}, {}
    mine = {master, *plan_of.through, *also_ours}
    ours = {numbers[kind, name] for kind, name in numbers if name in mine and kind in ("master", "converter")}
    for resolved in site.lines:
        line, protocol = resolved.line, resolved.speaks
        number = numbers["line", line.name]
        port = setting(line.baud, line.format)
        here = {one.name: one for one in resolved.converters}
        through = next((here[name] for name in plan_of.through if name in here), None)
        way = Way(port) if through is None else way_through(through)
        packet = 0 if through is None else _packet(through.converter, port.char)
        stands = {
            numbers["camera", camera.name]: _camera(numbers["camera", camera.name], camera)
            for camera in resolved.cameras
        }
        camera_lines.update(dict.fromkeys(stands, number))
        silence = protocol.silence(float(line.baud))
        # A character is known when it is complete; behind a converter when its packet is.
        reaction = 2 * port.char if through is None else 2 * port.char + way.packing + 2 * way.latency
        lines[number] = LineGround(
            number, line.name, protocol, stands, {one.address: one.number for one in stands.values()}, way, port.char,
            silence, reaction, packet, plan_of.time_out, *_polling(resolved, master),
        )  # fmt: skip
    return Ground(
        lines, {one.row: (one.kind, one.name) for one in rows}, camera_lines,
        {one.row: one.parent for one in rows if one.kind == "converter"}, frozenset(ours), hooked, played, lag,
        plan_of.retries, plan_of.offline_after, drivers,
    )  # fmt: skip


def _packet(box: ConverterPlan, char: int) -> int:
    """ns of a burst after which the converter forwards a first piece of it, however long it lasts."""
    if box.packing_idle < char:
        return char
    return box.packing_length * char if box.packing_length else _NEVER


def _polling(line: ResolvedLine, master: str) -> tuple[float, int, int]:
    """Requests per second for all polls (0 if one never rests), requests of one round, ns of the slowest."""
    every = [poll.run.every for asker in line.askers if asker.master.name == master for poll in asker.polls]
    return (sum(1e9 / one for one in every) if all(every) else 0.0), len(every), max(every, default=0)


def _camera(number: int, one: ResolvedCamera) -> CameraGround:
    names = {key: name for name, key in one.speaks.keys.items()}
    readings = frozenset(parameter.name for parameter in one.model.parameters if not parameter.writable)
    return CameraGround(number, one.name, one.camera.bus_id, names, readings, one.camera.turnaround.high)
