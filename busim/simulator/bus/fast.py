"""The fast path of a line: the characters of a clean burst arrive at instants that are known beforehand.

A single group gets them when its station has the last character. A shared group gets them when its farthest station has
it; nearer stations learn of them late by the propagation delay at most, with the right instants.
"""

from __future__ import annotations

from collections.abc import Callable

from busim.recording.trace import BURST, Emit
from busim.simulator.bus.cable import Cable
from busim.simulator.bus.exact import ExactPath, find_receiver
from busim.simulator.bus.receiver_groups import ReceiverGroups
from busim.simulator.bus.stations import Burst, ReceiverGroup, Station
from busim.simulator.bus.traffic import Traffic
from busim.simulator.kernel import Kernel


class FastPath:
    """Delivers bursts to the groups that are not on the exact path, and writes every burst when it is over."""

    def __init__(
        self, kernel: Kernel, cable: Cable, traffic: Traffic, groups: ReceiverGroups, exact: ExactPath, number: int,
        emit: Emit,
    ) -> None:  # fmt: skip
        self._kernel = kernel
        self._cable = cable
        self._traffic = traffic
        self._groups = groups
        self._exact = exact
        self._number = number
        self.emit = emit
        # Made once: a method is bound anew at each use, several times per exchange.
        self._telling: Callable[[ReceiverGroup], None] = self._tell
        self._closing: Callable[[Burst], None] = self.close

    def deliver(self, burst: Burst) -> None:
        """Schedule the delivery: to single groups each at its instant, to shared groups at the end of the burst."""
        station, kernel = burst.station, self._kernel
        groups = self._groups
        for group in groups.single:
            if not group.receivers and (group is not station.group or station.echo):
                group.burst = burst
                group.delivered = 0
                member = group.members[0]
                if group.listener.stops:
                    self._next_stop(group)
                else:
                    group.deliver_to = len(burst.data)
                    at = burst.whole + member.delays[station.number]
                    if group.listener.shows:
                        kernel.at_near(at, self._telling, group)
                    else:
                        kernel.at_heard(at, self._telling, group)
        for group in groups.shared:
            if not group.receivers:
                group.burst = burst
                group.delivered = 0
        self._close_in_parts(burst)

    def close_later(self, burst: Burst) -> None:
        """Schedule the end of a burst that no group on the fast path hears."""
        burst.deliver_to = len(burst.data)
        self._kernel.at_heard(burst.whole + self._cable.span, self._closing, burst)

    def stretched(self, burst: Burst, before: int) -> None:
        """A burst of `before` characters got more: deliver again to groups that had finished it."""
        for group in self._groups.single:
            if group.burst is burst and group.delivered == before:
                self._next_stop(group)

    def catch_up(self, station: Station) -> None:
        """Deliver to a station's group the characters of a burst under way that have arrived."""
        if not self._traffic.under_way and not self._exact.groups:
            return
        receiver = find_receiver(station)
        if receiver is not None:
            self._exact.hear(receiver)
            return
        group = station.group
        assert group is not None
        burst = group.burst
        if burst is not None and group.delivered < len(burst.data):
            delay = 0 if group.shared else station.delays[burst.station.number]
            arrived = burst.arrived(self._kernel.now - delay)
            if arrived > group.delivered:
                self._hand_over(group, burst, arrived)

    def coming(self, station: Station) -> tuple[int, int] | None:
        """The next character under way to a station: ns of its start edge and of its arrival; None without one. For a
        shared group the instants are those at the sender.
        """
        if not self._traffic.under_way and not self._exact.groups:
            return None
        receiver = find_receiver(station)
        if receiver is not None:
            heard = station.uart.next(self._exact.wave(receiver))
            return None if heard is None else (heard[0] - station.setting.sample, heard[0])
        group = station.group
        assert group is not None
        burst = group.burst
        if burst is None or group.delivered >= len(burst.data):
            return None
        done = burst.sampled(group.delivered + 1) + (0 if group.shared else station.delays[burst.station.number])
        return done - burst.setting.sample, done

    def finish(self) -> None:
        """End of the run: write the bursts under way, with the characters that have begun."""
        now = self._kernel.now
        for burst in self._exact.recent:
            if burst.closed or burst.start > now:
                continue
            end, data = now, burst.data
            if data:
                count = burst.arrived(now)
                if count < len(data) and burst.start + burst.setting.reach(count)[1] <= now:
                    count += 1
                data = data[:count]
                end = min(burst.start + burst.setting.reach(count)[1], burst.end)
            label = burst.station.label
            self.emit((BURST, self._number, label, burst.start, end, burst.setting_label, data, burst.exact))

    def _next_stop(self, group: ReceiverGroup) -> None:
        burst = group.burst
        assert burst is not None
        ahead, delay = len(burst.data) - group.delivered, group.members[0].delays[burst.station.number]
        group.deliver_to = group.delivered + min(group.listener.stop(burst, group.delivered, delay) or ahead, ahead)
        self._kernel.at_near(burst.sampled(group.deliver_to) + delay, self._telling, group)

    def _close_in_parts(self, burst: Burst) -> None:
        """Schedule the delivery to shared groups: of what the first of them must hear before the rest, or of all."""
        until = whole = len(burst.data)
        for group in self._groups.shared:
            if group.burst is burst and group.listener.stops and group.delivered < whole:
                until = min(until, group.delivered + (group.listener.stop(burst, group.delivered, 0) or whole))
        burst.deliver_to = until
        end = burst.whole if until == whole else burst.sampled(until)
        self._kernel.at_heard(end + self._cable.span, self._closing, burst)

    def _tell(self, group: ReceiverGroup) -> None:
        """A single group has received its characters."""
        burst = group.burst
        if burst is None or group.receivers:
            return
        if group.deliver_to > group.delivered:
            self._hand_over(group, burst, group.deliver_to)
        if group.delivered < len(burst.data) and group.burst is burst and not group.receivers:
            self._next_stop(group)

    def _hand_over(self, group: ReceiverGroup, burst: Burst, until: int) -> None:
        """Deliver the characters of a burst up to number `until` that the group does not have yet."""
        delivered, station, data = group.delivered, burst.station, burst.data
        group.delivered = until
        if delivered or until < len(data):
            first, last = burst.sampled(delivered + 1), burst.sampled(until)
            data = data[delivered:until]
        else:
            first, last = burst.first, burst.whole
        if group.shared:
            group.source = station
            group.listener.heard(data, first, last, 0, station, group.deaf)
        else:
            delay = group.members[0].delays[station.number]
            group.listener.heard(data, first + delay, last + delay, 0, None, None)

    def close(self, burst: Burst) -> None:
        """The burst has reached every station as far as planned: deliver to shared groups; write it
        if it is complete.
        """
        until, data = burst.deliver_to, burst.data
        whole = until == len(data)
        if burst.closed or (whole and self._kernel.now < burst.whole + self._cable.span):
            return  # it was cut off, and ended or ends at another instant
        if whole:
            exact = burst.exact
            burst.closed = True
            traffic = self._traffic
            traffic.under_way -= 1
            if exact:
                traffic.exact_bursts += 1
            self.emit(
                (BURST, self._number, burst.station.label, burst.start, burst.end, burst.setting_label, data, exact)
            )
        for group in self._groups.shared:
            if group.burst is burst and group.delivered < until:
                self._hand_over(group, burst, until)
        if not whole:
            self._close_in_parts(burst)
