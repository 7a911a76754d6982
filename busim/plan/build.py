"""Builds the plan that the rest of busim reads from the shapes of a file."""

from __future__ import annotations

from busim.foundation.units import Spread
from busim.foundation.yaml_source import Declared
from busim.plan.expect_shapes import ExpectShape
from busim.plan.fault_shapes import AfterShape
from busim.plan.panel_shapes import PanelShape
from busim.plan.shapes import (
    STANDS,
    CameraShape,
    ClientsShape,
    ConverterShape,
    DriverShape,
    LineShape,
    MasterShape,
    PlanShape,
    StandShape,
)
from busim.plan.site import (
    BiasPlan,
    CablePlan,
    FeedPlan,
    MeasuredPlan,
    PlacePlan,
    PowerPlan,
    SilencedPlan,
    SparePlan,
    SupplyPlan,
)
from busim.plan.site_shapes import MeasuredShape, PlaceShape, PowerShape, SupplyShape
from busim.plan.types import (
    CameraPlan,
    ClientsPlan,
    ConverterPlan,
    DriverPlan,
    ExpectPlan,
    FaultPlan,
    JoystickPlan,
    LinePlan,
    MasterPlan,
    PanelPlan,
    Place,
    Plan,
    PollGroup,
)

OHMS = 120.0  # default of a terminator: TI SLLA272 sec. 6
FORGOTTEN = 60_000_000_000  # ns without a datagram until a converter forgets a peer, by default
ASSUMED = Spread(5_000_000, 5_000_000)  # turnaround of a camera with an unknown model


def build(shape: PlanShape, document: Declared) -> Plan:
    """The plan of a file that has no errors."""
    fed = {name: supply.name for supply in shape.supplies for name in supply.feeds}
    cameras = tuple(_camera(camera, fed) for camera in shape.cameras)
    converters = tuple(_converter(converter, fed) for converter in shape.converters)
    return Plan(
        name=shape.name,
        lines=tuple(_line(line) for line in shape.lines),
        cameras=cameras,
        converters=converters,
        masters=tuple(_master(master) for master in shape.masters),
        panels=tuple(_panel(panel) for panel in shape.panels),
        expect=tuple(_expect(entry) for entry in shape.expect),
        faults=tuple(
            FaultPlan(
                entry.fault, tuple(entry.on), entry.at, entry.length, entry.every, _after(entry.after), entry.parameters
            )
            for entry in shape.faults
        ),
        places=tuple(_place(place) for place in shape.places),
        supplies=tuple(_supply(supply, (*converters, *cameras)) for supply in shape.supplies),
        spares=tuple(
            SparePlan(spare.name, spare.model, spare.bus_id, spare.serial, spare.count, spare.place)
            for spare in shape.spares
        ),
        silenced=tuple(SilencedPlan(entry.rule, entry.at, entry.reason) for entry in shape.silenced),
        source=document.text,
        path=document.path,
        positions=document.positions,
    )


def _after(shape: AfterShape | None) -> tuple[str, str, str] | None:
    if shape is None:
        return None
    found = next((kind, text) for kind in ("mark", "change", "effect") if (text := getattr(shape, kind)) is not None)
    return (*found, shape.of or "")


def _driver(shape: DriverShape) -> DriverPlan:
    return DriverPlan(
        baud=shape.baud,
        format=shape.format,
        clock_ppm=shape.clock,
        swapped=shape.swapped,
        echo=shape.echo,
        lead=shape.lead,
        hold=shape.hold,
        fail_safe=shape.fail_safe,
    )


def _order(stands: list[StandShape]) -> tuple[Place, ...]:
    places = []
    metres = 0.0
    for stand in stands:
        metres += stand.after
        kind = next(kind for kind in STANDS if getattr(stand, kind))
        name = "" if kind == "terminator" else getattr(stand, kind)
        ohms = (stand.ohms or OHMS) if kind == "terminator" else None
        places.append(Place(kind, name, metres, stand.gauge, stand.stub, ohms, stand.capacitor, stand.supply_pair))
    return tuple(places)


def _line(shape: LineShape) -> LinePlan:
    return LinePlan(
        name=shape.name,
        baud=shape.baud,
        format=shape.format,
        protocol=shape.protocol,
        order=_order(shape.order),
        contention=shape.contention,
        biased=shape.bias.present,
        velocity=float(shape.velocity),
        bit_error_rate=float(shape.bit_error_rate),
        chatter=shape.chatter,
        bias=BiasPlan(tuple(shape.bias.at), shape.bias.ohms, shape.bias.volts),
        cable=CablePlan(shape.cable.gauge, shape.cable.impedance, shape.cable.supply_gauge, shape.cable.conductor),
    )


