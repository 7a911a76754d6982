"""Fail-safe bias: resistors that pull A up and B down, so that an undriven pair still reads as idle.

The terminators lie between A and B, and every receiver loads both wires to earth with its input resistance. The voltage
between A and B must exceed the threshold of a receiver everywhere on the cable. The network is solved as planned.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from busim.foundation.errors import UserError
from busim.physics.electric.bounds import not_negative, positive
from busim.physics.electric.pair import MOST_UNIT_LOADS, UNIT_LOAD_OHMS

_Numbers = npt.NDArray[np.float64]

_NO_CABLE = 1e-6  # ohm: less than any joint; positions this close are one node

# ohm: the load that a driver must drive with 1.5 V; TIA/EIA-485-A via ADI AN-960 (from memory)
LEAST_DRIVER_LOAD = 54.0


@dataclass(frozen=True, slots=True)
class Bias:
    """One bias: `volts` through `ohms` to A, and as many ohms from B to earth."""

    volts: float
    ohms: float


@dataclass(frozen=True, slots=True)
class Hung:
    """The loads on the pair at one position. `terminators` in ohms: only those that carry a steady current, so none
    with a capacitor in series."""

    biases: tuple[Bias, ...] = ()
    terminators: tuple[float, ...] = ()
    unit_loads: float = 0.0


def bias_resistor(volts: float, undriven_volts: float, impedance: float) -> float:
    """The bias resistor, ohm: V / (Vab (1/375 + 4/Z0)). TI SLLA272 sec. 7.

    375 ohm are 32 unit loads. The formula assumes that the terminator beside the bias is made larger until both
    together match the cable; beside two terminators of Z0 the same resistor leaves less (`undriven`). Raises UserError.
    """
    loads = MOST_UNIT_LOADS / UNIT_LOAD_OHMS
    per_volt = loads + 4 / positive(impedance, "impedance")
    return positive(volts, "supply voltage") / (positive(undriven_volts, "undriven voltage") * per_volt)


def bias_divider(volts: float, ohms: float, undriven_volts: float) -> float:
    """The largest bias resistor on each side that leaves this voltage over `ohms`, ohm: ohms (V/Vab - 1) / 2.

    Derived: a divider without unit loads. Raises UserError, also if `volts` does not exceed `undriven_volts`.
    """
    ratio = positive(volts, "supply voltage") / positive(undriven_volts, "undriven voltage")
    return positive(ohms, "resistance") * positive(ratio - 1, "voltage to spare") / 2


def driver_load(hung: Sequence[Hung]) -> float:
    """The load of a driver between A and B, ohm: terminators, biases (both resistors in series) and unit loads.

    The cable counts without resistance, the worst case. Infinite without any load. Derived; a driver can drive
    54 ohm (`LEAST_DRIVER_LOAD`). Raises UserError.
    """
    siemens = sum(
        sum(1 / positive(ohms, "terminator") for ohms in at.terminators)
        + sum(1 / (2 * positive(bias.ohms, "bias resistor")) for bias in at.biases)
        + not_negative(at.unit_loads, "unit load") / (2 * UNIT_LOAD_OHMS)
        for at in hung
    )
    return 1 / siemens if siemens else float("inf")


def undriven(hung: Sequence[Hung], loops: Sequence[float]) -> tuple[float, ...]:
    """Voltage between A and B at every position of the undriven pair, V.

    `loops`: ohms there and back from each position to the next, one fewer than positions. The nodes A and B of every
    position are solved together (Kirchhoff's current law); positions without cable between them are one. Without any
    bias all voltages are 0. Raises UserError.
    """
    if len(loops) != max(len(hung) - 1, 0):
        raise UserError(
            "the number of cables does not fit the number of positions",
            found=f"{len(loops)}",
            expected=f"{max(len(hung) - 1, 0)}",
        )
    if not any(at.biases for at in hung):
        return (0.0,) * len(hung)
    node = [0]
    for ohms in loops:
        node.append(node[-1] + (not_negative(ohms, "resistance") > _NO_CABLE))
    a, b = _solved(hung, node, [ohms for ohms in loops if ohms > _NO_CABLE])
    return tuple(float(a[index] - b[index]) for index in node)


def _solved(hung: Sequence[Hung], node: Sequence[int], loops: Sequence[float]) -> tuple[_Numbers, _Numbers]:
    """Voltages of wire A and wire B at each node. Rows 0 to n-1 are A, n to 2n-1 are B."""
    n = node[-1] + 1
    siemens = np.zeros((2 * n, 2 * n))
    amperes = np.zeros(2 * n)

    def between(one: int, other: int, conductance: float) -> None:
        siemens[one, one] += conductance
        siemens[other, other] += conductance
        siemens[one, other] -= conductance
        siemens[other, one] -= conductance

    for at, index in zip(hung, node, strict=True):
        for bias in at.biases:
            through = 1 / positive(bias.ohms, "bias resistor")
            siemens[index, index] += through
            siemens[n + index, n + index] += through
            amperes[index] += positive(bias.volts, "supply voltage") * through
        for ohms in at.terminators:
            between(index, n + index, 1 / positive(ohms, "terminator"))
        to_earth = not_negative(at.unit_loads, "unit load") / UNIT_LOAD_OHMS
        siemens[index, index] += to_earth
        siemens[n + index, n + index] += to_earth
    for index, ohms in enumerate(loops):
        between(index, index + 1, 2 / ohms)  # each wire has half of the loop
        between(n + index, n + index + 1, 2 / ohms)
    volts: _Numbers = np.linalg.solve(siemens, amperes).astype(np.float64)
    return volts[:n], volts[n:]
