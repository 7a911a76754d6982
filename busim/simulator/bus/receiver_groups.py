"""The receiver groups of a line: stations that hear the same are served as one, and split when they do not.

Stations share a group while they have one setting, one listener and one pair. A station with another setting, or cut
off, gets its own group, with all that was heard so far. Groups that hear the same again merge when nothing is under way
and their listeners hold nothing; until then each costs one event per burst.
"""

from __future__ import annotations

from busim.simulator.bus.cable import Cable
from busim.simulator.bus.exact import ExactPath, find_receiver
from busim.simulator.bus.stations import Listener, ReceiverGroup, Station


class ReceiverGroups:
    """`every` group, the `shared` ones (several stations) and the `single` ones.

    `alike`: all stations hear the same, so every burst may take the fast path. `scattered`: groups wait to merge again.
    """

    def __init__(self, cable: Cable, exact: ExactPath, *, always_exact: bool) -> None:
        self.every: list[ReceiverGroup] = []
        self.shared: list[ReceiverGroup] = []
        self.single: list[ReceiverGroup] = []
        self.alike = False
        self.scattered = False
        self._cable = cable
        self._exact = exact
        self._always_exact = always_exact

    def attach(self, station: Station, listener: Listener) -> None:
        """Put a station into the group of its listener and setting."""
        for group in self.every:
            if group.listener is listener and group.setting is station.setting:
                break
        else:
            group = ReceiverGroup(station.setting, listener, len(self.every))
            self.every.append(group)
        group.members.append(station)
        group.shared = len(group.members) > 1
        station.group = group

    def sort(self, *, scattered: bool) -> None:
        """Groups, settings or segments have changed: find the shared groups, and whether all stations hear the same."""
        self.scattered = scattered
        self.shared = [group for group in self.every if group.shared]
        self.single = [group for group in self.every if not group.shared]
        stations = self._cable.stations
        self.alike = (
            not self._always_exact
            and self._cable.segments is None
            and not scattered
            and len({station.setting for station in stations}) == 1
            and not any(s.setting.inverted or s.lead < 0 or s.hold < 0 for s in stations)
        )

    def sort_after_change(self) -> None:
        """As `sort`, after a station changed its setting: groups of one origin now wait to merge."""
        self.sort(scattered=len({group.origin for group in self.every}) < len(self.every))

    def release(self, now: int) -> None:
        """Give idle groups back to the fast path, and merge those that can."""
        if self._exact.release(now) and (self.scattered or self._cable.segments is not None):
            self._unite()

    def part(self, station: Station) -> ReceiverGroup:
        """Give this station its own group, on the exact path if it must leave another."""
        group = station.group
        assert group is not None
        if not group.shared:
            return group
        self._exact.take_over(group)
        receiver = find_receiver(station)
        assert receiver is not None
        group.listener.leave(station)
        group.members.remove(station)
        group.receivers.remove(receiver)
        group.shared = len(group.members) > 1
        own = station.group = ReceiverGroup(group.setting, receiver.listener, group.origin)
        own.members, own.receivers = [station], [receiver]
        self.every.append(own)
        self._exact.groups.append(own)
        self.sort(scattered=True)
        return own

    def _unite(self) -> None:
        """Forget mended cuts. Merge groups that come from one group and have one setting, if that is possible now."""
        cable = self._cable
        if cable.segments is not None and cable.segments.whole and not self._exact.groups:
            cable.segments = None
        if cable.segments is not None or not all(burst.closed for burst in self._exact.recent):
            return
        scattered = False
        first: dict[tuple[int, int], ReceiverGroup] = {}
        for group in list(self.every):
            other = first.setdefault((group.origin, id(group.setting)), group)
            if other is not group:
                if _idle(group) and _idle(other):
                    self._merge(group, other)
                else:
                    scattered = True
        self.sort(scattered=scattered)

    def _merge(self, group: ReceiverGroup, into: ReceiverGroup) -> None:
        into.listener.unite(group.listener)
        into.members = sorted(into.members + group.members, key=lambda station: station.number)
        into.shared = True
        into.burst = into.source = into.deaf = None
        into.delivered = 0
        for station in group.members:
            station.group = into
        self.every.remove(group)


def _idle(group: ReceiverGroup) -> bool:
    return not group.receivers and group.listener.quiet_until is None
