"""Dialects: what stations say to each other, behind one contract."""

from busim.dialects.contract import (
    BUSY,
    FAILED,
    ILLEGAL_KEY,
    ILLEGAL_VALUE,
    ILLEGAL_VERB,
    OTHER,
    READ,
    UNKNOWN,
    WRITE,
    Dialect,
    Frame,
    Frames,
    Reply,
    Request,
    StreamFramer,
    WireFramer,
)
from busim.dialects.modbus_rtu import ModbusRtu
from busim.errors import UserError

_DIALECTS: dict[str, Dialect] = {"modbus-rtu": ModbusRtu()}


def find(name: str) -> Dialect:
    """The dialect of this name. Raises UserError for one that is not known."""
    try:
        return _DIALECTS[name]
    except KeyError:
        raise UserError(
            "no such dialect", found=repr(name), expected=" or ".join(_DIALECTS), mend="name one of these"
        ) from None


def names() -> tuple[str, ...]:
    """The names of the dialects that are there."""
    return tuple(_DIALECTS)


__all__ = [
    "BUSY",
    "FAILED",
    "ILLEGAL_KEY",
    "ILLEGAL_VALUE",
    "ILLEGAL_VERB",
    "OTHER",
    "READ",
    "UNKNOWN",
    "WRITE",
    "Dialect",
    "Frame",
    "Frames",
    "ModbusRtu",
    "Reply",
    "Request",
    "StreamFramer",
    "WireFramer",
    "find",
    "names",
]
