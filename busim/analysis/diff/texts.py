"""Values of a plan as texts with units, for both sides of a change.

Times are rounded. If rounding makes two different values look equal, both are written in full.
"""

from __future__ import annotations

from dataclasses import fields, is_dataclass
from fractions import Fraction
from typing import Any

from busim.foundation.units import CharFormat, FrameRate, Range, Spread, show_time
from busim.plan import Place

_TIMES = {
    "arbitration_time_out", "back_off", "every", "gap", "hold", "hold_slot", "idle_close", "jitter", "keep_alive_every",
    "latency", "lead", "listen", "packing", "packing_idle", "redial", "starts_at", "time_out", "turnaround",
}  # fmt: skip
_UNITS = {
    "at_metres": "m", "baud": "Bd", "capacitor": "F", "chatter": "/s", "clock_ppm": "ppm", "fuse": "A", "idle": "W",
    "impedance": "ohm", "length": "m", "limit": "W", "metres": "m", "moves": "/s", "ohms": "ohm", "peak": "W",
    "rate": "/s", "shutter": "s", "start_up": "W", "stub": "m", "voltage": "V", "volts": "V",
}  # fmt: skip


def pair(field: str, before: Any, after: Any) -> tuple[str, str]:
    """Texts of both values of a field, which differ because the values do."""
    one, other = shown(field, before), shown(field, after)
    return (one, other) if one != other else (_exact(before), _exact(after))


def shown(field: str, value: Any) -> str:
    """Text of a value of the field with this name."""
    if value is None:
        return "not set"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, bytes):
        return value.hex(" ").upper() or "none"
    if isinstance(value, Place):
        return place(value)
    if isinstance(value, tuple):
        return ", ".join(shown(field, entry) for entry in value) or "none"
    if isinstance(value, (Spread, Range)):
        low, high = shown(field, value.low), shown(field, value.high)
        return low if low == high else f"{low} to {high}"
    if isinstance(value, (CharFormat, FrameRate)):
        return str(value)
    if is_dataclass(value):
        return ", ".join(f"{part.name} {shown(part.name, getattr(value, part.name))}" for part in fields(value))
    return _number(field, value)


def _number(field: str, value: Any) -> str:
    if field in _TIMES and isinstance(value, int):
        return show_time(value) if value else "0"
    if field in ("gauge", "supply_gauge"):
        return f"AWG {value:g}"
    unit = f" {_UNITS[field]}" if field in _UNITS else ""
    if isinstance(value, Fraction):
        return (f"{float(value):.12g}" if value.denominator == 1 else str(value)) + unit
    return (f"{value:g}" if isinstance(value, float) else str(value) or "empty") + unit


def _exact(value: Any) -> str:
    """Text of a value without rounding."""
    if isinstance(value, tuple):
        return ", ".join(map(_exact, value)) or "none"
    return repr(value)


def place(one: Place) -> str:
    """A position of a line: station, metres and its extra values."""
    parts = [f"{one.kind} {one.name!r}" if one.name else one.kind, f"at {one.metres:g} m"]
    parts += [f"{name} {shown(name, value)}" for name, value in extras(one).items()]
    return " ".join(parts)


def extras(one: Place) -> dict[str, Any]:
    """Values of a position besides station and metres, without defaults."""
    said: dict[str, Any] = {"gauge": one.gauge, "stub": one.stub or None, "ohms": one.ohms, "capacitor": one.capacitor}
    said["supply_pair"] = None if one.supply_pair == "joined" else one.supply_pair
    return {name: value for name, value in said.items() if value is not None}
