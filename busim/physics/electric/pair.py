"""The signal pair: how many stations it carries, how long it can be, and the limits of its ends and stubs.

Sources: TIA/EIA-485-A as quoted by TI SLLA272 ("The RS-485 Design Guide") and ADI AN-960; MODBUS over Serial Line
V1.02; for the whole of it TIA TSB-89-A, the application guidelines (from memory).
"""

from __future__ import annotations

import math

from busim.foundation.errors import UserError
from busim.physics.electric.bounds import Published, not_negative, positive

LIGHT = 299_792_458.0  # m/s
IMPEDANCE = 120.0  # ohm: TI SLLA272 sec. 6, ADI AN-960
MODBUS_TERMINATOR = 150.0  # ohm; or 120 ohm in series with 1 nF where there is bias: MODBUS V1.02, 3.4.5
TERMINATORS = 2  # one at each end: TI SLLA272 sec. 6, AN-960, MODBUS V1.02, 3.4.5

UNIT_LOAD_OHMS = 12_000.0  # at least, for one unit load: TIA/EIA-485-A via TI SLLA272 and ADI AN-960 table 1
MOST_UNIT_LOADS = 32.0  # the same
# Unit loads that a fail-safe bias leaves of the 32: two published figures that do not agree.
BESIDE_BIAS = (
    Published(12.0, "TI SLLA272 sec. 8: a bias costs up to 20 unit loads"),
    Published(28.0, "MODBUS over Serial Line V1.02, 3.4.6: a bias costs 4 unit loads"),
)

THRESHOLD = 0.2  # V either way: ADI AN-960 table 3
FAIL_SAFE_THRESHOLD = -0.03  # V: from here up a true fail-safe receiver reads 1 (-200 to -30 mV): ADI AN-960 table 3

# m bit/s: limit of length times bit rate, two published figures that do not agree.
WIDELY_QUOTED = Published(1e8, "widely quoted; agrees with 4000 ft at 100 kbit/s and 40 ft at 10 Mbit/s in TI SLLA272")
CAUTIOUS = Published(1e7, "TI SLLA272 sec. 9")
LONGEST = Published(1200.0, "TIA/EIA-485-A (4000 ft), via TI SLLA272 sec. 9")
# At 9600 baud on AWG 26.
THIN_LINE = Published(1000.0, "MODBUS over Serial Line V1.02, 3.4.3")
THINNEST_LINE = 26.0  # AWG: the same

LONGEST_DERIVATION = 20.0  # m: MODBUS V1.02, 3.4.3
_TAP = 40.0  # m, shared by the ports of one tap: the same


def devices(unit_load: float, unit_loads: float = MOST_UNIT_LOADS) -> int:
    """The number of stations with this unit load that fit on a line: 32 of 1, 256 of 1/8.

    TIA/EIA-485-A via TI SLLA272 and ADI AN-960 table 1. Raises UserError for no unit load.
    """
    return math.floor(unit_loads / positive(unit_load, "unit load") + 1e-9)


def receiver_reads(volts: float, *, fail_safe: bool = False) -> int | None:
    """The level that a receiver reads at this difference of A and B: 1, 0, or None if undefined.

    1 from +200 mV up, 0 from -200 mV down, undefined between; a true fail-safe part reads 1 from -30 mV up.
    ADI AN-960 table 3.
    """
    if volts >= (FAIL_SAFE_THRESHOLD if fail_safe else THRESHOLD):
        return 1
    return 0 if volts <= -THRESHOLD else None


def reflection(ohms: float, impedance: float = IMPEDANCE) -> float:
    """The share of a wave that an end reflects, (R - Z)/(R + Z): 0 where matched, 1 where open, -1 where shorted.

    Any text on transmission lines; that an end should match: TI SLLA272 sec. 6. Infinite ohms are an open end.
    """
    positive(impedance, "impedance")
    if math.isinf(ohms) and ohms > 0:
        return 1.0
    not_negative(ohms, "resistance")
    return (ohms - impedance) / (ohms + impedance)


def stub_limit(rise_ns: float, velocity: float) -> float:
    """The longest stub, m: (rise time / 10) x v x c. TI SLLA272 sec. 6. `velocity` is a share of the speed of light.

    Raises UserError.
    """
    return positive(rise_ns, "rise time") * 1e-9 / 10 * _speed(velocity)


def derivation_limit(ports: int = 1) -> float:
    """The longest derivation cable, m: 20, and at a tap of n ports 40/n each. MODBUS V1.02, 3.4.3. Raises UserError."""
    return min(LONGEST_DERIVATION, _TAP / positive(ports, "number of ports"))


def longest(baud: float, product: Published, gauge: float = 24.0) -> float:
    """The longest line at this bit rate, m: product / baud, never over 1200 m; on AWG 26 and at up to 9600 Bd 1000 m.

    TI SLLA272; MODBUS V1.02, 3.4.3, which gives its figure for 9600 Bd and AWG 26 or thicker (thinner wire has no
    published figure and gets the same limit). `product` is WIDELY_QUOTED or CAUTIOUS. Raises UserError.
    """
    reach = min(product.value / positive(baud, "bit rate"), LONGEST.value)
    return min(reach, THIN_LINE.value) if gauge >= THINNEST_LINE else reach


def loop_loss_db(loop_ohms: float, load_ohms: float) -> float:
    """Loss of a steady level over a cable into its terminator, dB (negative): 20 log10(load / (load + loop)).

    TI SLLA272 sec. 9; derived. Raises UserError.
    """
    load = positive(load_ohms, "load")
    return 20 * math.log10(load / (load + not_negative(loop_ohms, "resistance")))


def propagation_ns(metres: float, velocity: float) -> float:
    """Propagation delay, ns: metres / (v c). Derived. Raises UserError."""
    return not_negative(metres, "length of a cable") * (1e9 / _speed(velocity))


def _speed(velocity: float) -> float:
    if not 0 < velocity <= 1:
        raise UserError(
            "not a velocity of a cable", found=f"{velocity:g}", expected="a share of the speed of light, over 0 up to 1"
        )
    return velocity * LIGHT
