"""Searches: finding cameras by their serial numbers, whatever their bus IDs, and giving an ID to one of them.

Both go to all cameras, and those meant answer under the ID that they have. In a search all whose serial lies within
bounds answer, either at once, so that silence is nobody and garble is several, or each in a slot of its own choice. The
choice is a function of the serial and of the number of the draw: another draw, another slot, so that who met in one
draw hardly meets in the next, and a run can be had again.
"""

from __future__ import annotations

from busim.foundation.errors import Defect
from busim.protocols.contract import ASSIGN, SEARCH, BusProtocol, Request

SERIALS = 2**32
MOST_SLOTS = 255
_MOST = 0xFFFFFFFF


def search(
    protocol: BusProtocol, low: int = 0, high: int = SERIALS - 1, *, only: int | None = None, slots: int = 1,
    slot: int = 0, draw: int = 0,
) -> Request:  # fmt: skip
    """Who has a serial from `low` to `high`, both included, and (`only`) this bus ID?

    `slots` of `slot` ns each, 1: all answer at once; `draw`: 0..65535. Raises Defect where there is no broadcast.
    """
    all_ = _all(protocol)
    return Request(all_, SEARCH, 0, 0, (low, high, all_ if only is None else only, slots, slot, draw))


def assignment(protocol: BusProtocol, serial: int, id: int) -> Request:
    """The camera with this serial is to have this bus ID. Raises Defect where the protocol has no broadcast."""
    return Request(_all(protocol), ASSIGN, 0, 0, (serial, id))


def searches(protocol: BusProtocol) -> bool:
    """Whether a protocol has messages for searches and assignments."""
    if protocol.broadcast is None:
        return False
    try:
        return bool(
            protocol.encode_request(search(protocol))
            and protocol.encode_request(assignment(protocol, 1, protocol.ids[0]))
        )
    except Defect:
        return False


def slot_of(serial: int, draw: int, slots: int) -> int:
    """The slot, 0..slots-1, in which a camera answers. Which ones two serials take is as good as drawn.

    Mixed by the last steps of MurmurHash3 (A. Appleby, public domain, from memory): unlike a CRC they are not linear,
    so two serials that meet in one draw are not bound to meet in every other.
    """
    return _mixed(serial ^ _mixed(draw + 1)) * slots >> 32


def _mixed(number: int) -> int:
    number &= _MOST
    number = (number ^ number >> 16) * 0x85EBCA6B & _MOST
    number = (number ^ number >> 13) * 0xC2B2AE35 & _MOST
    return number ^ number >> 16


def _all(protocol: BusProtocol) -> int:
    if protocol.broadcast is None:
        raise Defect(f"{protocol.name} has no broadcast, so nothing can be asked of all cameras")
    return protocol.broadcast