def _camera(shape: CameraShape, fed: dict[str, str]) -> CameraPlan:
    return CameraPlan(
        name=shape.name,
        model=shape.model,
        bus_id=shape.bus_id,
        turnaround=shape.turnaround or ASSUMED,
        serial=shape.serial,
        present=shape.present,
        driver=_driver(shape.driver),
        place=shape.place,
        factory_id=shape.factory_id,
        factory_baud=shape.factory_baud,
        factory_format=shape.factory_format,
        firmware=shape.firmware,
        supply=shape.supply or fed.get(shape.name),
        power=_power(shape.power),
        unpowered=shape.unpowered,
        unit_load=shape.unit_load,
        terminator=shape.terminator,
        bias=shape.bias,
        frame_rate=shape.frame_rate,
        shutter=shape.shutter,
        measured=_measured(shape.measured),
    )


def _converter(shape: ConverterShape, fed: dict[str, str]) -> ConverterPlan:
    return ConverterPlan(
        name=shape.name,
        host=shape.endpoint.host,
        port=shape.endpoint.port,
        packing_idle=shape.packing.idle,
        packing_length=shape.packing.length,
        packing_delimiter=shape.packing.delimiter,
        latency=shape.latency,
        clients=_clients(shape.clients, _idle(shape)),
        transport=shape.transport,
        rfc2217=shape.rfc2217,
        dials=None if shape.dials is None else (shape.dials.host, shape.dials.port),
        redial=shape.redial,
        reboots=tuple((reboot.at, reboot.down) for reboot in shape.reboots),
        when_down=shape.when_down,
        driver=_driver(shape.driver),
        place=shape.place,
        factory_address=shape.factory_address,
        network=shape.network,
        gateway=shape.gateway,
        box=shape.box,
        box_port=shape.box_port,
        wires=shape.wires,
        terminator=shape.terminator,
        bias=shape.bias,
        unit_load=shape.unit_load,
        supply=shape.supply or fed.get(shape.name),
        power=_power(shape.power),
        measured=_measured(shape.measured),
        real_port=shape.port,
    )


def _measured(shape: MeasuredShape | None) -> MeasuredPlan | None:
    if shape is None:
        return None
    return MeasuredPlan(shape.turnaround, shape.packing, shape.reads, shape.on, shape.how)


def _idle(shape: ConverterShape) -> int:
    """The idle time-out in ns. UDP has no end of a connection; a peer that the plan names is never forgotten."""
    if shape.clients.idle_close is not None:
        return shape.clients.idle_close
    return FORGOTTEN if shape.transport == "udp" and shape.dials is None else 0


def _clients(shape: ClientsShape, idle_close: int) -> ClientsPlan:
    return ClientsPlan(
        most=shape.most,
        when_full=shape.when_full,
        sharing=shape.sharing,
        arbitration_time_out=shape.arbitration_time_out,
        hold_slot=shape.hold_slot,
        idle_close=idle_close,
        idle_way=shape.idle_way,
        greeting=shape.greeting,
        keep_alive=shape.keep_alive.bytes,
        keep_alive_every=shape.keep_alive.every,
        keep_alive_to=shape.keep_alive.to,
        stale=shape.stale,
    )


def _master(shape: MasterShape) -> MasterPlan:
    return MasterPlan(
        name=shape.name,
        on=tuple(shape.on),
        through=tuple(shape.through),
        cameras=tuple(shape.cameras),
        groups=tuple(PollGroup(group.name, tuple(group.values), group.every) for group in shape.groups),
        time_out=shape.time_out,
        retries=shape.retries,
        gap=shape.gap,
        listen=shape.listen,
        back_off=shape.back_off,
        offline_after=shape.offline_after,
        starts_at=shape.starts_at,
        driver=_driver(shape.driver),
    )


def _expect(shape: ExpectShape) -> ExpectPlan:
    return ExpectPlan(shape.figure, tuple(shape.of), shape.at_least, shape.at_most)


def _panel(shape: PanelShape) -> PanelPlan:
    return PanelPlan(
        name=shape.name,
        master=shape.master,
        cameras=tuple(shape.cameras),
        controls=tuple(shape.controls),
        moves=shape.moves,
        place=shape.place,
        joysticks=tuple(
            JoystickPlan(stick.camera, tuple(stick.controls), stick.rate, stick.jitter) for stick in shape.joysticks
        ),
    )


def _place(shape: PlaceShape) -> PlacePlan:
    return PlacePlan(shape.name, None if shape.at is None else (shape.at[0], shape.at[1]), shape.note)


def _power(shape: PowerShape) -> PowerPlan:
    return PowerPlan(shape.idle, shape.peak, shape.start_up)


def _supply(shape: SupplyShape, stations: tuple[ConverterPlan | CameraPlan, ...]) -> SupplyPlan:
    """A supply with its loads, which `feeds` of the supply or `supply` of the load can name."""
    return SupplyPlan(
        name=shape.name,
        voltage=shape.voltage,
        kind=shape.kind,
        poe_class=shape.poe_class,
        limit=shape.limit,
        fuse=shape.fuse,
        fuse_reason=shape.fuse_reason,
        place=shape.place,
        at=shape.at,
        feeds=tuple(station.name for station in stations if station.supply == shape.name),
        cable=FeedPlan(shape.cable.length, shape.cable.gauge, shape.cable.conductor),
    )
