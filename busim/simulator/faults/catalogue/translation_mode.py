"""A converter translates between two framings, and the master speaks the other one."""

from __future__ import annotations

from collections.abc import Callable

from busim.simulator.fault_hooks import Remove, remove_all
from busim.simulator.faults.benches import ConverterBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Values, word
from busim.simulator.faults.passages import cover_down, cover_up

_HEADER = 6  # bytes ahead of the unit number: transaction, protocol 0, length
_CHECK = 2


def framed(data: bytes) -> bool:
    """Whether bytes begin with the header: protocol number 0, and the length of what follows."""
    return len(data) > _HEADER + 2 and data[2:4] == b"\0\0" and int.from_bytes(data[4:6]) == len(data) - _HEADER


def _put(bench: ConverterBench, values: Values) -> Remove:
    number = [0]

    def down(data: bytes, pass_on: Callable[[bytes, int], None]) -> None:
        if framed(data):
            pass_on(data[_HEADER:], 0)
        else:
            bench.effect(f"{len(data)} bytes without a header are dropped")

    def up(data: bytes, pass_on: Callable[[bytes, int], None]) -> None:
        body = data[:-_CHECK] or data
        number[0] = number[0] + 1 & 0xFFFF
        bench.effect(f"header {number[0]} ahead of {len(body)} bytes")
        pass_on(number[0].to_bytes(2) + b"\0\0" + len(body).to_bytes(2) + body, 0)

    removes = []
    if values["way"] != "to-line":
        removes.append(cover_up(bench, up))
    if values["way"] != "to-net":
        removes.append(cover_down(bench, down))
    return remove_all(*removes)


FAULT = Fault(
    name="translation-mode",
    code="C13",
    title="A converter in translation mode",
    on="converter",
    hook="converter",
    wire="Requests without the header that the converter expects do not reach the line.",
    seen="A connection that opens and never answers; or replies with six bytes ahead, which look like a counter, and "
    "without their checksum.",
    parameters=(word("way", "which way it translates", "both", "to-line", "to-net"),),
    put=_put,
    hides=("requests", "replies", "swallowed-requests"),
    source="MODBUS Messaging on TCP/IP Implementation Guide V1.0b, 3.1.3, for the header; from memory",
)
