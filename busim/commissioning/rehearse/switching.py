"""Supplies in the steps: who loses power with whom, and which supplies must be off before a plug is moved.

One supply mostly feeds several cameras, so there is no switch for one of them. Nothing is plugged onto or off a pair
whose supply is on: a plug pulled under load draws an arc, and a slipped pin puts the supply onto the data pair.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from busim.plan import Plan


@dataclass(frozen=True, slots=True)
class Switches:
    """`of`: station -> its supply; `feeds`: supply -> its stations; `lines`: supply -> the lines whose supply pair it
    feeds. A supply that stands at its cameras, or at one that the pair goes past, feeds no pair, only their plugs.
    """

    of: Mapping[str, str]
    feeds: Mapping[str, tuple[str, ...]]
    lines: Mapping[str, frozenset[str]]

    def for_plug(self, camera: str, line: str) -> tuple[str, ...]:
        """The supplies that must be off before the plug of a camera is moved."""
        own = self.of.get(camera)
        return tuple(name for name, lines in self.lines.items() if line in lines or name == own)

    def along(self, supply: str, but: str = "") -> tuple[str, ...]:
        """The other stations that lose their power with a supply."""
        return tuple(name for name in self.feeds[supply] if name != but)


def switches(plan: Plan) -> Switches:
    """The supplies of a plan by what they take along."""
    spots = {place.name: (line.name, place) for line in plan.lines for place in line.order if place.name}
    boxes: dict[str, list[str]] = {}
    for converter in plan.converters:
        boxes.setdefault(converter.box or converter.name, []).append(converter.name)
    cameras = {camera.name for camera in plan.cameras}
    lines = {}
    for one in plan.supplies:
        entries = boxes.get(one.at or "", [one.at] if one.at else [])
        carries = not cameras.isdisjoint(one.feeds)  # else it is the switch port of a converter, say
        at = [spots[name] for name in entries if name in spots and carries]
        lines[one.name] = frozenset(line for line, place in at if place.supply_pair != "past")
    feeds = {one.name: one.feeds for one in plan.supplies}
    return Switches({name: one.name for one in plan.supplies for name in one.feeds}, feeds, lines)


def crews(plan: Plan) -> tuple[tuple[str, ...], ...]:
    """The lines in groups that share no supply and no box: a crew can work on each beside the others."""
    groups: list[set[str]] = [{line.name} for line in plan.lines]
    line_of = {place.name: line.name for line in plan.lines for place in line.order if place.name}
    shared = [set(lines) for lines in switches(plan).lines.values()]
    shared += [{line_of[name] for name in one.feeds if name in line_of} for one in plan.supplies]
    boxes: dict[str, set[str]] = {}
    for converter in plan.converters:
        if converter.box and converter.name in line_of:
            boxes.setdefault(converter.box, set()).add(line_of[converter.name])
    for lines in (*shared, *boxes.values()):
        joined = [group for group in groups if group & lines]
        if len(joined) > 1:
            groups = [group for group in groups if not group & lines] + [set().union(*joined)]
    order = [line.name for line in plan.lines]
    return tuple(
        tuple(sorted(group, key=order.index)) for group in sorted(groups, key=lambda one: min(map(order.index, one)))
    )
