"""Requests for orders (save, identify, new ID): a write to a register of the model, or a message of the protocol."""

from __future__ import annotations

from fractions import Fraction

from busim.foundation.errors import Defect
from busim.foundation.units import CharFormat
from busim.plan.models import Model
from busim.protocols import CHANGE_ID, SAVE, WRITE, BusProtocol, Request


def order(model: Model, protocol: BusProtocol, does: str, bus_id: int) -> Request | None:
    """Request for an order (save, identify) at a bus ID; None if the bus has none."""
    keys = model.order_keys.get(protocol.name, {})
    for one in model.orders:
        for code, effect in one.codes.items():
            if effect == does and one.name in keys:
                return Request(bus_id, WRITE, keys[one.name], 1, (code,))
    return _carried(protocol, Request(bus_id, SAVE, 0, 0)) if does == "save" else None


def new_id(model: Model, protocol: BusProtocol, at: int, bus_id: int) -> Request | None:
    """Request that gives the camera at bus ID `at` a new ID; None if the bus has none."""
    keys = model.order_keys.get(protocol.name, {})
    for one in model.orders:
        if one.does == "change-id" and one.name in keys:
            return Request(at, WRITE, keys[one.name], 1, (bus_id,))
    return _carried(protocol, Request(at, CHANGE_ID, 0, 1, (bus_id,)))


def new_port(model: Model, protocol: BusProtocol, at: int, baud: Fraction, format: CharFormat) -> Request | None:
    """Request that gives the camera at bus ID `at` another baud and format; None if the bus has none."""
    keys, bus = model.order_keys.get(protocol.name, {}), model.bus
    if baud not in bus.bauds or format not in bus.formats:
        return None
    number = bus.bauds.index(baud) * len(bus.formats) + bus.formats.index(format)
    for one in model.orders:
        if one.does == "change-port" and one.name in keys:
            return _carried(protocol, Request(at, WRITE, keys[one.name], 1, (number,)))
    return None


def _carried(protocol: BusProtocol, request: Request) -> Request | None:
    """The request, if the protocol has a message for it; else None."""
    try:
        protocol.encode_request(request)
    except Defect:
        return None
    return request
