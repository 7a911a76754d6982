"""MODBUS RTU frames as a definition: the slow reference that the hot codec is held equal to.

Written to be compared with the standard by eye, not to be fast: construct describes the frames field by field, and the
check is computed bit by bit as the standard tells it. construct on its own leaks errors of its own kinds and leaves
trailing bytes unseen, so it stays inside: parsing answers fields or None, building answers bytes or raises Defect.

Sources: MODBUS Application Protocol V1.1b3, 6.3, 6.6, 6.12 and 7 (functions and exception replies); MODBUS over Serial
Line V1.02 (frame, addresses, at most 256 bytes, CRC low byte first).

Fields are dicts. Requests: `address`, `function` and
    3 (read holding registers)     `start`, `count`
    6 (write single register)      `register`, `value`
    16 (write multiple registers)  `start`, `values` (list)
    65 (search: our own, to all)   `low`, `high`, `only`, `slots`, `tenths`, `draw`
    66 (assignment: our own)       `serial`, `new_address`
Replies: `address`, `function` and
    3   `values`
    6   `register`, `value`
    16  `start`, `count`
    65  `serial`
    66  `serial`, `new_address`
    any `exception` (its code; `function` is then the one refused, without the high bit)
Registers, values and counts are 0..65535. A quantity out of the standard's range in a frame that is otherwise whole is
parsed: refusing it, with exception 3, is the device's work. So is a reserved address (248 to 255): nobody has it, which
is for the plan to say.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from construct import (
    Byte,
    Check,
    Checksum,
    Construct,
    ConstructError,
    Int16ub,
    Int16ul,
    Int32ub,
    RawCopy,
    Rebuild,
    Struct,
    Switch,
    Terminated,
    this,
)

from busim.foundation.errors import Defect

__all__ = ["FRAME_BYTES", "build_reply", "build_request", "check_of", "parse_reply", "parse_request"]

FRAME_BYTES = 256
_REFUSED = 0x80  # the bit an exception reply adds to the function


def check_of(data: bytes) -> int:
    """CRC-16/MODBUS of `data`, bit by bit (V1.02, appendix on CRC generation): 0..65535, sent low byte first."""
    register = 0xFFFF
    for byte in data:
        register ^= byte
        for _ in range(8):
            register = register >> 1 ^ (0xA001 if register & 1 else 0)
    return register


def _frame(functions: dict[int, Construct], addressed: Callable[[int, int], bool]) -> Construct:
    """One whole frame: address, function, its fields, check, and no byte after it."""
    return Struct(
        "body"
        / RawCopy(
            Struct(
                "address" / Byte,
                "function" / Byte,
                Check(lambda frame: addressed(frame.address, frame.function)),
                Check(lambda frame: frame.function in functions),
                "fields" / Switch(this.function, functions),
            )
        ),
        "check" / Checksum(Int16ul, check_of, this.body.data),
        Terminated,
    )


_READ = Struct("start" / Int16ub, "count" / Int16ub)
_WRITE_ONE = Struct("register" / Int16ub, "value" / Int16ub)
_WRITE_MANY = Struct(
    "start" / Int16ub,
    "count" / Rebuild(Int16ub, lambda fields: len(fields["values"])),
    "size" / Rebuild(Byte, lambda fields: 2 * len(fields["values"])),
    Check(lambda fields: fields.size == 2 * fields.count),
    "values" / Int16ub[this.count],
)
_VALUES = Struct(
    "size" / Rebuild(Byte, lambda fields: 2 * len(fields["values"])),
    Check(lambda fields: fields.size % 2 == 0),
    "values" / Int16ub[lambda fields: fields.size // 2],
)
_SEARCH = Struct("low" / Int32ub, "high" / Int32ub, "only" / Byte, "slots" / Byte, "tenths" / Int16ub, "draw" / Int16ub)
_FOUND = Struct("serial" / Int32ub)
_ASSIGN = Struct("serial" / Int32ub, "new_address" / Byte)
_EXCEPTION = Struct("exception" / Byte, Check(this.exception > 0))

_REQUEST = _frame(
    {3: _READ, 6: _WRITE_ONE, 16: _WRITE_MANY, 65: _SEARCH, 66: _ASSIGN},
    lambda address, function: function < 65 or address == 0,  # our own go to all
)
_REPLY = _frame(
    {3: _VALUES, 6: _WRITE_ONE, 16: _READ, 65: _FOUND, 66: _ASSIGN}
    | {_REFUSED | function: _EXCEPTION for function in range(1, _REFUSED)},
    lambda address, _: address >= 1,  # as for the broadcast: no answer
)


def parse_request(raw: bytes) -> dict[str, Any] | None:
    """The fields of a request, or None when `raw` is not exactly one valid frame. Raises nothing."""
    return _parse(_REQUEST, raw)


def parse_reply(raw: bytes) -> dict[str, Any] | None:
    """The fields of a reply, or None when `raw` is not exactly one valid frame. Raises nothing."""
    return _parse(_REPLY, raw)


def build_request(fields: dict[str, Any]) -> bytes:
    """The frame of a request. Raises Defect when the fields make none."""
    return _build(_REQUEST, fields, fields.get("function"))


def build_reply(fields: dict[str, Any]) -> bytes:
    """The frame of a reply. Raises Defect when the fields make none."""
    function = fields.get("function")
    if "exception" in fields and isinstance(function, int):
        function |= _REFUSED
    return _build(_REPLY, fields, function)


def _parse(definition: Construct, raw: bytes) -> dict[str, Any] | None:
    if len(raw) > FRAME_BYTES:
        return None
    try:
        body = definition.parse(raw).body.value
    except ConstructError:
        return None
    # What construct keeps of itself starts with an underscore; sizes and counts that follow from the values go too.
    derived = ("size", "count") if "values" in body.fields else ()
    fields = {name: value for name, value in body.fields.items() if name[0] != "_" and name not in derived}
    if "values" in fields:
        fields["values"] = list(fields["values"])
    return {"address": body.address, "function": body.function & ~_REFUSED, **fields}


def _build(definition: Construct, fields: dict[str, Any], function: Any) -> bytes:
    try:
        body = {"address": fields["address"], "function": function, "fields": fields}
        raw = bytes(definition.build({"body": {"value": body}}))
    except (ConstructError, KeyError, TypeError, ValueError) as error:
        raise Defect(f"no MODBUS frame has the fields {fields}: {error}") from error
    if len(raw) > FRAME_BYTES:
        raise Defect(f"a MODBUS frame has at most {FRAME_BYTES} bytes, these fields need {len(raw)}")
    return raw
