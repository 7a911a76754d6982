"""Latency: from the sending of a request to the whole reply, of answered exchanges. Quantiles of their mixture."""

from __future__ import annotations

from busim.analysis.budget.distribution import Distribution
from busim.recording.figures import QUANTITIES, Value

_SHARES = {"latency_p50": 0.5, "latency_p95": 0.95, "latency_p99": 0.99}


def value(name: str, number: float | None, why: str = "", kind: str = "computed") -> Value:
    """A figure that is computed, not counted."""
    return Value(QUANTITIES[name], number, 0, "" if number is not None else why, kind)


def latency(parts: list[tuple[float, Distribution]], longest: float) -> dict[str, Value]:
    """Quantiles of these exchanges, each kind by how often it comes, and the longest one. Times in ns."""
    if not parts:
        return {name: value(name, None, "no exchange is answered") for name in (*_SHARES, "latency_max")}
    found = Distribution.mixture(parts).regrouped().quantiles(tuple(_SHARES.values())) / 1e9
    values = {name: value(name, seconds) for name, seconds in zip(_SHARES, found.tolist(), strict=True)}
    values["latency_max"] = value("latency_max", longest / 1e9, kind="bound")
    return values
