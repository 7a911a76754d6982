"""Check algorithms by name: xor, sums, LRC, and every CRC of the RevEng catalogue.

The XOR of bytes is the remainder modulo x^8 + 1, so the CRC engine computes it too, in C.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from functools import cache

from anycrc import CRC, Model, aliases, models

Sum = Callable[[bytes], int]
PLAIN = ("xor", "sum", "sum-16", "lrc")
_NAME = re.compile(r"CRC(\d+[A-Z]?)(?:-(.+))?")


@cache
def catalogue() -> dict[str, str]:
    """The catalogue's names, as `CRC-16/MODBUS`, and its aliases, as `CRC-16/IBM`; each with the engine's name."""
    found = {_written(name): name for name in models}
    return found | {_written(alias): name for alias, name in aliases.items() if _written(alias) not in found}


def checks() -> dict[str, tuple[str, ...]]:
    """Every check by its name, with its other names."""
    also: dict[str, list[str]] = {_written(name): [] for name in models}
    for name, engine in catalogue().items():
        if name != _written(engine):
            also[_written(engine)].append(name)
    return {**dict.fromkeys(PLAIN, ()), **{name: tuple(sorted(others)) for name, others in also.items()}}


def _written(name: str) -> str:
    """The engine's `CRC16-MODBUS` as the catalogue writes it."""
    match = _NAME.fullmatch(name)
    if match is None:
        return name
    return f"CRC-{match[1]}/{match[2]}" if match[2] else f"CRC-{match[1]}"


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
