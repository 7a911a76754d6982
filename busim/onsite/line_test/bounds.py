"""The error rate that a test of so many bits bounds, at 95 %."""

from __future__ import annotations

from math import exp, lgamma, log

CONFIDENCE = 0.95
_STEPS = 80


def rule_of_three(bits: int) -> float:
    """Upper bound of the error rate after no error in `bits` bits: 3 / bits.

    Hanley and Lippman-Hand, "If nothing goes wrong, is everything all right?", JAMA 249:1743, 1983.
    """
    return min(1.0, 3 / bits) if bits else 1.0


def bound(errors: int, bits: int) -> tuple[float, float]:
    """Lower bound and upper bound of the error rate, at 95 % together; without an error the lower one is 0 and the
    upper one follows the rule of three.

    Errors count as Poisson (Garwood, "Fiducial limits for the Poisson distribution", Biometrika 28, 1936; from memory).
    """
    if not bits:
        return 0.0, 1.0
    if not errors:
        return 0.0, rule_of_three(bits)
    tail = (1 - CONFIDENCE) / 2
    high = _mean(errors, tail)  # the mean with which so few errors are that rare
    low = _mean(errors - 1, 1 - tail)  # the mean with which so many are that rare
    return low / bits, min(1.0, high / bits)


def _mean(most: int, share: float) -> float:
    """The Poisson mean with which at most `most` events have this probability."""
    low, high = 0.0, 2.0 * most + 20
    for _ in range(_STEPS):
        middle = (low + high) / 2
        low, high = (middle, high) if _at_most(most, middle) > share else (low, middle)
    return (low + high) / 2


def _at_most(most: int, mean: float) -> float:
    """Poisson probability of at most `most` events. Terms far below the mean, and below the last one, are nothing."""
    if mean <= 0:
        return 1.0
    first = max(0, int(min(most, mean) - 60 - 12 * most**0.5))
    return sum(exp(number * log(mean) - mean - lgamma(number + 1)) for number in range(first, most + 1))
