"""From an installation to a world. After this nothing reads the plan."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from functools import partial

from busim.foundation.diagnostics import Findings
from busim.installation import (
    Asker,
    Command,
    Installation,
    Port,
    ResolvedCamera,
    ResolvedConverter,
    ResolvedLine,
    ResolvedPanel,
    ResolvedPort,
    resolve,
)
from busim.plan import ConverterPlan, MasterPlan, PanelPlan, Plan
from busim.protocols import BusProtocol
from busim.recording.trace import CHANGE, EFFECT, MARK, Emit, Record
from busim.simulator.bus import Line, Setting, Station, setting
from busim.simulator.cameras import Camera
from busim.simulator.converters import Arbiter, ComPort, Packer, Policy
from busim.simulator.faults import BitNoise, Chatter, Latency, Turnaround
from busim.simulator.kernel import Chance, Kernel, PatientKernel, Stream
from busim.simulator.masters import Master
from busim.simulator.world.asking import Asking, Way, way_through
from busim.simulator.world.camera_hearing import Hearing
from busim.simulator.world.camera_ports import CameraPort
from busim.simulator.world.controller_hook import Hook
from busim.simulator.world.converter_ports import ConverterPort
from busim.simulator.world.fault_entries import fault_entries, wrong_faults
from busim.simulator.world.master_ports import MasterBehindConverter, MasterOnLine, MasterPort
from busim.simulator.world.operators import Joystick, Move, Operator
from busim.simulator.world.sniffer import Sniffer
from busim.simulator.world.world import World


def build(
    plan: Plan | Installation, seed: int, emit: Emit, *, played: Collection[str] | None = None,
    always_exact: bool = False, watched: bool = False, margin: int | None = None, hooked: bool = False,
    distinct: bool = False, master: Callable[..., Master] = Master,
) -> World:  # fmt: skip
    """Build the installation of `plan`. `played`: the masters that busim plays, None for all. `always_exact`: no fast
    path (for comparing the two). `watched`: clients come from outside, so make exchange records of their requests.
    `hooked`: a controller outside receives the moves of panels whose master is not played. `distinct`: cameras start
    with values of their own, drawn from the seed, so that a value identifies its camera. `master`: makes the masters
    that busim plays. `margin`: the kernel follows the time of day, which needs this many ns to catch up.

    Raises Findings: everything that `resolve` finds, and every mistake in the plan's faults.
    """
    site = _resolved(plan)
    kernel = Kernel() if margin is None else PatientKernel(*_patience(site, margin))
    hook = Hook(kernel, emit) if hooked else None
    entries = fault_entries(site.plan)
    noticed: list[Emit] = []
    if any(entry.after is not None for entry in entries):
        emit = _noticing(emit, noticed)
    world = World(emit, kernel, Chance(seed), hook, entries)
    noticed.append(world.faults.noticed)
    return _Builder(site, world, played, always_exact, watched, distinct, master).build()


def _noticing(emit: Emit, told: list[Emit]) -> Emit:
    """Emits a record and then passes on those events that a fault may wait for."""

    def noticing(record: Record) -> None:
        emit(record)
        if record[0] in (CHANGE, EFFECT, MARK):
            told[0](record)

    return noticing


def _resolved(plan: Plan | Installation) -> Installation:
    """All mistakes at once: unresolved names, and mistakes in the faults, which only this layer knows."""
    wrong = wrong_faults(plan if isinstance(plan, Plan) else plan.plan)
    try:
        site = resolve(plan)
    except Findings as error:
        raise Findings(sorted((*error.findings, *wrong), key=lambda finding: finding.order)) from None
    if wrong:
        raise Findings(wrong)
    return site


def _patience(site: Installation, margin: int) -> tuple[int, int, int]:
    """How long events can wait before anybody outside could notice, ns: the shortest passage to the network, before
    that the shortest character (5 data bits are complete after 6.5 bits), and before that a share of the shortest
    turnaround: what many lines postpone would stand between their replies. All are shorter by `margin`.
    """
    plan = site.plan
    passage = min((converter.latency.low for converter in plan.converters), default=0)
    ports = [line.baud for line in plan.lines]
    drivers = [converter.driver for converter in plan.converters] + [camera.driver for camera in plan.cameras]
    drivers += [master.driver for master in plan.masters]
    ports += [driver.baud for driver in drivers if driver.baud is not None]
    far = passage + int(6 * 10**9 / max(ports))
    turnaround = min((camera.turnaround.low for camera in plan.cameras), default=0) // max(1, len(plan.lines))
    return max(0, passage - margin), max(0, far - margin), max(0, far - margin) + max(0, turnaround - margin)


class _Builder:
    def __init__(
        self, site: Installation, world: World, played: Collection[str] | None, always_exact: bool,
        watched: bool, distinct: bool, master: Callable[..., Master],
    ) -> None:  # fmt: skip
        self._site = site
        self._chance = world.chance
        self._world = world
        self._emit = world.emit
        self._played = played
        self._always_exact = always_exact
        self._watched = watched
        self._distinct = distinct
        self._made = master
        self._taken: set[tuple[str, int]] = set()
        self._numbers: dict[tuple[str, str], int] = {}  # kind and name to number

    def build(self) -> World:
        for line in self._site.lines:
            self._number(line)
        for line in self._site.lines:
            self._line(line)
        if self._world.hook is not None:
            self._hook_up(self._world.hook)
        for index, master in enumerate(self._site.plan.masters):
            if self._plays(master.name):
                self._master(index, master)
        for panel in self._site.panels:
            self._panel(panel)
        return self._world

    def _plays(self, master: str) -> bool:
        return self._played is None or master in self._played

    def _hook_up(self, hook: Hook) -> None:
        for name, camera in self._site.cameras.items():
            line, number = self._numbers["line", camera.line], self._numbers["camera", name]
            hook.add(line, number, name, camera.model, self._world.cameras.get(name))

    def _number(self, line: ResolvedLine) -> None:
        number = self._numbers["line", line.name] = self._world.number("line", line.name)
        for station in line.stations:
            kind, name = station.place.kind, station.place.name
            kind = "converter" if kind == "port" else kind
            if kind not in ("terminator", "master"):
                self._numbers[kind, name] = self._world.number(kind, name, number)
        for master in self._site.masters:
            if ("master", master) not in self._numbers:
                self._numbers["master", master] = self._world.number("master", master)

    # -- the line and what stands on it ---------------------------------------------------------------------

    def _line(self, resolved: ResolvedLine) -> None:
        plan, protocol = resolved.line, resolved.speaks
        self._world.protocols[plan.name] = protocol
        line = Line(
            self._world.kernel,
            self._emit,
            number=self._numbers["line", plan.name],
            contention=plan.contention,
            biased=plan.biased,
            velocity=plan.velocity,
            coin_key=self._chance.key("line", plan.name, "contention"),
            always_exact=self._always_exact,
        )
        self._world.lines[plan.name] = line
        hearings: dict[Setting, Hearing] = {}
        own = {asker.master.name: asker for asker in resolved.askers if asker.box is None}
        for one in resolved.stations:
            if isinstance(one.at, ResolvedCamera):
                self._camera(resolved, line, one.at, hearings)
            elif isinstance(one.at, ResolvedConverter):
                self._converter(resolved, line, one.at)
            elif isinstance(one.at, ResolvedPort):
                self._converter(resolved, line, one.at.box)
            elif one.at is not None and self._plays(one.at.name):
                self._master_on(line, protocol, own[one.at.name])
        self._wire(resolved, line)
        bit = round(1e9 / plan.baud)
        if plan.bit_error_rate:
            stream = self._chance.stream("line", plan.name, "noise")
            self._world.disturbances.append((line, BitNoise(stream, plan.bit_error_rate, bit)))
        if plan.chatter:  # without a bias, or where a cut leaves a segment without it
            stream = self._chance.stream("line", plan.name, "chatter")
            self._world.disturbances.append((line, Chatter(stream, plan.chatter, bit)))

    def _wire(self, resolved: ResolvedLine, line: Line) -> None:
        """The place of each station on the line, and the stations with the bias; by default the first one."""
        plan = resolved.line
        waiting = list(line.stations)
        stands = self._world.wiring.stands[plan.name] = [
            waiting.pop(0) if waiting and place.name == waiting[0].name else None for place in plan.order
        ]
        named = [station.number for station in stands if station is not None and station.name in plan.bias.at]
        line.hold_bias_at(tuple(named) or (0,))

    def _station(self, port: Port, name: str, metres: float) -> Station:
        driver = port.driver
        return Station(
            name, metres, setting(port.baud, port.format, driver.clock_ppm, driver.swapped),
            lead=driver.lead, hold=driver.hold, echo=driver.echo, fail_safe=driver.fail_safe,
        )  # fmt: skip

    def _camera(
        self, resolved: ResolvedLine, line: Line, one: ResolvedCamera, hearings: dict[Setting, Hearing]
    ) -> None:
        plan, protocol = one.camera, resolved.speaks
        if not plan.present:
            return
        station = self._station(one.port, plan.name, one.metres)
        number = self._numbers["camera", plan.name]
        reply = Turnaround(self._chance.stream("camera", plan.name, "turnaround"), plan.turnaround)
        camera = Camera(one.model, protocol.name, plan.bus_id, plan.serial, protocol.addresses)
        if self._distinct:
            camera.begin_with(_own_values(camera, self._chance.stream("camera", plan.name, "values"), self._taken))
        hook = self._world.hook
        emit = self._emit if hook is None else hook.listen(self._emit)
        port = CameraPort(self._world.kernel, line, station, camera, protocol, reply, emit, number)
        port.set_port = partial(self._world.wiring.set_port, plan.name)
        self._world.cameras[plan.name] = port
        quick = plan.turnaround.low < line.delay_over(resolved.line.order[-1].metres)
        hearing = None if quick else hearings.get(station.setting)  # a camera that answers at once must hear at once
        if hearing is None:
            framer = protocol.wire_framer(float(station.setting.baud), station.setting.char, station.setting.tail)
            hearing = Hearing(self._world.kernel, line, protocol, framer, self._emit, [port])
            if not quick:
                hearings[station.setting] = hearing
        else:
            hearing.add(port)
        station.label = number
        line.attach(station, hearing)

    def _converter(self, resolved: ResolvedLine, line: Line, one: ResolvedConverter) -> None:
        assert one.port is not None
        assert one.metres is not None
        plan = one.converter
        station = self._station(one.port, plan.name, one.metres)
        number = self._numbers["converter", plan.name]
        port = ConverterPort(
            self._world.kernel,
            line,
            station,
            Packer(plan.packing_idle, plan.packing_length, station.setting.char, plan.packing_delimiter),
            to_line=Latency(self._chance.stream("converter", plan.name, "to line"), plan.latency),
            to_net=Latency(self._chance.stream("converter", plan.name, "to net"), plan.latency),
            policy=Policy(plan.clients, plan.reboots, plan.transport == "udp", plan.when_down),
            com=None if plan.rfc2217 == "off" else ComPort(station.setting.baud, station.setting.format, plan.rfc2217),
            arbiter=_arbiter(plan, resolved.speaks, float(station.setting.baud)),
            number=number,
            emit=self._emit,
        )
        port.labelled = self._world.setting_number
        self._world.converters[plan.name] = port
        station.label = number
        line.attach(station, port)
        if self._watched:
            self._sniffer(resolved, line, station, port)

    def _sniffer(self, resolved: ResolvedLine, line: Line, station: Station, port: ConverterPort) -> None:
        known = {one.camera.bus_id: (self._numbers["camera", one.name], one.name) for one in reversed(resolved.cameras)}
        world = self._world
        sniffer = Sniffer(
            world.kernel, line, resolved.speaks, station.setting, port.number, known, world.cameras, self._emit
        )  # fmt: skip
        sniffer.watch(port)

    # -- masters and panels ---------------------------------------------------------------------------------

    def _master_on(self, line: Line, protocol: BusProtocol, asker: Asker) -> None:
        station = self._station(asker.port, asker.master.name, asker.metres)
        port = MasterOnLine(*self._port_parts(asker))
        port.station = station
        port.protocol = protocol
        port.listen = asker.listen
        if asker.listen and asker.master.back_off:
            port.back_off = asker.master.back_off
            port.waits = self._chance.stream("master", asker.master.name, asker.line, "back-off")
        station.label = self._numbers["master", asker.master.name]
        line.attach(station, port)
        self._equip(port, asker, protocol, Way(station.setting), station.echo)

    def _master(self, index: int, plan: MasterPlan) -> None:
        """The master behind its converters, in the order of the plan."""
        through = {asker.box.name: asker for asker in self._site.askers(plan.name) if asker.box is not None}
        for client, name in enumerate(plan.through):
            asker, box = through[name], self._site.converters[name]
            port = MasterBehindConverter(*self._port_parts(asker))
            port.converter = port.behind = self._world.converters[name]
            port.client = -1 - index - client * len(self._site.masters)
            port.converter.join(port.client, port.deliver)
            self._equip(port, asker, self._world.protocols[asker.line], way_through(box), box.converter.driver.echo)

    def _port_parts(self, asker: Asker) -> tuple[Kernel, Line, int, dict[str, CameraPort], dict[str, int], Emit]:
        """The parts that every port of a master needs."""
        numbers = {name: self._numbers["camera", name] for name in self._site.cameras}
        line, master = self._world.lines[asker.line], self._numbers["master", asker.master.name]
        return self._world.kernel, line, master, self._world.cameras, numbers, self._emit

    def _equip(self, port: MasterPort, asker: Asker, protocol: BusProtocol, way: Way, echo: bool) -> None:
        asking = Asking(asker, protocol, way)
        master = asker.master
        for camera in asker.cameras:
            self._world.moves[master.name, camera.name] = partial(_give, port, asking, camera)
        port.master = self._made(
            protocol.stream_framer(),
            asking.polls(),
            port.done,
            gap=asker.gap,
            drain=asker.drain,
            policy=asker.policy,
            starts_at=master.starts_at,
            echo=echo,
            alone=self._alone_on(asker.line),
            char=way.setting.char,
        )
        self._world.masters[master.name, asker.line] = port

    def _alone_on(self, line: str) -> bool:
        """Whether one master polls this line and no client comes from outside."""
        return not self._watched and sum(len(one.askers) for one in self._site.lines if one.name == line) == 1

    def _panel(self, resolved: ResolvedPanel) -> None:
        plan, world = resolved.panel, self._world
        moves = self._moves_of(plan, resolved.commands)
        if plan.moves and moves:
            stream = self._chance.stream("panel", plan.name, "moves")
            world.operators.append(Operator(world.kernel, stream, plan.moves, moves))
        for number, stick in enumerate(resolved.joysticks):
            moves = self._moves_of(plan, stick.commands)
            if moves:
                stream = self._chance.stream("panel", plan.name, "joystick", str(number))
                world.operators.append(Joystick(world.kernel, stream, stick.every, stick.joystick.jitter, moves))

    def _moves_of(self, panel: PanelPlan, commands: Sequence[Command]) -> list[Move]:
        """Moves for the played master, or else for the controller outside."""
        hook, moves = self._world.hook, self._world.moves
        played = [self._move(panel.master, one) for one in commands if (panel.master, one.camera.name) in moves]
        if hook is not None and not played:
            return [self._intent(hook, panel.name, one) for one in commands]
        return played

    def _intent(self, hook: Hook, panel: str, command: Command) -> Move:
        """A move that the controller outside receives."""
        parameter = command.parameter

        def play(value: int) -> None:
            hook.intend(command.camera.name, parameter.name, value, panel)

        return Move(parameter.low, parameter.high, play)

    def _move(self, master: str, command: Command) -> Move:
        give = self._world.moves[master, command.camera.name]
        return Move(command.parameter.low, command.parameter.high, lambda value: give(command.control, value, False))


def _give(port: MasterPort, asking: Asking, camera: ResolvedCamera, control: str, value: int, step: bool) -> None:
    """Gives an operator's move to a master: to a value, or by a number of steps."""
    make = asking.step if step else asking.move
    port.command(make(camera, control, value), absolute=not step)


def _own_values(camera: Camera, stream: Stream, taken: set[tuple[str, int]]) -> dict[str, int]:
    """A value for each freely writable parameter that no earlier camera has, as far as its range allows."""
    values = {}
    for one in camera.model.parameters:
        if one.kind == "range" and camera.free(one.name):
            value = stream.between(one.low, one.high)
            for _ in range(8):
                if (one.name, value) not in taken:
                    break
                value = stream.between(one.low, one.high)
            values[one.name] = value
            taken.add((one.name, value))
    return values


def _arbiter(plan: ConverterPlan, protocol: BusProtocol, baud: float) -> Arbiter | None:
    if plan.clients.sharing != "arbitrated":
        return None
    return Arbiter(protocol, plan.clients.arbitration_time_out, protocol.silence(baud))
