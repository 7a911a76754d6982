"""The converters that a split can use: those of the plan, and copies of one if more are allowed.

A line takes part if it has one converter and no master of its own. Its settings, and the supply injected on it, go with
its converter. Other lines stay as they are.
"""

from __future__ import annotations

import ipaddress
from dataclasses import dataclass, replace

from busim.analysis.check import Feed, Survey
from busim.analysis.split.wishes import More, Wishes
from busim.foundation.errors import UserError
from busim.plan import ConverterPlan, LinePlan, Plan, SupplyPlan


@dataclass(frozen=True, slots=True)
class Candidate:
    """A converter with the line behind it. `supply`: feeds the cameras along the line, None without one.

    `new`: not in the plan. `like`: the converter whose settings it has (itself, if planned). `spot`: the name of its
    known place; a new one has no other yet.
    """

    converter: ConverterPlan
    line: LinePlan
    supply: SupplyPlan | None
    new: bool
    like: str
    spot: str
    count: int = 1


@dataclass(frozen=True, slots=True)
class Field:
    """`candidates`, and why lines take no part: name to reason."""

    candidates: tuple[Candidate, ...]
    left_alone: dict[str, str]


def field_of(plan: Plan, survey: Survey, wishes: Wishes) -> Field:
    """Raises UserError for an unknown converter to copy, or an unknown place."""
    candidates: list[Candidate] = []
    alone: dict[str, str] = {}
    along = _along(survey)
    converters = {one.name: one for one in plan.converters}
    for line in plan.lines:
        boxes = [place.name for place in line.order if place.kind == "converter"]
        supplies = along.get(line.name, [])
        if any(place.kind == "master" for place in line.order):
            alone[line.name] = "a master stands on the line itself"
        elif len(boxes) != 1:
            alone[line.name] = f"{len(boxes)} converters stand on it"
        elif len(supplies) > 1:
            alone[line.name] = "several supplies feed its cameras"
        else:
            supply = supplies[0] if supplies else None
            candidates.append(Candidate(converters[boxes[0]], line, supply, False, boxes[0], boxes[0]))
    if wishes.more is not None:
        candidates += _more(plan, candidates, wishes.more)
    return Field(tuple(candidates), alone)


def _along(survey: Survey) -> dict[str, list[SupplyPlan]]:
    """Line to the supplies that are injected on it and feed cameras along it."""
    found: dict[str, list[SupplyPlan]] = {}
    line_of = {one.name: wiring.line.name for wiring in survey.wirings for one in wiring.hanging}
    for feed in survey.feeds:
        if carries(feed, survey):
            lines = {line_of[name] for name in feed.supply.feeds if name in survey.cameras}
            for line in lines:
                found.setdefault(line, []).append(feed.supply)
    return found


def carries(feed: Feed, survey: Survey) -> bool:
    """Whether cameras get their power from this supply over the cable of the line."""
    supply = feed.supply
    cameras = [name for name in supply.feeds if name in survey.cameras]
    return supply.at is not None and bool(cameras) and cameras != [supply.at]


def _more(plan: Plan, candidates: list[Candidate], more: More) -> list[Candidate]:
    """One for each place, at most one per camera."""
    template = next((one for one in candidates if one.converter.name == more.like), None)
    if template is None:
        known = ", ".join(f"`{one.converter.name}`" for one in candidates) or "no such converter"
        raise UserError(
            "more converters are to be like one that takes no part", found=repr(more.like), expected=known,
            mend="name a converter of the plan that stands alone on its line",
        )  # fmt: skip
    places = more.places or ((template.converter.place,) if template.converter.place else ())
    known_places = {place.name: place.at for place in plan.places}
    for place in places:
        if known_places.get(place) is None:
            raise UserError(
                "more converters cannot stand there", found=repr(place), expected="a place of the plan with `at`",
                mend="give the place coordinates, or name another with --at",
            )  # fmt: skip
    if not places:
        raise UserError(
            "the places of more converters are missing", found=f"{more.like!r} has no place",
            expected="places of the plan", mend="--at PLACE, once for each",
        )  # fmt: skip
    count = len(plan.cameras) if more.most is None else more.most * more.ports
    converter = replace(template.converter, reboots=(), terminator=False)
    return [
        Candidate(
            replace(converter, place=place), template.line, template.supply, True, more.like, f"new at {place}", count
        )
        for place in places
    ]


class Names:
    """Names, addresses and box ports for new converters, all of them free."""

    def __init__(self, plan: Plan, ports: int) -> None:
        self._taken = {
            one.name
            for group in (plan.converters, plan.lines, plan.supplies, plan.cameras)
            for one in group
        } | {one.box for one in plan.converters if one.box}  # fmt: skip
        self._hosts = {one.host for one in plan.converters} | {one.gateway for one in plan.converters if one.gateway}
        self._ports = ports
        self._open: dict[str, tuple[str, str, int]] = {}  # place -> box, host, ports used

    def fresh(self, name: str) -> str:
        """`rope box 2`, or the next number that is free."""
        number = 2
        while f"{name} {number}" in self._taken:
            number += 1
        self._taken.add(f"{name} {number}")
        return f"{name} {number}"

    def placed(self, converter: ConverterPlan) -> ConverterPlan:
        """The copy with its own name and address; one box for as many as it has ports."""
        name = self.fresh(converter.name)
        if self._ports == 1:
            return replace(converter, name=name, host=self._host(converter), box=None, box_port=None)
        place = converter.place or ""
        box, host, used = self._open.get(place, ("", "", self._ports))
        if used == self._ports:
            box, host, used = self.fresh(f"{converter.name} box"), self._host(converter), 0
        self._open[place] = box, host, used + 1
        port = converter.port + used
        return replace(converter, name=name, host=host, port=port, box=box, box_port=used + 1)

    def _host(self, converter: ConverterPlan) -> str:
        """The next free address of its network."""
        try:
            network = ipaddress.ip_network(converter.network or f"{converter.host}/24", strict=False)
            address = ipaddress.ip_address(converter.host)
        except ValueError:
            return converter.host
        while str(address) in self._hosts:
            address += 1
            if address not in network or address == network.broadcast_address:
                raise UserError(
                    "the network has no address left for another converter", found=str(network),
                    expected="a network with room", mend="give the converters a larger network",
                )  # fmt: skip
        self._hosts.add(str(address))
        return str(address)
