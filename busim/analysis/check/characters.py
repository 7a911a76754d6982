"""What characters must be like for two stations to understand each other, beside being set alike.

Both receivers find their bits by counting from a start edge. With 16 ticks a bit, the last sample of a ten-bit
character lies 152 ticks behind it. On a normal link it may be off by 5 of them, on a nasty one by 3, for both ends
together: Analog Devices / Maxim tutorial 2141.
"""

from __future__ import annotations

from fractions import Fraction

from busim.foundation.units import CharFormat
from busim.protocols import BusProtocol, DeclaredProtocol, ModbusRtu

NORMAL_LINK = 5 / 152
NASTY_LINK = 3 / 152
# Two settings that differ by less are one baud, and what is between them is a matter of clocks: MODBUS over Serial
# Line V1.02, 3.2, has 2 % for a receiver.
SAME_BAUD = Fraction(2, 100)


def loses_bits(form: CharFormat, protocol: BusProtocol | None) -> bool:
    """Whether characters carry less than the bytes of a protocol; of protocols that packages bring it is not known."""
    if isinstance(protocol, DeclaredProtocol):
        return form.data_bits < 8 and not protocol.declaration.in_text
    return form.data_bits < 8 and isinstance(protocol, ModbusRtu)
