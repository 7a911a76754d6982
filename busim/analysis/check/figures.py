"""Computed numbers as a finding says them: so that found and expected can be held against each other by eye."""

from __future__ import annotations

from busim.physics.electric import area


def metres(length: float) -> str:
    """A length with no more digits than a tape measure gives, and never in powers of ten."""
    return f"{length:.0f} m" if length >= 100 else f"{length:.3g} m"


def beyond(value: float, bound: float) -> str:
    """A value with three digits, or as many more as tell it from the bound that it breaks: never "12, at most 12"."""
    for digits in range(3, 12):
        rounded = float(f"{value:.{digits}g}")
        if rounded != bound:
            break
    return f"{rounded:.12g}"


def wire(gauge: float) -> str:
    """A wire by its gauge, or by its cross-section where it is none of the gauges."""
    return f"AWG {gauge:.0f}" if abs(gauge - round(gauge)) < 0.05 else f"{area(gauge) * 1e6:.2g} mm2"
