"""One expected number beside one measured number, and the verdict.

A difference within the tolerance holds. Beyond it, mean exchange, cycle and their consequences still hold within three
standard errors. Moves do not: they must be measured long enough. If the interval of the measured value reaches into the
tolerance, there were too few observations. A bound holds if nothing exceeded it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from busim.recording.figures import mean_interval, quantile_interval, standard_error

Array = npt.NDArray[np.float64]

HOLDS, TOO_FEW, DIFFERS = "holds", "too few", "differs"
# share of the expected value
TOLERANCES = {
    "exchange": 0.01,
    "cycle": 0.01,
    "poll_rate": 0.01,
    "move_mean": 0.03,
    "move_p95": 0.05,
    "age_mean": 0.03,
    "latency_p50": 0.03,
    "latency_p95": 0.03,
    "latency_p99": 0.03,
    "occupancy": 0.03,
    "load": 0.03,
    # several masters behind an arbitrating converter: the queue they meet is taken as random
    "shared_exchange": 0.06,
    "shared_rate": 0.03,
}
_ERRORS = 3
_ROUNDING = 1e-9  # of a value: two sums of the same times


@dataclass(frozen=True, slots=True)
class Check:
    """`name`: a quantity, or exchange, cycle, move_mean; `of`: its camera or group, "" for the line. Seconds, /s or
    shares.

    `low`, `high`: the 95 % interval of `measured`, None if unknown. `tolerance`: share of the expected value, None for
    a bound. `count`: the observations behind `measured`.
    """

    name: str
    of: str
    unit: str
    expected: float
    measured: float
    count: int
    low: float | None
    high: float | None
    tolerance: float | None
    verdict: str

    @property
    def difference(self) -> float:
        """Measured over expected, less 1."""
        return self.measured / self.expected - 1 if self.expected else 0.0


def mean_check(name: str, of: str, expected: float, values: Array) -> Check:
    """A mean of values in order of time; three standard errors count as within the tolerance."""
    measured, error, half = float(values.mean()), standard_error(values), mean_interval(values)
    allowed = TOLERANCES[name] * expected
    close = abs(measured - expected) <= max(allowed, _ERRORS * (error or 0.0)) + _ROUNDING * expected
    interval = None if half is None else (measured - half, measured + half)
    return _check(name, of, "s", expected, measured, len(values), interval, close)


def strict_mean_check(name: str, of: str, expected: float, values: Array) -> Check:
    """A mean that must lie within the tolerance, whatever its error."""
    measured, half = float(values.mean()), mean_interval(values)
    interval = None if half is None else (measured - half, measured + half)
    close = abs(measured - expected) <= TOLERANCES[name] * expected
    return _check(name, of, "s", expected, measured, len(values), interval, close)


def quantile_check(name: str, of: str, expected: float, values: Array, share: float) -> Check:
    """A quantile that must lie within the tolerance."""
    measured = float(np.quantile(values, share))
    close = abs(measured - expected) <= TOLERANCES[name] * expected
    return _check(name, of, "s", expected, measured, len(values), quantile_interval(values, share), close)


def plain_check(name: str, of: str, unit: str, expected: float, measured: float, count: int) -> Check:
    """A figure with an unknown error."""
    close = abs(measured - expected) <= TOLERANCES[name] * expected
    return _check(name, of, unit, expected, measured, count, None, close)


def bound_check(name: str, of: str, expected: float, measured: float, count: int) -> Check:
    """A bound, in seconds (measured in whole nanoseconds)."""
    verdict = HOLDS if measured <= expected + 1e-9 else DIFFERS
    return Check(name, of, "s", expected, measured, count, None, None, None, verdict)


def _check(
    name: str, of: str, unit: str, expected: float, measured: float, count: int,
    interval: tuple[float, float] | None, close: bool,
) -> Check:  # fmt: skip
    low, high = interval or (None, None)
    allowed = TOLERANCES[name] * expected
    if close:
        verdict = HOLDS
    elif low is not None and high is not None:
        verdict = TOO_FEW if low <= expected + allowed and high >= expected - allowed else DIFFERS
    else:
        verdict = DIFFERS if count >= 1000 else TOO_FEW
    return Check(name, of, unit, expected, measured, count, low, high, TOLERANCES[name], verdict)
