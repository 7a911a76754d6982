"""Protocols: the messages between stations, behind one contract.

In: bytes with their instants, or requests and replies as values. Out: the other of the two. Open `contract.py` first.

Public: `find` (by name or file), `names`, `spoken` (a camera model under a protocol), `has_id`, `search`, `assignment`
and their parts (cameras by serial number), the contract, `ModbusRtu` (the one in code), and for protocols in files
`read`, `read_text`, `json_schema` and `starter` (the text of a first one). What reads protocols in files is loaded at
its first use.
"""

from typing import TYPE_CHECKING

from busim.foundation.first_use import fetched
from busim.protocols.contract import (
    ASSIGN,
    BUSY,
    CHANGE_ID,
    FAILED,
    IDENTIFY,
    ILLEGAL_KEY,
    ILLEGAL_VALUE,
    ILLEGAL_VERB,
    OTHER,
    PRESET,
    READ,
    SAVE,
    SEARCH,
    START,
    STATUS,
    STEP,
    STOP,
    UNKNOWN,
    WRITE,
    BusProtocol,
    Frame,
    Frames,
    Reply,
    Request,
    StreamFramer,
    WireFramer,
)
from busim.protocols.keys import has_id, spoken
from busim.protocols.modbus_rtu import ModbusRtu
from busim.protocols.searching import MOST_SLOTS, SERIALS, assignment, search, searches, slot_of
from busim.protocols.silence import SilenceFramer
from busim.protocols.sources import GROUP, find, names
from busim.protocols.starters import starter

if TYPE_CHECKING:
    from busim.protocols.declared import (
        Declaration,
        DeclaredProtocol,
        Layout,
        Operation,
        checks,
        json_schema,
        read,
        read_text,
    )
else:
    _IN_FILES = (
        "Declaration", "DeclaredProtocol", "Layout", "Operation", "checks", "json_schema", "read", "read_text",
    )  # fmt: skip
    __getattr__ = fetched(__name__, dict.fromkeys(_IN_FILES, "declared"))

__all__ = [
    "ASSIGN",
    "BUSY",
    "CHANGE_ID",
    "FAILED",
    "GROUP",
    "IDENTIFY",
    "ILLEGAL_KEY",
    "ILLEGAL_VALUE",
    "ILLEGAL_VERB",
    "MOST_SLOTS",
    "OTHER",
    "PRESET",
    "READ",
    "SAVE",
    "SEARCH",
    "SERIALS",
    "START",
    "STATUS",
    "STEP",
    "STOP",
    "UNKNOWN",
    "WRITE",
    "BusProtocol",
    "Declaration",
    "DeclaredProtocol",
    "Frame",
    "Frames",
    "Layout",
    "ModbusRtu",
    "Operation",
    "Reply",
    "Request",
    "SilenceFramer",
    "StreamFramer",
    "WireFramer",
    "assignment",
    "checks",
    "find",
    "has_id",
    "json_schema",
    "names",
    "read",
    "read_text",
    "search",
    "searches",
    "slot_of",
    "spoken",
    "starter",
]
