"""A group of cameras on a converter as a line of a plan: the order, the metres, the place of its supply.

A line that keeps its cameras keeps its order, unless a new one is shorter. The rules of plans (`busim.analysis.check`)
decide on its supply, for a plan of this line alone.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from busim.analysis.check import Feed, feed_on
from busim.analysis.split.candidates import Candidate
from busim.analysis.split.ways import Ways
from busim.installation import Installation, ResolvedConverter, ResolvedSupply
from busim.plan import CameraPlan, Place, SupplyPlan

_STATES = ("idle", "peak", "start_up")


@dataclass(frozen=True, slots=True)
class Laid:
    """`planned`: whether each cable is as the plan says (the others are computed from places).

    `feed`: the supply with its voltages, None without one on the line.
    """

    order: tuple[Place, ...]
    planned: tuple[bool, ...]
    cameras: tuple[CameraPlan, ...]
    supply: SupplyPlan | None
    feed: Feed | None

    @property
    def metres(self) -> float:
        return self.order[-1].metres if self.order else 0.0


class Layer:
    """`fed`: cameras that get their power along their present line."""

    def __init__(self, site: Installation, ways: Ways, fed: frozenset[str]) -> None:
        plan = site.plan
        self._site, self._ways, self.fed = site, ways, fed
        self._cameras = {camera.name: camera for camera in plan.cameras}
        self._stands = {(at.kind, at.name): at for line in plan.lines for at in line.order}
        self._gauges = {
            frozenset(((one.kind, one.name), (other.kind, other.name))): other.gauge
            for line in plan.lines
            for one, other in pairwise(at for at in line.order if at.kind != "terminator")
        }

    def laid(self, candidate: Candidate, names: Sequence[str | None], metres: float) -> Laid:
        """The line of a route: names of cameras in order, None for the converter; `metres`: its length.

        Its supply is injected where it was, or where the voltages hold, or else at the converter.
        """
        cameras = tuple(self._cameras[name] for name in names if name is not None)
        order, planned = self._order(candidate, names, metres)
        if candidate.supply is None or not any(camera.name in self.fed for camera in cameras):
            return Laid(order, planned, cameras, None, None)
        found = None
        for at in self._injections(candidate, order):
            supply, feed = self._feed(candidate, order, cameras, at)
            found = found or Laid(order, planned, cameras, supply, feed)
            if holds(feed):
                return Laid(order, planned, cameras, supply, feed)
        assert found is not None
        return found

    def _order(
        self, candidate: Candidate, names: Sequence[str | None], metres: float
    ) -> tuple[tuple[Place, ...], tuple[bool, ...]]:
        line = candidate.line
        before = [at.name if at.kind == "camera" else None for at in line.order if at.kind != "terminator"]
        length = line.order[-1].metres if line.order else 0.0
        if not candidate.new and set(before) == set(names) and (before == list(names) or length <= metres + 1e-6):
            return line.order, (True,) * (len(before) - 1)
        order: list[Place] = []
        planned: list[bool] = []
        at, last = 0.0, None
        for name in names:
            spot = ("converter", candidate.spot) if name is None else ("camera", name)
            stood = self._stands.get(spot)
            known = candidate.converter.name if name is None else name
            gauge = None
            if last is not None:
                way, said = self._ways.known(last, spot)
                at += way
                planned.append(said)
                gauge = self._gauges.get(frozenset((last, spot)))
            order.append(Place(spot[0], known, at, gauge, stood.stub if stood else 0.0))
            if stood is not None and stood.supply_pair == "past":  # a supply of its own stays its own on any line
                order[-1] = replace(order[-1], supply_pair="past")
            last = spot
        return tuple(self._terminated(candidate, order)), tuple(planned)

    def _terminated(self, candidate: Candidate, order: list[Place]) -> Iterator[Place]:
        """A terminator at each end, as planned; none if the converter there has its own switched on."""
        plugs = [at for at in candidate.line.order if at.kind == "terminator"]
        ohms, capacitor = (plugs[0].ohms, plugs[0].capacitor) if plugs else (120.0, None)
        built_in = candidate.converter.terminator
        if not (built_in and order[0].kind == "converter"):
            yield Place("terminator", "", 0.0, None, 0.0, ohms, capacitor)
        yield from order
        if not (built_in and order[-1].kind == "converter" and len(order) > 1):
            yield Place("terminator", "", order[-1].metres, None, 0.0, ohms, capacitor)

    def _injections(self, candidate: Candidate, order: tuple[Place, ...]) -> Iterator[str]:
        """The possible places of the supply: as planned, at the converter and, if the plan has it at a camera, at the
        cameras nearest to the middle, since a supply hangs above those.
        """
        assert candidate.supply is not None
        stations = [at.name for at in order if at.kind != "terminator"]
        planned = candidate.supply.at
        if not candidate.new and planned in stations:
            yield str(planned)
        yield candidate.converter.name
        if planned not in self._cameras:
            return
        middle = order[-1].metres / 2
        near = sorted((at for at in order if at.kind == "camera"), key=lambda at: abs(at.metres - middle))
        yield from (at.name for at in near[:3])

    def _feed(
        self, candidate: Candidate, order: tuple[Place, ...], cameras: tuple[CameraPlan, ...], at: str
    ) -> tuple[SupplyPlan, Feed]:
        assert candidate.supply is not None
        converter, old = candidate.converter, candidate.supply
        feeds = [camera.name for camera in cameras if camera.name in self.fed]
        if converter.supply == old.name:
            feeds.insert(0, converter.name)
        supply = replace(old, at=at, feeds=tuple(feeds))
        stations = (ResolvedConverter("", converter) if name == converter.name else self._site.cameras[name]
                    for name in feeds)  # fmt: skip
        return supply, feed_on(ResolvedSupply("", supply, tuple(stations)), replace(candidate.line, order=order))


def holds(feed: Feed) -> bool:
    """Whether every load gets enough voltage in every state, and supply and fuse bear it."""
    for state in _STATES:
        amperes = feed.drawn(state)
        if amperes is None and feed.volts:
            return False
        if feed.limit is not None and not feed.classed and (amperes or 0.0) * feed.volts > feed.limit * (1 + 1e-9):
            return False
        if any(volts < load.least for load, volts in feed.at_loads(state).values()):
            return False
    fuse, peak = feed.supply.fuse, feed.drawn("peak")
    return fuse is None or peak is None or peak <= fuse


def lowest(feed: Feed) -> tuple[str, float, float]:
    """The load with the least reserve, its voltage and the least it needs; nan without a solution."""
    found = [
        (volts - load.least, load.name, volts, load.least)
        for state in _STATES
        for load, volts in feed.at_loads(state).values()
    ]
    if not found:
        return "", math.nan, math.nan
    _, name, volts, least = min(found)
    return name, volts, least
