"""Settings to make on site: converters, camera IDs, panels."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import replace
from ipaddress import ip_network

from busim.analysis.check import Survey
from busim.commissioning.sheet.model import ASSUMED, COMPUTED, Card, Cell, Facts, Table, Value
from busim.commissioning.sheet.said import Said, baud, number, spread
from busim.foundation.units import show_time
from busim.plan import ConverterPlan, PanelPlan

_FULL = {
    "refuse": "a further client is refused",
    "drop-oldest": "a further client disconnects the oldest",
    "accept-and-ignore": "a further client is accepted but not served",
}
_SHARING = {
    "replies-to-all": "replies go to all clients",
    "arbitrated": "one request at a time, reply to its client only",
}


def card(said: Said, field: str, one: ConverterPlan, of_line: Facts = ()) -> Card:
    """The settings of one converter, after `of_line`, the settings from its line."""
    return Card(one.name, one.place or "", (*of_line, *_settings(said, field, one)))


def loose_cards(survey: Survey, said: Said, on_lines: Collection[str]) -> tuple[Card, ...]:
    """The settings of the converters that are on no line."""
    return tuple(card(said, *one) for name, one in survey.converters.items() if name not in on_lines)


def _settings(said: Said, field: str, one: ConverterPlan) -> Iterator[tuple[str, Cell]]:
    def value(key: str, text: object) -> Value:
        return said.value(f"{field}.{key}", text)

    if one.box:
        yield "box", one.box + (f", port {one.box_port}" if one.box_port is not None else "")
    if one.factory_address:
        yield "address as delivered", value("factory_address", one.factory_address)
    if one.dials is None:
        yield "address", value("endpoint", one.host)
        yield "port", value("endpoint", f"{one.port} {one.transport}, listens")
    else:
        yield "connects to", value("dials", f"{one.dials[0]}:{one.dials[1]} {one.transport}")
        yield "reconnects after", value("redial", show_time(one.redial))
    yield "network", value("network", one.network) if one.network else "not planned"
    if one.network:
        yield "netmask", Value(_netmask(one.network), COMPUTED)
    yield "gateway", value("gateway", one.gateway) if one.gateway else "not planned"
    yield "COM port control", value("rfc2217", f"RFC 2217: {one.rfc2217}")
    yield "packet after silence of", value("packing.idle", show_time(one.packing_idle))
    yield "packet at length of", value("packing.length", f"{one.packing_length} bytes" if one.packing_length else "off")
    if one.packing_delimiter:
        yield "packet after delimiter", value("packing.delimiter", one.packing_delimiter.hex(" ").upper())
    yield "clients at once", value("clients.most", one.clients.most)
    yield "when full", _FULL[one.clients.when_full]
    yield "sharing", _SHARING[one.clients.sharing]
    if one.clients.idle_close:
        yield "closes idle connections after", value("clients.idle_close", show_time(one.clients.idle_close))
    yield "wires", value("wires", one.wires)
    yield "terminator switch", value("terminator", "ON" if one.terminator else "off")
    yield "bias switch", value("bias", "ON" if one.bias else "off")
    if one.driver.baud is not None:
        yield "own baud", value("driver.baud", baud(one.driver.baud))
    if one.driver.format is not None:
        yield "own format", value("driver.format", one.driver.format)
    yield "supply", one.supply or "not planned"
    yield "unit load", value("unit_load", number(one.unit_load))


def _netmask(network: str) -> str:
    """The mask that a settings page asks for beside the address, as 255.255.255.0."""
    return str(ip_network(network, strict=False).netmask)


def settings(survey: Survey, said: Said) -> tuple[Table, ...]:
    """Tables of converter addresses, bus IDs, camera ports and panels."""
    return (_addresses(survey, said), _ids(survey, said), _ports(survey, said), _panels(survey, said))


def _addresses(survey: Survey, said: Said) -> Table:
    rows: list[tuple[Cell, ...]] = []
    for field, one in survey.converters.values():
        rows.append(
            (
                one.name,
                one.place or "",
                said.value(f"{field}.factory_address", one.factory_address) if one.factory_address else "not planned",
                said.value(f"{field}.endpoint", f"{one.host}:{one.port}"),
                said.value(f"{field}.network", one.network) if one.network else "not planned",
                Value(_netmask(one.network), COMPUTED) if one.network else "",
                said.value(f"{field}.gateway", one.gateway) if one.gateway else "not planned",
            )
        )
    return Table(
        "Converter addresses to set",
        ("converter", "place", "as delivered", "to set", "network", "netmask", "gateway"),
        tuple(rows),
        "Several units with the same factory address: connect and set them one after the other.",
        ticks=True,
        found=True,
    )


def _ids(survey: Survey, said: Said) -> Table:
    rows: list[tuple[Cell, ...]] = []
    for wire in survey.wires:
        for one in wire.cameras:
            field, camera, factory = one.field, one.camera, one.factory_id
            written = camera.factory_id is not None and said.kind(f"{field}.factory_id")
            rows.append(
                (
                    wire.line.name,
                    camera.name,
                    camera.place or "",
                    said.value(f"{field}.serial", camera.serial) if camera.serial else "not planned",
                    "not known" if factory is None else Value(str(factory), written or ASSUMED),
                    said.value(f"{field}.bus_id", camera.bus_id),
                )
            )
    return Table(
        "Bus IDs to set",
        ("line", "camera", "place", "serial", "as delivered", "to set"),
        tuple(rows),
        "Connect one new camera at a time on each line; read back after a power cycle.",
        ticks=True,
        found=True,
    )


def _ports(survey: Survey, said: Said) -> Table:
    rows: list[tuple[Cell, ...]] = []
    for wire in survey.wires:
        line = wire.line
        for one in wire.cameras:
            camera, port = one.camera, one.factory_port
            origin = _delivered(said, one.field)
            delivered = "not known" if port is None else Value(f"{baud(port[0])} {port[1]}", origin)
            delay = spread(camera.turnaround.low / 1e6, camera.turnaround.high / 1e6, "ms")
            same = port == (line.baud, line.format)
            rows.append(
                (
                    line.name,
                    camera.name,
                    delivered,
                    said.value(f"{wire.field}.baud", baud(line.baud)),
                    said.value(f"{wire.field}.format", line.format),
                    said.value(f"{one.field}.turnaround", delay),
                    "as delivered" if same else "DEAF UNTIL SET",
                )
            )
    return Table(
        "Camera ports to set",
        ("line", "camera", "as delivered", "baud to set", "format to set", "answer delay", "state"),
        tuple(rows),
        "A camera that is deaf until set is set with the converter at its factory settings: see the steps of its line.",
        ticks=True,
        found=True,
    )


def _delivered(said: Said, field: str) -> str:
    both = {said.kind(f"{field}.factory_baud"), said.kind(f"{field}.factory_format")}
    return both.pop() if len(both) == 1 else ASSUMED


def _panels(survey: Survey, said: Said) -> Table:
    rows = tuple(row for index, panel in enumerate(survey.plan.panels) for row in _bound(survey, said, index, panel))
    return Table(
        "Cameras and controls of each panel",
        ("panel", "place", "through", "camera", "controls", "moves"),
        rows,
        "Try each camera from each panel: it moves, and no other does. Keep people away from every head that can turn.",
        ticks=True,
        found=True,
    )


def _bound(survey: Survey, said: Said, index: int, panel: PanelPlan) -> Iterator[tuple[Cell, ...]]:
    """A row for each camera, with the controls that it has."""
    moves = said.value(f"panels[{index}].moves", f"{number(panel.moves)} /s")
    for camera in panel.cameras:
        controls = [control for control in panel.controls if not survey.lacks(camera, control)]
        sticks = [f"; joystick {number(one.rate)} /s" for one in panel.joysticks if one.camera == camera]
        own = replace(moves, text=moves.text + "".join(sticks))
        yield panel.name, panel.place or "", panel.master, camera, ", ".join(controls) or "none", own
