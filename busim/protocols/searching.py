"""Searches: finding cameras by their serial numbers, whatever their bus IDs, and giving an ID to one of them.

Both go to all cameras, and the addressed ones answer under their present ID. In a search all cameras with a serial
within bounds answer. Either they answer at once, so silence means none and garble several, or each in a slot computed
from its serial and the number of the draw. Another draw gives other slots, so two that met in one draw rarely meet in
the next, and a run can be repeated.
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
    """Which cameras have a serial from `low` to `high`, both included, and (`only`) this bus ID?

    `slots` of `slot` ns each, 1: all answer at once; `draw`: 0..65535. Raises Defect without a broadcast.
    """
    all_ = _all(protocol)
    return Request(all_, SEARCH, 0, 0, (low, high, all_ if only is None else only, slots, slot, draw))


def assignment(protocol: BusProtocol, serial: int, address: int) -> Request:
    """The camera with this serial gets this bus ID. Raises Defect if the protocol has no broadcast."""
    return Request(_all(protocol), ASSIGN, 0, 0, (serial, address))


def searches(protocol: BusProtocol, *, slots: int = 1, slot: int = 0) -> bool:
    """Whether a protocol has messages for assignments, and for searches in `slots` of `slot` ns each."""
    if protocol.broadcast is None:
        return False
    try:
        return bool(
            protocol.encode_request(search(protocol, slots=slots, slot=slot))
            and protocol.encode_request(assignment(protocol, 1, protocol.addresses[0]))
        )
    except Defect:
        return False


def slot_of(serial: int, draw: int, slots: int) -> int:
    """The slot, 0..slots-1, in which a camera answers. The slots of two serials are as good as random.

    Mixed by the last steps of MurmurHash3 (A. Appleby, public domain, from memory): unlike a CRC they are not linear,
    so two serials that meet in one draw do not meet in every other.
    """
    return _mixed(serial ^ _mixed(draw + 1)) * slots >> 32


def _mixed(number: int) -> int:
    number &= _MOST
    number = (number ^ number >> 16) * 0x85EBCA6B & _MOST
    number = (number ^ number >> 13) * 0xC2B2AE35 & _MOST
    return number ^ number >> 16


def _all(protocol: BusProtocol) -> int:
    if protocol.broadcast is None:
        raise Defect(f"{protocol.name} has no broadcast, so it cannot address all cameras")
    return protocol.broadcast
