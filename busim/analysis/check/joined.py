"""Supplies that meet on one supply pair: injected on the same part of a line, with no cut between them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from busim.analysis.check.feeds import Feed
from busim.installation import Installation
from busim.plan import LinePlan


def parts(line: LinePlan) -> dict[str, int]:
    """Name of each station on the supply pair of a line -> the number of its part, from 0.

    A part ends where the pair is cut. A station that the pair goes past is on no part.
    """
    found: dict[str, int] = {}
    number = 0
    for place in line.order:
        number += place.supply_pair == "cut"
        if place.name and place.supply_pair != "past":
            found[place.name] = number
    return found


def joined(site: Installation, every: Sequence[Feed]) -> Iterator[tuple[Feed, Feed, str]]:
    """The first DC supply of each part of a supply pair with each further one there, and the name of the line."""
    part_of = {name: (line.name, part) for line in site.lines for name, part in parts(line.line).items()}
    first: dict[tuple[str, int], Feed] = {}
    for feed in every:
        if feed.supply.kind != "dc" or not feed.loads:
            continue
        for part in dict.fromkeys(part_of[name] for name in feed.entries if name in part_of):
            if part in first:
                yield first[part], feed, part[0]
            first.setdefault(part, feed)


def same_voltage(one: Feed, other: Feed) -> bool:
    """Whether the two supplies can have the same voltage: their planned ranges overlap."""
    a, b = one.supply.voltage, other.supply.voltage
    return a.low <= b.high and b.low <= a.high
