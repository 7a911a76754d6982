"""Copper: resistance of a wire by gauge and temperature, and the largest fuse that protects it.

A gauge is an AWG number as a float, because a cross-section in mm2 falls between two numbers.
"""

from __future__ import annotations

import math

from busim.foundation.errors import UserError
from busim.physics.electric.bounds import not_negative

RESISTIVITY = 1.7241e-8  # ohm m at 20 C: annealed copper; HyperPhysics wire table (from Floyd), ASTM B258
PER_KELVIN = 0.00393  # of the resistance at 20 C; second-hand, NIST coefficient
COLD, WARM = 20.0, 75.0  # C: the temperature of the tables, and of a loaded conductor
THICKEST, THINNEST = 0.0, 40.0
_LEAST_CELSIUS, _MOST_CELSIUS = -60.0, 200.0

# A, by gauge: NEC 240.4(D) for small copper conductors (second-hand).
_CODE_FUSES = {18: 7.0, 16: 10.0, 14: 15.0, 12: 20.0, 10: 30.0}


def diameter(gauge: float) -> float:
    """Diameter of a conductor, m: 0.127 mm x 92^((36 - n)/39). ASTM B258. `gauge` 0 to 40, else UserError."""
    if not THICKEST <= gauge <= THINNEST:
        raise UserError("not the gauge of a cable", found=f"AWG {gauge:g}", expected="AWG 0 to 40")
    return float(0.127e-3 * 92 ** ((36 - gauge) / 39))


def area(gauge: float) -> float:
    """Cross-section of a conductor, m2. Raises as `diameter`."""
    return math.pi / 4 * diameter(gauge) ** 2


def copper(gauge: float, celsius: float = COLD) -> float:
    """Resistance of one conductor, ohm per metre: resistivity over cross-section, x (1 + 0.00393 (T - 20)).

    HyperPhysics wire table (from Floyd) and ASTM B258; the temperature coefficient second-hand (NIST). Solid copper:
    a stranded wire of the same gauge has a few per cent more. Raises UserError outside AWG 0 to 40 and -60 to 200 C.
    """
    if not _LEAST_CELSIUS <= celsius <= _MOST_CELSIUS:
        raise UserError(
            "not the temperature of a cable",
            found=f"{celsius:g} C",
            expected=f"{_LEAST_CELSIUS:g} to {_MOST_CELSIUS:g} C",
        )
    return RESISTIVITY / area(gauge) * (1 + PER_KELVIN * (celsius - COLD))


def loop(gauge: float, metres: float, celsius: float = COLD) -> float:
    """Loop resistance of a pair of this length (there and back), ohm. Raises as `copper`, and for a negative length."""
    return 2 * not_negative(metres, "length of a cable") * copper(gauge, celsius)


def fuse_limit(gauge: float) -> float:
    """The largest fuse that should protect a pair of this gauge, A.

    NEC 240.4(D) for AWG 18 to 10: 7, 10, 15, 20, 30 A (second-hand; a gauge between two counts as the thinner). The
    code has no figure for thinner ones: they get the current density of AWG 18 (derived), which is on the safe
    side, because thin wires cool better. Thicker ones get that of AWG 10. Advice only: the local code decides.
    """
    size = area(gauge)  # refuses an invalid gauge
    if gauge > 18:
        return _CODE_FUSES[18] * size / area(18)
    if gauge < 10:
        return _CODE_FUSES[10] * size / area(10)
    return _CODE_FUSES[min(listed for listed in _CODE_FUSES if listed >= gauge)]
