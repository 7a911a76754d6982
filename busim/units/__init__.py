"""Quantities of a plan: text with a unit in, exact numbers out.

Time is an integer of nanoseconds everywhere in busim; a baud rate is a rational number, so that no bit
time is ever rounded and then summed.
"""

from busim.units.formats import CharFormat
from busim.units.quantities import (
    Spread,
    parse_baud,
    parse_length,
    parse_rate,
    parse_signed_time,
    parse_spread,
    parse_time,
    show_time,
)

__all__ = [
    "CharFormat",
    "Spread",
    "parse_baud",
    "parse_length",
    "parse_rate",
    "parse_signed_time",
    "parse_spread",
    "parse_time",
    "show_time",
]
