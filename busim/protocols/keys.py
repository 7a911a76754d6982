"""A camera model as a dialect speaks of it: which key stands for which parameter.

A model file says so for the dialects its maker knew. A dialect file may say so for models that came before it.
"""

from __future__ import annotations

from dataclasses import replace

from busim.foundation.errors import Defect, UserError
from busim.plan.models import Model
from busim.protocols.contract import READ, WRITE, Dialect, Request


def has_id(dialect: Dialect, camera: str, id: int) -> None:
    """Raises UserError, without a place, where the dialect does not have this bus ID."""
    if not dialect.ids[0] <= id <= dialect.ids[1]:
        raise UserError(
            f"camera {camera!r} has a bus ID that {dialect.name} does not have",
            found=str(id),
            expected=f"{dialect.ids[0]} to {dialect.ids[1]}",
            mend="give the camera an ID in this range",
        )


def spoken(model: Model, dialect: Dialect) -> Model:
    """The model with its keys under this dialect, the dialect's own before the model's.

    Raises UserError, without a place, where there are none, or where the dialect cannot carry one or a value behind it.
    """
    own = dialect.keys.get(model.name)
    if own is None:
        keys, order_keys = model.keys.get(dialect.name), model.order_keys.get(dialect.name, {})
    else:
        orders, known = {order.name for order in model.orders}, {parameter.name for parameter in model.parameters}
        keys = {name: key for name, key in own.items() if name in known}
        order_keys = {name: key for name, key in own.items() if name in orders}
    if keys is None:
        raise UserError(
            f"camera model {model.name} does not speak {dialect.name}",
            expected=" or ".join(model.keys),
            mend="choose another model, or another dialect for its line; a dialect file may give the model's `keys`",
        )
    for parameter in model.parameters:
        key = keys.get(parameter.name)
        if key is None:
            continue
        asked = [Request(dialect.ids[0], READ, key, 1)]
        if parameter.writable:
            asked += [Request(dialect.ids[0], WRITE, key, 1, (value,)) for value in (parameter.low, parameter.high)]
        for request in asked:
            try:
                dialect.encode_request(request)
            except Defect:
                raise UserError(
                    f"{dialect.name} cannot carry a {request.verb} of `{parameter.name}` of {model.name}",
                    found=f"key {key}" + (f", value {request.values[0]}" if request.values else ""),
                    expected="keys and values that fit the dialect's fields",
                    mend="widen the fields of the dialect, or leave the parameter out of its keys",
                ) from None
    if own is None:
        return model
    return replace(
        model,
        keys={**model.keys, dialect.name: keys},
        order_keys={**model.order_keys, dialect.name: order_keys},
    )
