"""From a plan to a world. After this nothing reads the plan."""

from __future__ import annotations

from collections.abc import Callable, Collection
from functools import partial

from busim.plan import CameraPlan, ConverterPlan, DriverPlan, LinePlan, MasterPlan, PanelPlan, Plan
from busim.plan.models import Model, Parameter
from busim.protocols import BusProtocol
from busim.recording.trace import Emit
from busim.simulator.bus import Line, Setting, Station, setting
from busim.simulator.cameras import Camera
from busim.simulator.converters import Arbiter, ComPort, Packer, Policy
from busim.simulator.faults import BitNoise, Chatter, Latency, Turnaround
from busim.simulator.kernel import Chance, Kernel, PatientKernel, Stream
from busim.simulator.masters import Master, Target
from busim.simulator.world.asking import Asking, Way, way_through
from busim.simulator.world.camera_ports import CameraPort, Hearing
from busim.simulator.world.controller_hook import Hook
from busim.simulator.world.converter_ports import ConverterPort
from busim.simulator.world.master_ports import MasterBehindConverter, MasterOnLine, MasterPort
from busim.simulator.world.named import look_up
from busim.simulator.world.operators import Move, Operator
from busim.simulator.world.sniffer import Sniffer
from busim.simulator.world.world import World


def build(
    plan: Plan, seed: int, emit: Emit, *, played: Collection[str] | None = None, always_exact: bool = False,
    watched: bool = False, margin: int | None = None, hooked: bool = False, distinct: bool = False,
    master: Callable[..., Master] = Master,
) -> World:  # fmt: skip
    """The installation of `plan`. `played`: the masters busim plays itself, None for all of them. `always_exact`: no
    fast path (for comparing the two). `watched`: clients come from outside, so make exchange records of what they ask.
    `hooked`: a controller outside is told of the moves of panels whose master is not played.
    `distinct`: cameras begin with values of their own, drawn from the seed, so that a value tells whose it is.
    `master`: what makes the masters that busim plays.
    `margin`: the kernel is one that follows the time of day, which takes so many ns to make good what it left waiting.

    Raises Findings: every model, protocol, bus ID, value and control that the plan names and that there is not.
    """
    kernel = Kernel() if margin is None else PatientKernel(*_patience(plan, margin))
    hook = Hook(kernel, emit) if hooked else None
    world = World(emit if hook is None else hook.listen(emit), kernel, hook)
    return _Builder(plan, seed, world, played, always_exact, watched, distinct, master).build()


def _patience(plan: Plan, margin: int) -> tuple[int, int]:
    """How long events can wait before anybody outside could notice: the shortest passage to the network, and before
    that the shortest character (5 data bits are there after 6.5 bits), ns. Both are shorter by `margin`.
    """
    passage = min((converter.latency.low for converter in plan.converters), default=0)
    ports = [line.baud for line in plan.lines]
    drivers = [converter.driver for converter in plan.converters] + [camera.driver for camera in plan.cameras]
    drivers += [master.driver for master in plan.masters]
    ports += [driver.baud for driver in drivers if driver.baud is not None]
    return max(0, passage - margin), max(0, passage + int(6 * 10**9 / max(ports)) - margin)


