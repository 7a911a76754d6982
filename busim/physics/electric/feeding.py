"""Supply over a cable: loads that take the same power at any voltage.

A camera's regulator draws more current when its voltage falls, which increases the drop. Up to a limit there is a
stable voltage. Above it the voltage collapses: the camera starts, stops and starts again. So there is not always a
solution, and `Collapse` is the answer then.

One load has a closed form. For several along a cable, with T(V)_k = V0 - sum over j of R_kj P_j / V_j (R_kj the
resistance that the paths to k and j share), a solution is a fixed point V = T(V). T rises with V and is concave where
V > 0. Newton's method for F(V) = V - T(V) is begun at V0 everywhere, which lies above every solution:

- While the Jacobian J = I - T'(V) is a nonsingular M-matrix, a step keeps at or above every solution (F is convex, the
  inverse of J has no negative entry) and never goes up; so it converges to the highest solution, the one in which a
  supply that comes up settles. J has no positive entry beside its diagonal, so it is such a matrix exactly when
  J x = 1 has a solution x with all entries positive: one solve certifies each step.
- At and above the highest solution T' is smaller, so where a step finds J without that property, or a voltage that is
  not positive, there is no solution at all. (If the highest solution had a Jacobian whose spectral radius of T' is
  above 1, a little above it along the Perron vector T(V) >= V would hold, and by Tarski's theorem there would be a
  higher one.)

Caution: this finds mistakes on paper. Fuses, cable sizes and mains are decided by the local code and a licensed
electrician.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from busim.foundation.errors import UserError
from busim.physics.electric.bounds import not_negative, positive

_Numbers = npt.NDArray[np.float64]

_MOST_STEPS = 200  # convergence is quadratic, and halves the distance at the limit: 60 steps are plenty
_CLOSE = 1e-13  # of the supply voltage
_HALVINGS = 30


@dataclass(frozen=True, slots=True)
class Drop:
    """One load behind a cable: current, voltage at the load, power from the source, power lost in the cable."""

    amperes: float
    volts: float
    source_watts: float

    @property
    def lost_watts(self) -> float:
        return (self.source_watts / self.amperes - self.volts) * self.amperes if self.amperes else 0.0


@dataclass(frozen=True, slots=True)
class Chain:
    """Loads along a cable: V at each, A in the cable before each (the first is the current of the source)."""

    source_volts: float
    volts: tuple[float, ...]
    amperes: tuple[float, ...]

    @property
    def source_amperes(self) -> float:
        return self.amperes[0] if self.amperes else 0.0

    @property
    def source_watts(self) -> float:
        return self.source_volts * self.source_amperes


@dataclass(frozen=True, slots=True)
class Collapse:
    """The loads have no stable voltage. `share`: the share of every load's power that the cable can carry."""

    share: float


def drop(volts: float, ohms: float, watts: float) -> Drop | Collapse:
    """One load of constant power: V at the load = (V + sqrt(V^2 - 4 R P)) / 2.

    From V_load = V - R P / V_load, the higher of the two roots. Tests check it against IEEE 802.3af and 802.3at
    (power second-hand; loop resistance from memory). Raises UserError.
    """
    limit = most_power(volts, ohms)
    if not_negative(watts, "power") > limit:
        return Collapse(limit / watts)
    at_load = (volts + math.sqrt(max(volts * volts - 4 * ohms * watts, 0.0))) / 2
    amperes = watts / at_load
    return Drop(amperes, at_load, volts * amperes)


def most_power(volts: float, ohms: float) -> float:
    """The highest power of a load behind a cable, W: V^2 / 4R, at half the voltage. Infinite without a cable.

    Derived. Raises UserError.
    """
    positive(volts, "supply voltage")
    return volts * volts / (4 * ohms) if not_negative(ohms, "resistance") else math.inf


def chain(volts: float, loops: Sequence[float], watts: Sequence[float]) -> Chain | Collapse:
    """The voltages along a daisy chain of loads of constant power, or Collapse if there is no solution.

    `loops`: ohms there and back from the source to the first load, from that to the second, and so on; `watts`: power
    of each load. The head of the module proves the answer. Raises UserError.
    """
    found = branches(volts, 0.0, [(loops, watts)])
    return found if isinstance(found, Collapse) else found[0]


def branches(
    volts: float, trunk: float, chains: Sequence[tuple[Sequence[float], Sequence[float]]]
) -> tuple[Chain, ...] | Collapse:
    """Several daisy chains from the end of one cable of `trunk` ohms there and back, each (loops, watts) as in `chain`.

    The chains' `source_volts` is the voltage at that end. Collapse if there is no solution for all together. Raises
    UserError.
    """
    positive(volts, "supply voltage")
    power = np.array([not_negative(each, "power") for _, watts in chains for each in watts], dtype=float)
    shared = np.full((len(power), len(power)), not_negative(trunk, "resistance"))
    ends = [0]
    for loops, watts in chains:
        if len(loops) != len(watts):
            raise UserError(
                "the number of cables does not fit the number of loads",
                found=f"{len(loops)} cables",
                expected=f"{len(watts)}",
            )
        ways = np.cumsum([not_negative(ohms, "resistance") for ohms in loops])
        part = slice(ends[-1], ends[-1] + len(watts))
        shared[part, part] += np.minimum.outer(ways, ways)
        ends.append(part.stop)
    settled = _settled(volts, shared, power)
    if settled is None:
        return Collapse(_share(volts, shared, power))
    drawn = power / settled
    at_end = float(volts - trunk * drawn.sum())
    return tuple(_chain(at_end, settled[a:b], drawn[a:b]) for a, b in pairwise(ends))


def _chain(volts: float, at: _Numbers, drawn: _Numbers) -> Chain:
    return Chain(volts, tuple(at.tolist()), tuple(np.cumsum(drawn[::-1])[::-1].tolist()))


def _settled(volts: float, shared: _Numbers, power: _Numbers) -> _Numbers | None:
    """The highest solution, or None."""
    if not len(power):
        return np.zeros(0)
    at: _Numbers = np.full(len(power), volts)
    both = np.ones((len(power), 2))
    for _ in range(_MOST_STEPS):
        both[:, 0] = at - volts + shared @ (power / at)  # F
        jacobian = np.eye(len(power)) - shared * (power / at**2)
        try:
            step, certificate = np.linalg.solve(jacobian, both).T
        except np.linalg.LinAlgError:
            return None
        if certificate.min() <= 0:
            return None
        at = at - step
        if at.min() <= 0:
            return None
        if abs(step).max() <= _CLOSE * volts:
            return at
    return None  # no convergence: the loads are exactly at the limit


def _share(volts: float, shared: _Numbers, power: _Numbers) -> float:
    low, high = 0.0, 1.0
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        if _settled(volts, shared, power * middle) is None:
            high = middle
        else:
            low = middle
    return low
