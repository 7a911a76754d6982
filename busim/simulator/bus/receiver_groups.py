"""Ears that part and come together again: a station that no longer hears as the others hears for itself.

Stations share an ear while they are set alike and on one pair. One that is set otherwise, or is cut off, is given an
ear of its own, with all that was heard so far. When such ears hear alike again they become one, at a moment when
nothing is under way and none of them holds anything: until then they cost an event each, and nothing else.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Protocol, cast

from busim.simulator.bus.exact import ExactPath, find_receiver
from busim.simulator.bus.stations import Listener, ReceiverGroup, Station

if TYPE_CHECKING:
    from busim.simulator.bus.line import Line


class _Shared(Listener, Protocol):
    """A listener that stations share has to know which they are."""

    def leave(self, station: Station) -> None:
        """This station hears with a fork from now on."""

    def join(self, other: Listener) -> None:
        """The stations of another listener of its kind, which holds nothing, hear with this one from now on."""


def part(line: Line, exact: ExactPath, station: Station) -> ReceiverGroup:
    """An ear for this station alone, on the exact path where it had to leave one."""
    group = station.group
    assert group is not None
    if not group.shared:
        return group
    exact.take(group)
    receiver = find_receiver(station)
    assert receiver is not None
    cast(_Shared, group.listener).leave(station)
    group.members.remove(station)
    group.receivers.remove(receiver)
    group.shared = len(group.members) > 1
    own = station.group = ReceiverGroup(group.setting, receiver.listener, group.origin)
    own.members, own.receivers = [station], [receiver]
    line.groups.append(own)
    exact.rough.append(own)
    line.sort_groups(scattered=True)
    return own


def unite(line: Line, exact: ExactPath) -> None:
    """Forget cuts that are mended, and make one ear of those that came from one and are set alike, where that is
    possible now.
    """
    if line.segments is not None and line.segments.whole and not line.rough:
        line.segments = None
    if line.segments is not None or not all(burst.closed for burst in exact.recent):
        return
    scattered = False
    first: dict[tuple[int, int], ReceiverGroup] = {}
    for group in list(line.groups):
        other = first.setdefault((group.origin, id(group.setting)), group)
        if other is not group:
            if _at_rest(group) and _at_rest(other):
                _merge(line, group, other)
            else:
                scattered = True
    line.sort_groups(scattered=scattered)


def _at_rest(group: ReceiverGroup) -> bool:
    return not group.receivers and group.listener.quiet_until is None


def _merge(line: Line, group: ReceiverGroup, into: ReceiverGroup) -> None:
    cast(_Shared, into.listener).join(group.listener)
    into.members = sorted(into.members + group.members, key=lambda station: station.number)
    into.shared = True
    into.burst = into.source = into.deaf = None
    into.taken = 0
    for station in group.members:
        station.group = into
    line.groups.remove(group)
