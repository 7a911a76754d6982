"""Computed numbers as text in a finding, so that a reader can compare found and expected."""

from __future__ import annotations

from busim.physics.electric import area


def metres(length: float) -> str:
    """A length with the digits of a tape measure, never in powers of ten."""
    return f"{length:.0f} m" if length >= 100 else f"{length:.3g} m"


def beyond(value: float, bound: float) -> str:
    """A value with three digits, or more if it would look equal to its bound: never "12, at most 12"."""
    for digits in range(3, 12):
        rounded = float(f"{value:.{digits}g}")
        if rounded != bound:
            break
    return f"{rounded:.12g}"


def wire(gauge: float) -> str:
    """A wire as AWG gauge, or as cross-section if it is between two gauges."""
    return f"AWG {gauge:.0f}" if abs(gauge - round(gauge)) < 0.05 else f"{area(gauge) * 1e6:.2g} mm2"
