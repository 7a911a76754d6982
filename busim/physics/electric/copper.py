"""Copper: resistance of a wire by gauge, conductor and temperature, and the largest fuse that protects it.

A gauge is an AWG number as a float, because a cross-section in mm2 falls between two numbers. A wire in mm2 has the
highest resistance that IEC 60228 allows; the bare cross-section would give 4 to 13 % too little.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Literal

from busim.foundation.errors import UserError
from busim.physics.electric.bounds import not_negative

RESISTIVITY = 1.7241e-8  # ohm m at 20 C: annealed copper; HyperPhysics wire table (from Floyd), ASTM B258
PER_KELVIN = 0.00393  # of the resistance at 20 C; second-hand, NIST coefficient
COLD, WARM = 20.0, 75.0  # C: the temperature of the tables, and of a loaded conductor
THICKEST, THINNEST = 0.0, 40.0

# How a conductor is made. IEC 60228: class 1, class 2, class 5.
Conductor = Literal["solid", "stranded", "flexible"]

# Maxima of IEC 60228 at 20 C for plain annealed copper, ohm/km by mm2 (from memory). Classes 1 and 2 have the same.
_CLASS_2 = {0.5: 36.0, 0.75: 24.5, 1.0: 18.1, 1.5: 12.1, 2.5: 7.41}
_CLASS_5 = {0.5: 39.0, 0.75: 26.0, 1.0: 19.5, 1.5: 13.3, 2.5: 7.98}
_MAXIMA: Mapping[Conductor, Mapping[float, float]] = {"solid": _CLASS_2, "stranded": _CLASS_2, "flexible": _CLASS_5}
# Resistance of AWG wire over that of solid wire. Stranded: ASTM B8, 2 % for the lay of the strands (from memory).
# Flexible: that, and the 7.7 % by which class 5 exceeds class 2 at 1 mm2 (derived).
_AWG_FACTORS: Mapping[Conductor, float] = {"solid": 1.0, "stranded": 1.02, "flexible": 1.02 * 19.5 / 18.1}
_NOMINAL = 0.005  # relative: a cross-section this near to a nominal one is that one
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


def copper(gauge: float, celsius: float = COLD, conductor: Conductor | None = None) -> float:
    """Resistance of one conductor, ohm per metre, x (1 + 0.00393 (T - 20)). `conductor` None: bare copper of this size.

    AWG: resistivity over cross-section (HyperPhysics wire table, from Floyd; ASTM B258), with 2 % more if stranded
    (ASTM B8, from memory). mm2: the maximum of IEC 60228 for the class (from memory); a cross-section without a row
    there gets the row with the highest resistivity. The temperature coefficient is second-hand (NIST).
    Raises UserError outside AWG 0 to 40 and -60 to 200 C.
    """
    if not _LEAST_CELSIUS <= celsius <= _MOST_CELSIUS:
        raise UserError(
            "not the temperature of a cable",
            found=f"{celsius:g} C",
            expected=f"{_LEAST_CELSIUS:g} to {_MOST_CELSIUS:g} C",
        )
    return _at_20_celsius(gauge, conductor) * (1 + PER_KELVIN * (celsius - COLD))


def _at_20_celsius(gauge: float, conductor: Conductor | None) -> float:
    size = area(gauge)
    if conductor is None:
        return RESISTIVITY / size
    if gauge == round(gauge):
        return RESISTIVITY / size * _AWG_FACTORS[conductor]
    square_mm, rows = size * 1e6, _MAXIMA[conductor]
    nominal = min(rows, key=lambda row: abs(row - square_mm))
    if abs(square_mm / nominal - 1) <= _NOMINAL:
        return rows[nominal] / 1000
    return max(row * ohms for row, ohms in rows.items()) / square_mm / 1000


def loop(gauge: float, metres: float, celsius: float = COLD, conductor: Conductor | None = None) -> float:
    """Loop resistance of a pair of this length (there and back), ohm. Raises as `copper`, and for a negative length."""
    return 2 * not_negative(metres, "length of a cable") * copper(gauge, celsius, conductor)


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
