"""Ears that part and come together again: a station that no longer hears as the others hears for itself.

Stations share an ear while they are set alike and on one pair. One that is set otherwise, or is cut off, is given an
ear of its own, with all that was heard so far. When such ears hear alike again they become one, at a moment when
nothing is under way and none of them holds anything: until then they cost an event each, and nothing else.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Protocol, cast

from busim.simulator.bus.exact import ExactPath, find_solo
from busim.simulator.bus.stations import Ear, Listener, Station

if TYPE_CHECKING:
    from busim.simulator.bus.line import Line


class _Shared(Listener, Protocol):
    """A listener that stations share has to know which they are."""

    def leave(self, station: Station) -> None:
        """This station hears with a fork from now on."""

    def join(self, other: Listener) -> None:
        """The stations of another listener of its kind, which holds nothing, hear with this one from now on."""


def part(line: Line, exact: ExactPath, station: Station) -> Ear:
    """An ear for this station alone, on the exact path where it had to leave one."""
    ear = station.ear
    assert ear is not None
    if not ear.shared:
        return ear
    exact.take(ear)
    solo = find_solo(station)
    assert solo is not None
    cast(_Shared, ear.listener).leave(station)
    ear.members.remove(station)
    ear.solos.remove(solo)
    ear.shared = len(ear.members) > 1
    own = station.ear = Ear(ear.setting, solo.listener, ear.kin)
    own.members, own.solos = [station], [solo]
    line.ears.append(own)
    exact.rough.append(own)
    line.sort_ears(scattered=True)
    return own


def unite(line: Line, exact: ExactPath) -> None:
    """Forget cuts that are mended, and make one ear of those that came from one and are set alike, where that is
    possible now.
    """
    if line.pieces is not None and line.pieces.whole and not line.rough:
        line.pieces = None
    if line.pieces is not None or not all(burst.closed for burst in exact.recent):
        return
    scattered = False
    first: dict[tuple[int, int], Ear] = {}
    for ear in list(line.ears):
        other = first.setdefault((ear.kin, id(ear.setting)), ear)
        if other is not ear:
            if _at_rest(ear) and _at_rest(other):
                _merge(line, ear, other)
            else:
                scattered = True
    line.sort_ears(scattered=scattered)


def _at_rest(ear: Ear) -> bool:
    return not ear.solos and ear.listener.quiet_until is None


def _merge(line: Line, ear: Ear, into: Ear) -> None:
    cast(_Shared, into.listener).join(ear.listener)
    into.members = sorted(into.members + ear.members, key=lambda station: station.number)
    into.shared = True
    into.burst = into.source = into.deaf = None
    into.taken = 0
    for station in ear.members:
        station.ear = into
    line.ears.remove(ear)
