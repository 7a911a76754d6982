"""What makes a camera do something under the protocol of its line: a place of its model to write to, or a message that
the protocol has for it.
"""

from __future__ import annotations

from busim.foundation.errors import Defect
from busim.plan.models import Model
from busim.protocols import CHANGE_ID, SAVE, WRITE, BusProtocol, Request


def order(model: Model, protocol: BusProtocol, deed: str, id: int) -> Request | None:
    """What makes a camera do something (save, identify) at a bus ID; None: nothing over the bus does."""
    keys = model.order_keys.get(protocol.name, {})
    for one in model.orders:
        for code, does in one.codes.items():
            if does == deed and one.name in keys:
                return Request(id, WRITE, keys[one.name], 1, (code,))
    return _carried(protocol, Request(id, SAVE, 0, 0)) if deed == "save" else None


def new_id(model: Model, protocol: BusProtocol, at: int, id: int) -> Request | None:
    """What gives a camera that answers `at` a bus ID; None: nothing over the bus does."""
    keys = model.order_keys.get(protocol.name, {})
    for one in model.orders:
        if one.does == "change-id" and one.name in keys:
            return Request(at, WRITE, keys[one.name], 1, (id,))
    return _carried(protocol, Request(at, CHANGE_ID, 0, 1, (id,)))


def _carried(protocol: BusProtocol, request: Request) -> Request | None:
    """The request, where the protocol has such a message of its own."""
    try:
        protocol.encode_request(request)
    except Defect:
        return None
    return request
