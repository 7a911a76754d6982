"""Changes along the lines, for the people who pull cables: moved stations, new and removed cables.

A station has moved if it is on another line, or if the order of its line changed; a longer cable before it is no move.
The fewest possible stations count as moved: the longest run that kept its order stays.
"""

from __future__ import annotations

from bisect import bisect_left
from collections import Counter
from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import NamedTuple

from busim.analysis.diff.matching import Matched
from busim.analysis.diff.texts import extras, pair
from busim.plan import LinePlan, Place

Key = tuple[str, str, str]  # kind, name, and the line for a master, which may stand on several


class _Spot(NamedTuple):
    line: str
    number: int  # among the stations of the line, from 1
    place: Place


class Piece(NamedTuple):
    """A cable between two neighbours; if it ends on a terminator, that is the name."""

    metres: float
    gauge: float | None
    one: str
    other: str


def moved(lines: Sequence[Matched]) -> dict[Key, str]:
    """Station to its new place: `from 'boulder line' position 3 to 'rope line' position 2, 14 m behind 'rope box'`."""
    old = {key: spot for one in lines if one.before is not None for key, spot in _spots(one.before).items()}
    found: dict[Key, str] = {}
    for line in lines:
        if line.after is None:
            continue
        stayed = set() if line.before is None else _stayed(line.before, line.after)
        spots = _spots(line.after)
        behind = dict(zip(list(spots)[1:], spots.values(), strict=False))
        for key, spot in spots.items():
            if key in old and key not in stayed:
                was = old[key]
                where = "" if was.line == spot.line else f"{spot.line!r} "
                text = f"from {was.line!r} position {was.number} to {where}position {spot.number}"
                if key in behind:
                    near = behind[key].place
                    text += f", {spot.place.metres - near.metres:g} m behind {near.name!r}"
                found[key] = text
    return found


def where(line: LinePlan, kind: str, name: str) -> str:
    """`'rope line' position 2`; "" if it is not on the line."""
    spot = next((one for key, one in _spots(line).items() if key[:2] == (kind, name)), None)
    return f"{line.name!r} position {spot.number}" if spot else ""


def cables(before: LinePlan, after: LinePlan) -> Iterator[str]:
    """Tasks for the cables of one line, and the total length."""
    old, new = _pieces(before), _pieces(after)
    for ends, piece in new.items():
        named = f"{piece.one} to {piece.other}"
        if ends not in old:
            if piece.metres:
                yield f"new cable from {named}: {piece.metres:g} m{_thick(piece)}"
        elif old[ends].metres != piece.metres:
            lengths = pair("metres", old[ends].metres, piece.metres)
            yield f"cable from {named}: {lengths[1]} (was {lengths[0]})"
        if ends in old and old[ends].gauge != piece.gauge:
            gauges = pair("gauge", old[ends].gauge, piece.gauge)
            yield f"cable from {named}: gauge {gauges[1]} (was {gauges[0]})"
    for ends, piece in old.items():
        if ends not in new and piece.metres:
            yield f"remove the cable from {piece.one} to {piece.other} (it was {piece.metres:g} m)"
    was, now = (line.order[-1].metres if line.order else 0.0 for line in (before, after))
    if was != now:
        yield f"{abs(now - was):g} m {'more' if now > was else 'less'} cable: {now:g} m (was {was:g} m)"


def plugs(before: LinePlan, after: LinePlan) -> Iterator[str]:
    """Terminators and stubs."""
    old, new = (Counter(_terminators(line)) for line in (before, after))
    yield from (f"take the terminator off {text}" for text in (old - new).elements())
    yield from (f"put a terminator on {text}" for text in (new - old).elements())
    was = _spots(before)
    for key, spot in _spots(after).items():
        if key in was and was[key].place.stub != spot.place.stub:
            stubs = pair("stub", was[key].place.stub, spot.place.stub)
            yield f"stub to {spot.place.name!r}: {stubs[1]} (was {stubs[0]})"
        if key in was and was[key].place.supply_pair != spot.place.supply_pair:
            pairs = was[key].place.supply_pair, spot.place.supply_pair
            yield f"supply pair at {spot.place.name!r}: {pairs[1]} (was {pairs[0]}), with every supply off and checked"


def _spots(line: LinePlan) -> dict[Key, _Spot]:
    stations = [place for place in line.order if place.kind != "terminator"]
    return {_key(place, line): _Spot(line.name, number, place) for number, place in enumerate(stations, 1)}


def _key(place: Place, line: LinePlan) -> Key:
    return place.kind, place.name, line.name if place.kind == "master" else ""


def _stayed(before: LinePlan, after: LinePlan) -> set[Key]:
    """The longest run of stations with the same order in both (patience sorting, O(n log n))."""
    rank = {key: number for number, key in enumerate(_spots(before))}
    common = [key for key in _spots(after) if key in rank]
    ends: list[int] = []  # the smallest rank at which a run of each length can end
    lengths = []
    for key in common:
        at = bisect_left(ends, rank[key])
        ends[at : at + 1] = [rank[key]]
        lengths.append(at + 1)
    stayed, length, last = set(), len(ends), len(rank)
    for key, own in zip(reversed(common), reversed(lengths), strict=True):
        if own == length and rank[key] < last:
            stayed.add(key)
            length, last = length - 1, rank[key]
    return stayed


def _pieces(line: LinePlan) -> dict[frozenset[str], Piece]:
    found: dict[frozenset[str], Piece] = {}
    stops = [place for index, place in enumerate(line.order) if place.kind != "terminator" or _apart(line, index)]
    for here, there in pairwise(stops):
        one, other = _named(here), _named(there)
        found[frozenset((one, other))] = Piece(there.metres - here.metres, there.gauge, one, other)
    return found


def _apart(line: LinePlan, index: int) -> bool:
    """Whether a terminator has a cable of its own; otherwise it is a plug in its neighbour."""
    here = line.order[index].metres
    beside = [line.order[near].metres for near in (index - 1, index + 1) if 0 <= near < len(line.order)]
    return here not in beside


def _named(place: Place) -> str:
    return repr(place.name) if place.name else "the terminator"


def _thick(piece: Piece) -> str:
    return "" if piece.gauge is None else f" of AWG {piece.gauge:g}"


def _terminators(line: LinePlan) -> Iterator[str]:
    """Each terminator with the nearest station."""
    stations = [place for place in line.order if place.kind != "terminator"]
    for place in line.order:
        if place.kind == "terminator":
            near = min(stations, key=lambda one: abs(one.metres - place.metres), default=None)
            apart = 0.0 if near is None else abs(near.metres - place.metres)
            said = ", ".join(f"{value:g}" + {"ohms": " ohm"}.get(name, " F") for name, value in _special(place))
            text = "an end" if near is None else repr(near.name)
            yield text + (f" ({apart:g} m away)" if apart else "") + (f", {said}" if said else "")


def _special(place: Place) -> Iterator[tuple[str, float]]:
    for name, value in extras(place).items():
        if name == "capacitor" or (name == "ohms" and value != 120.0):
            yield name, value
