"""Changes of the pair in use: cuts and joins, stations unplugged and plugged.

A change concerns every receiver: all go to the exact path, and stations off the main segment get their own groups.
"""

from __future__ import annotations

from busim.simulator.bus.cable import Cable
from busim.simulator.bus.cable_segments import OFF_LINE, CableSegments
from busim.simulator.bus.exact import ExactPath
from busim.simulator.bus.fast import FastPath
from busim.simulator.bus.receiver_groups import ReceiverGroups
from busim.simulator.bus.stations import NEVER, Burst, Station
from busim.simulator.bus.traffic import Traffic
from busim.simulator.kernel import Kernel


class Rewiring:
    """The pair of one line, for changes now. Positions are numbers of stations, counted along the cable."""

    def __init__(
        self, kernel: Kernel, cable: Cable, traffic: Traffic, groups: ReceiverGroups, exact: ExactPath, fast: FastPath
    ) -> None:
        self._kernel = kernel
        self._cable = cable
        self._traffic = traffic
        self._groups = groups
        self._exact = exact
        self._fast = fast

    def cut(self, number: int) -> None:
        """Open the pair before station `number`, which parts the stations before it from the others."""
        segments = self._cable.cut_up()
        segments.cut(number)
        self._changed(segments)

    def join(self, number: int) -> None:
        """Close this cut."""
        segments = self._cable.cut_up()
        segments.join(number)
        self._changed(segments)

    def unplug(self, station: Station, *, through: bool = True) -> None:
        """Unplug a station, so it neither drives nor hears. `through`: the pair still passes it."""
        segments = self._cable.cut_up()
        segments.unplug(station, through=through)
        self._changed(segments)

    def plug(self, station: Station) -> None:
        """Plug the station in again."""
        segments = self._cable.cut_up()
        segments.plug(station)
        self._changed(segments)

    def admit(self, burst: Burst) -> bool:
        """Whether a beginning burst lies on the segment with the fast path, so that its line handles it.

        Otherwise it is handled here.
        """
        traffic, exact, segments = self._traffic, self._exact, self._cable.cut_up()
        segment = segments.segment(burst.station)
        if segment == segments.main:
            return True
        if segment == OFF_LINE:  # it drives nothing, and no station hears it
            burst.closed = True
            traffic.under_way -= 1
            return False
        if burst.on >= traffic.free_at and all(other.closed for other in exact.recent):
            for group in self._groups.every:
                exact.take_over(group)
            segments.main = segment
            return True
        burst.exact = 1
        exact.add(burst)
        exact.levels_changed()
        self._fast.close_later(burst)
        return False

    def _changed(self, segments: CableSegments) -> None:
        now, span, traffic = self._kernel.now, self._cable.span, self._traffic
        exact, groups = self._exact, self._groups
        exact.mark_recent()
        for burst in exact.recent:
            if not burst.closed:
                traffic.free_at = max(traffic.free_at, NEVER if burst.off == NEVER else burst.off + span)
        for group in groups.every:
            exact.take_over(group)
        behind = min((receiver.station.uart.at for group in groups.every for receiver in group.receivers), default=now)
        segments.forget(behind - span)
        segments.begin_epoch(now)
        for group in list(groups.every):
            for station in list(group.members):
                if segments.segment(station) != segments.main:
                    groups.part(station)
        groups.sort(scattered=groups.scattered)
        exact.levels_changed()
