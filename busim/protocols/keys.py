"""A camera model under a protocol: the key of each parameter.

A model file has keys for the protocols its maker knew. A protocol file may add keys for older models.
"""

from __future__ import annotations

from dataclasses import replace

from busim.foundation.errors import Defect, UserError
from busim.plan.models import Model
from busim.protocols.contract import READ, WRITE, BusProtocol, Request


def has_id(protocol: BusProtocol, camera: str, address: int) -> None:
    """Raises UserError, without a place, if the protocol does not have this bus ID."""
    if not protocol.addresses[0] <= address <= protocol.addresses[1]:
        raise UserError(
            f"camera {camera!r} has a bus ID that {protocol.name} does not have",
            found=str(address),
            expected=f"{protocol.addresses[0]} to {protocol.addresses[1]}",
            mend="give the camera an ID in this range",
        )


def spoken(model: Model, protocol: BusProtocol) -> Model:
    """The model with its keys under this protocol, the protocol's own before the model's.

    Raises UserError, without a place, if there are none, or if the protocol cannot carry one or its value.
    """
    own = protocol.keys.get(model.name)
    if own is None:
        keys, order_keys = model.keys.get(protocol.name), model.order_keys.get(protocol.name, {})
    else:
        orders, known = {order.name for order in model.orders}, {parameter.name for parameter in model.parameters}
        keys = {name: key for name, key in own.items() if name in known}
        order_keys = {name: key for name, key in own.items() if name in orders}
    if keys is None:
        raise UserError(
            f"camera model {model.name} does not speak {protocol.name}",
            found=protocol.name,
            expected=" or ".join(model.keys),
            mend="choose another model, or another protocol for its line; a protocol file may give the model's `keys`",
        )
    for parameter in model.parameters:
        key = keys.get(parameter.name)
        if key is None:
            continue
        asked = [Request(protocol.addresses[0], READ, key, 1)]
        if parameter.writable:
            asked += [
                Request(protocol.addresses[0], WRITE, key, 1, (value,)) for value in (parameter.low, parameter.high)
            ]
        for request in asked:
            try:
                protocol.encode_request(request)
            except Defect:
                raise UserError(
                    f"{protocol.name} cannot carry a {request.verb} of `{parameter.name}` of {model.name}",
                    found=f"key {key}" + (f", value {request.values[0]}" if request.values else ""),
                    expected="keys and values that fit the protocol's fields",
                    mend="widen the fields of the protocol, or leave the parameter out of its keys",
                ) from None
    if own is None:
        return model
    return replace(
        model,
        keys={**model.keys, protocol.name: keys},
        order_keys={**model.order_keys, protocol.name: order_keys},
    )