class _Builder:
    def __init__(
        self, plan: Plan, seed: int, world: World, played: Collection[str] | None, always_exact: bool, watched: bool,
        distinct: bool, master: Callable[..., Master],
    ) -> None:  # fmt: skip
        self._plan = plan
        self._chance = Chance(seed)
        self._world = world
        self._emit = world.emit
        self._played = played
        self._always_exact = always_exact
        self._watched = watched
        self._distinct = distinct
        self._made = master
        self._taken: set[tuple[str, int]] = set()
        self._cameras = {camera.name: camera for camera in plan.cameras}
        self._converters = {converter.name: converter for converter in plan.converters}
        self._masters = {master.name: master for master in plan.masters}
        self._numbers: dict[tuple[str, str], int] = {}  # kind and name to number
        self._line_of: dict[tuple[str, str], LinePlan] = {}
        self._named = look_up(plan)
        self._targets: dict[tuple[str, str], Target] = {}
        self._askings: dict[tuple[str, str], Asking] = {}

    def build(self) -> World:
        for line in self._plan.lines:
            self._number(line)
        for line in self._plan.lines:
            self._line(line)
        if self._world.hook is not None:
            self._hook_up(self._world.hook)
        for master in self._plan.masters:
            if self._played is None or master.name in self._played:
                self._master(master)
        for panel in self._plan.panels:
            self._panel(panel)
        return self._world

    def _hook_up(self, hook: Hook) -> None:
        for name in self._cameras:
            line = self._numbers["line", self._line_of["camera", name].name]
            number, port = self._numbers["camera", name], self._world.cameras.get(name)
            hook.add(line, number, name, self._named.models[name], port)

    def _number(self, line: LinePlan) -> None:
        number = self._numbers["line", line.name] = self._world.number("line", line.name)
        for place in line.order:
            key = place.kind, place.name
            if place.kind != "terminator":
                self._line_of[key] = line
                if place.kind != "master":
                    self._numbers[key] = self._world.number(place.kind, place.name, number)
        for master in self._plan.masters:
            if ("master", master.name) not in self._numbers:
                self._numbers["master", master.name] = self._world.number("master", master.name)

    # -- the line and what stands on it ---------------------------------------------------------------------

    def _line(self, plan: LinePlan) -> None:
        protocol = self._world.protocols[plan.name] = self._named.protocols[plan.name]
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
        for place in plan.order:
            if place.kind == "camera":
                self._camera(plan, line, protocol, self._cameras[place.name], place.metres, hearings)
            elif place.kind == "converter":
                self._converter(plan, line, protocol, self._converters[place.name], place.metres)
            elif place.kind == "master" and (self._played is None or place.name in self._played):
                self._master_on(plan, line, protocol, self._masters[place.name], place.metres)
        self._wire(plan, line)
        bit = round(1e9 / plan.baud)
        if plan.bit_error_rate:
            stream = self._chance.stream("line", plan.name, "noise")
            self._world.disturbances.append((line, BitNoise(stream, plan.bit_error_rate, bit)))
        if plan.chatter:  # without a bias, or where a cut leaves a piece without it
            stream = self._chance.stream("line", plan.name, "chatter")
            self._world.disturbances.append((line, Chatter(stream, plan.chatter, bit)))

    def _wire(self, plan: LinePlan, line: Line) -> None:
        """Where on the line each station is, and which of them have the bias; by default the first one."""
        waiting = list(line.stations)
        stands = self._world.wiring.stands[plan.name] = [
            waiting.pop(0) if waiting and place.name == waiting[0].name else None for place in plan.order
        ]
        named = [station.number for station in stands if station is not None and station.name in plan.bias.at]
        line.biased_at = tuple(named) or (0,)

    def _station(self, plan: LinePlan, driver: DriverPlan, name: str, metres: float) -> Station:
        port = setting(driver.baud or plan.baud, driver.format or plan.format, driver.clock_ppm, driver.swapped)
        return Station(
            name, metres, port, lead=driver.lead, hold=driver.hold, echo=driver.echo, fail_safe=driver.fail_safe
        )

    def _camera(
        self, line_plan: LinePlan, line: Line, protocol: BusProtocol, plan: CameraPlan, metres: float,
        hearings: dict[Setting, Hearing],
    ) -> None:  # fmt: skip
        if not plan.present:
            return
        station = self._station(line_plan, plan.driver, plan.name, metres)
        number = self._numbers["camera", plan.name]
        reply = Turnaround(self._chance.stream("camera", plan.name, "turnaround"), plan.turnaround)
        camera = Camera(self._named.models[plan.name], protocol.name, plan.id, plan.serial, protocol.ids)
        if self._distinct:
            camera.begin_with(_own_values(camera, self._chance.stream("camera", plan.name, "values"), self._taken))
        port = CameraPort(self._world.kernel, line, station, camera, protocol, reply, self._emit, number)
        self._world.cameras[plan.name] = port
        quick = plan.turnaround.low < line.delay_over(line_plan.order[-1].metres)
        hearing = None if quick else hearings.get(station.setting)  # who answers at once has to hear at once
        if hearing is None:
            framer = protocol.wire_framer(float(station.setting.baud), station.setting.char, station.setting.tail)
            hearing = Hearing(self._world.kernel, line, protocol, framer, self._emit, [port])
            if not quick:
                hearings[station.setting] = hearing
        else:
            hearing.add(port)
        station.label = number
        line.attach(station, hearing)

    def _converter(
        self, line_plan: LinePlan, line: Line, protocol: BusProtocol, plan: ConverterPlan, metres: float
    ) -> None:
        station = self._station(line_plan, plan.driver, plan.name, metres)
        number = self._numbers["converter", plan.name]
        port = ConverterPort(
            self._world.kernel,
            line,
            station,
            Packer(plan.packing_idle, plan.packing_length, station.setting.char, plan.packing_delimiter),
            to_line=Latency(self._chance.stream("converter", plan.name, "to line"), plan.latency),
            to_net=Latency(self._chance.stream("converter", plan.name, "to net"), plan.latency),
            policy=_policy(plan),
            com=None if plan.rfc2217 == "off" else ComPort(station.setting.baud, station.setting.format, plan.rfc2217),
            arbiter=_arbiter(plan, protocol, float(station.setting.baud)),
            number=number,
            emit=self._emit,
        )
        port.labelled = self._world.setting_number
        self._world.converters[plan.name] = port
        station.label = number
        line.attach(station, port)
        if self._watched:
            self._sniffer(line_plan, line, protocol, station, port)

    def _sniffer(
        self, line_plan: LinePlan, line: Line, protocol: BusProtocol, station: Station, port: ConverterPort
    ) -> None:
        known = {
            self._cameras[place.name].id: (self._numbers["camera", place.name], place.name)
            for place in reversed(line_plan.order)
            if place.kind == "camera"
        }
        world = self._world
        sniffer = Sniffer(
            world.kernel, line, protocol, station.setting, port.number, known, world.cameras, self._emit
        )  # fmt: skip
        sniffer.watch(port)

    # -- masters and panels ---------------------------------------------------------------------------------

    def _master_on(
        self, line_plan: LinePlan, line: Line, protocol: BusProtocol, plan: MasterPlan, metres: float
    ) -> None:
        station = self._station(line_plan, plan.driver, plan.name, metres)
        port = MasterOnLine(*self._port_parts(line_plan, plan))
        port.station = station
        port.listen = plan.listen
        station.label = self._numbers["master", plan.name]
        line.attach(station, port)
        self._equip(port, plan, line_plan, protocol, Way(station.setting))

    def _master(self, plan: MasterPlan) -> None:
        for client, name in enumerate(plan.through):
            line_plan = self._line_of["converter", name]
            port = MasterBehindConverter(*self._port_parts(line_plan, plan))
            port.converter = self._world.converters[name]
            index = self._plan.masters.index(plan)
            port.client = -1 - index - client * len(self._plan.masters)
            port.converter.join(port.client, port.deliver)
            way = way_through(self._converters[name], line_plan)
            self._equip(port, plan, line_plan, self._named.protocols[line_plan.name], way)

    def _port_parts(
        self, line_plan: LinePlan, plan: MasterPlan
    ) -> tuple[Kernel, Line, int, dict[str, CameraPort], dict[str, int], Emit]:
        """What every port of a master is made of."""
        numbers = {name: self._numbers["camera", name] for name in self._cameras if ("camera", name) in self._numbers}
        line = self._world.lines[line_plan.name]
        return self._world.kernel, line, self._numbers["master", plan.name], self._world.cameras, numbers, self._emit

    def _equip(self, port: MasterPort, plan: MasterPlan, line_plan: LinePlan, protocol: BusProtocol, way: Way) -> None:
        asking = self._askings[plan.name, line_plan.name] = Asking(plan, protocol, way)
        polls = []
        for place in line_plan.order:
            if place.kind != "camera" or (plan.cameras and place.name not in plan.cameras):
                continue
            camera = self._cameras[place.name]
            target = self._targets[plan.name, camera.name] = Target(camera.name, camera.id)
            polls += asking.polls(camera, self._named.models[camera.name], target)
        port.master = self._made(
            protocol.stream_framer(),
            polls,
            port.done,
            gap=asking.gap(),
            drain=asking.drain(),
            offline_after=plan.offline_after,
            starts_at=plan.starts_at,
        )
        self._world.masters[plan.name, line_plan.name] = port
        for (master, name), target in self._targets.items():
            if master == plan.name and self._line_of["camera", name] is line_plan:
                camera, model = self._cameras[name], self._named.models[name]
                self._world.moves[master, name] = partial(_give, port, asking, camera, model, target)

    def _panel(self, plan: PanelPlan) -> None:
        moves = [
            self._move(plan.master, self._cameras[name], control)
            for name in plan.cameras
            if (plan.master, name) in self._targets  # else the master is not played
            for control in plan.controls
        ]
        if self._world.hook is not None and not moves:
            moves = [
                self._intent(self._world.hook, plan.name, name, control)
                for name in plan.cameras
                for control in plan.controls
            ]
        if plan.moves and moves:
            stream = self._chance.stream("panel", plan.name, "moves")
            self._world.operators.append(Operator(self._world.kernel, stream, plan.moves, moves))

    def _intent(self, hook: Hook, panel: str, camera: str, control: str) -> Move:
        """A move that the controller outside is told of."""
        model = self._named.models[camera]
        parameter = _meant(model, control)

        def play(value: int) -> None:
            hook.intend(camera, parameter.name, value, panel)

        return Move(parameter.low, parameter.high, play)

    def _move(self, master: str, camera: CameraPlan, control: str) -> Move:
        line = self._line_of["camera", camera.name].name
        model = self._named.models[camera.name]
        port, asking = self._world.masters[master, line], self._askings[master, line]
        target = self._targets[master, camera.name]
        parameter = _meant(model, control)

        def play(value: int) -> None:
            port.command(asking.move(camera, model, target, control, value))

        return Move(parameter.low, parameter.high, play)


