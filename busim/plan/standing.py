"""Real ports that stand on a line themselves, without a box in the plan."""

from __future__ import annotations

from busim.foundation.units import Spread
from busim.plan.types import ConverterPlan, Place, Plan

_HERE = "127.0.0.1"  # where a session joins them, at a port of the system's choice


def standing(place: Place) -> ConverterPlan:
    """A port as the converter that emulates it: each byte passes at once. Its name is its target."""
    return ConverterPlan(place.name, _HERE, 0, 0, latency=Spread(0, 0), real_port=place.name)


def served(plan: Plan) -> tuple[ConverterPlan, ...]:
    """All that a session serves: the converters of a plan, and the ports that stand on its lines."""
    ports = (standing(place) for line in plan.lines for place in line.order if place.kind == "port")
    return (*plan.converters, *ports)
