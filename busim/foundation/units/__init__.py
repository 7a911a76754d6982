"""Quantities of a plan: text with a unit in, exact numbers out.

Time is an integer of nanoseconds everywhere in busim. A baud rate is a rational number, so no rounded bit time is ever
summed. Electrical quantities are floats in their base units.

Open `quantities.py` first.
"""

from busim.foundation.units.electrical import (
    Range,
    parse_capacitance,
    parse_current,
    parse_gauge,
    parse_power,
    parse_range,
    parse_resistance,
    parse_voltage,
)
from busim.foundation.units.formats import CharFormat
from busim.foundation.units.pictures import FrameRate, parse_frame_rate, parse_shutter
from busim.foundation.units.quantities import (
    Spread,
    parse_baud,
    parse_coordinate,
    parse_length,
    parse_rate,
    parse_signed_time,
    parse_spread,
    parse_time,
    show_time,
)

__all__ = [
    "CharFormat",
    "FrameRate",
    "Range",
    "Spread",
    "parse_baud",
    "parse_capacitance",
    "parse_coordinate",
    "parse_current",
    "parse_frame_rate",
    "parse_gauge",
    "parse_length",
    "parse_power",
    "parse_range",
    "parse_rate",
    "parse_resistance",
    "parse_shutter",
    "parse_signed_time",
    "parse_spread",
    "parse_time",
    "parse_voltage",
    "show_time",
]