def _give(
    port: MasterPort, asking: Asking, camera: CameraPlan, model: Model, target: Target, control: str, value: int,
    step: bool,
) -> None:  # fmt: skip
    """An operator's move reaches a master: to a value, or by so many steps."""
    make = asking.step if step else asking.move
    port.command(make(camera, model, target, control, value), absolute=not step)


def _own_values(camera: Camera, stream: Stream, taken: set[tuple[str, int]]) -> dict[str, int]:
    """A value for each parameter that can be written freely, which no camera before has, as far as its range allows."""
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


def _meant(model: Model, control: str) -> Parameter:
    """The parameter that a panel's word stands for."""
    return next(parameter for parameter in model.parameters if parameter.name == model.called(control))


def _policy(plan: ConverterPlan) -> Policy:
    clients = plan.clients
    return Policy(
        most=clients.most,
        when_full=clients.when_full,
        hold=clients.hold_slot,
        idle_close=clients.idle_close,
        idle_way=clients.idle_way,
        greeting=clients.greeting,
        keep_alive=clients.keep_alive,
        keep_alive_every=clients.keep_alive_every,
        keep_alive_to=clients.keep_alive_to,
        stale=clients.stale,
        reboots=plan.reboots,
        datagrams=plan.transport == "udp",
    )


def _arbiter(plan: ConverterPlan, protocol: BusProtocol, baud: float) -> Arbiter | None:
    if plan.clients.sharing != "arbitrated":
        return None
    return Arbiter(protocol, plan.clients.arbitration_time_out, protocol.silence(baud))
