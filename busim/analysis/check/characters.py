"""Limits for characters between two stations with equal settings: clock difference and data bits.

Both receivers find their bits by counting from a start edge. With 16 ticks per bit, the last sample of a ten-bit
character is 152 ticks after it. It may be off by 5 ticks on a normal link, by 3 on a nasty one, for both ends
together: Analog Devices / Maxim tutorial 2141.
"""

from __future__ import annotations

from fractions import Fraction

from busim.foundation.units import CharFormat
from busim.protocols import BusProtocol, ModbusRtu

NORMAL_LINK = 5 / 152
NASTY_LINK = 3 / 152
# Settings that differ by less count as one baud, and their difference as a clock error: MODBUS over Serial
# Line V1.02, 3.2, has 2 % for a receiver.
SAME_BAUD = Fraction(2, 100)
ARBITRARY = "a run shows one arbitrary outcome of many"


def on_edges(ratio: Fraction, whose: str) -> str:
    """What a receiver in the middle of its own bits meets if those that it hears are exactly 2, 4 ... (`ratio`) times
    as short; "" at other ratios. `whose` samples.
    """
    if ratio.denominator != 1 or ratio % 2:
        return ""
    return f"; at exactly 1 to {ratio} each of {whose} samples lies on an edge, so {ARBITRARY}"


def loses_bits(form: CharFormat, protocol: BusProtocol | None) -> bool:
    """Whether characters have too few data bits for the bytes of a protocol; False for protocols from packages."""
    if form.data_bits >= 8:
        return False
    if isinstance(protocol, ModbusRtu):
        return True
    from busim.protocols import DeclaredProtocol  # loaded only where a character is short

    return isinstance(protocol, DeclaredProtocol) and not protocol.declaration.in_text
