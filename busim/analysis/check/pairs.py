"""Where a supply pair ends before some of the loads of its supply."""

from __future__ import annotations

from collections.abc import Iterator

from busim.analysis.check.feeds import Feed, pair_ends
from busim.analysis.check.survey import Survey


def ends(survey: Survey, feed: Feed) -> Iterator[tuple[tuple[int, int], list[str]]]:
    """Line and position, both numbers from 0, at which the pair ends, and the names of the loads behind it."""
    found: dict[tuple[int, int], list[str]] = {}
    for load in feed.astray:
        for number, wire in enumerate(survey.wires):
            places = [pair_ends(wire.line, entry, load.name) for entry in feed.entries]
            known = [place for place in places if place is not None]
            if known:
                found.setdefault((number, known[0]), []).append(load.name)
                break
    yield from found.items()
