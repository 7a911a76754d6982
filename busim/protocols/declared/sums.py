"""Check algorithms by name: xor, sums, LRC, and every CRC of the RevEng catalogue.

The XOR of bytes is the remainder modulo x^8 + 1, so the CRC engine computes it too, in C.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from functools import cache

from anycrc import CRC, Model, models

Sum = Callable[[bytes], int]
PLAIN = ("xor", "sum", "sum-16", "lrc")
_NAME = re.compile(r"CRC(\d+)-(.+)")


@cache
def catalogue() -> dict[str, str]:
    """The catalogue's names, as `CRC-16/MODBUS`, and what the engine calls them."""
    found = {name: _NAME.fullmatch(name) for name in models}
    return {f"CRC-{match[1]}/{match[2]}": name for name, match in found.items() if match}


def width_of(kind: str) -> int:
    """Bits of the check. `kind`: one of PLAIN or of the catalogue."""
    if kind in PLAIN:
        return 16 if kind == "sum-16" else 8
    return int(models[catalogue()[kind]].width)


def summer(kind: str) -> Sum:
    """A function from bytes to the check's number. `lrc`: the two's complement of the 8-bit sum (MODBUS over Serial
    Line V1.02, 6.2.1)."""
    if kind == "xor":
        return CRC(8, 0x01, 0, False, False, 0).calc  # type: ignore[no-any-return]
    if kind == "sum":
        return lambda data: sum(data) & 0xFF
    if kind == "sum-16":
        return lambda data: sum(data) & 0xFFFF
    if kind == "lrc":
        return lambda data: -sum(data) & 0xFF
    return Model(catalogue()[kind]).calc  # type: ignore[no-any-return]
