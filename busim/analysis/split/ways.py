"""The length of cable between two stations.

Neighbours on a line with metres: as planned. Two stations at different places: the straight distance between the
coordinates, times a detour, plus an extra for the ends. At one place, or without coordinates, on one line with metres:
along that line. At one place without metres: the extra. Otherwise unknown, and the stations are never neighbours.
"""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np

from busim.analysis.split.routes import Array
from busim.analysis.split.wishes import Wishes
from busim.plan import Plan

Spot = tuple[str, str]  # kind and name


class Ways:
    """`metres` of cable between two stations; `planned`: whether the plan gives them."""

    def __init__(self, plan: Plan, wishes: Wishes) -> None:
        self._wishes = wishes
        self._at = {place.name: place.at for place in plan.places}
        self._stands: dict[Spot, tuple[str, float]] = {}
        self._neighbours: set[frozenset[Spot]] = set()
        for line in plan.lines:
            if line.order and line.order[-1].metres:
                stations = [place for place in line.order if place.kind != "terminator"]
                spots = [(place.kind, place.name) for place in stations]
                self._stands |= {spot: (line.name, at.metres) for spot, at in zip(spots, stations, strict=True)}
                self._neighbours |= {frozenset(pair) for pair in pairwise(spots)}
        self._place: dict[Spot, str | None] = {("camera", one.name): one.place for one in plan.cameras}
        self._place |= {("converter", one.name): one.place for one in plan.converters}

    def add(self, converter: str, place: str | None) -> None:
        """Another converter, on no line yet."""
        self._place["converter", converter] = place

    def located(self, spot: Spot) -> bool:
        """Whether the station has a place with coordinates."""
        return self._at.get(self._place[spot] or "") is not None

    def known(self, one: Spot, other: Spot) -> tuple[float, bool]:
        """Metres, inf if unknown, and whether they are planned."""
        stands = self._stands.get(one), self._stands.get(other)
        along = math.inf
        if stands[0] is not None and stands[1] is not None and stands[0][0] == stands[1][0]:
            along = round(abs(stands[0][1] - stands[1][1]), 6)
            if frozenset((one, other)) in self._neighbours:
                return along, True
        places = self._place[one], self._place[other]
        ends = self._at.get(places[0] or ""), self._at.get(places[1] or "")
        if ends[0] is not None and ends[1] is not None and places[0] != places[1]:
            straight = math.dist(ends[0], ends[1])
            return float(math.ceil(straight * self._wishes.detour + self._wishes.extra - 1e-9)), False
        if along < math.inf:
            return along, True
        if places[0] is not None and places[0] == places[1]:
            return self._wishes.extra, False
        return math.inf, False

    def between(self, ones: list[Spot], others: list[Spot]) -> Array:
        """[one, other] metres."""
        return np.array([[self.known(one, other)[0] for other in others] for one in ones]).reshape(
            len(ones), len(others)
        )
