"""Actions of a port other than sending characters: a new setting, the pair held at space (a break), a loss of power.

The fast path has neither. The groups concerned hear on the exact path until they are idle again.
"""

from __future__ import annotations

from busim.foundation.errors import Defect
from busim.recording.trace import BURST, Emit
from busim.simulator.bus.cable import Cable
from busim.simulator.bus.exact import ExactPath, find_receiver
from busim.simulator.bus.fast import FastPath
from busim.simulator.bus.receiver_groups import ReceiverGroups
from busim.simulator.bus.settings import Setting
from busim.simulator.bus.stations import NEVER, Burst, Station
from busim.simulator.bus.traffic import Traffic
from busim.simulator.bus.uart import Uart
from busim.simulator.kernel import Kernel


class PortChanges:
    """Changes of the ports of one line. Each raises Defect if the station is sending."""

    def __init__(
        self, kernel: Kernel, cable: Cable, traffic: Traffic, groups: ReceiverGroups, exact: ExactPath, fast: FastPath,
        number: int, emit: Emit,
    ) -> None:  # fmt: skip
        self._kernel = kernel
        self._cable = cable
        self._traffic = traffic
        self._groups = groups
        self._exact = exact
        self._fast = fast
        self._number = number
        self._emit = emit

    def set_anew(self, station: Station, setting: Setting) -> None:
        """Give the driver and the receiver of a station another setting; it hears for itself from now on."""
        self._refuse_while_sending(station)
        now, exact = self._kernel.now, self._exact
        turned = setting.inverted != station.setting.inverted
        self._fast.catch_up(station)
        group = self._groups.part(station)
        if self._traffic.under_way or turned:
            exact.mark_recent()
            exact.take_over(group)
        receiver = find_receiver(station)
        station.setting = group.setting = setting
        uart = station.uart = Uart(setting)
        uart.skip_to(now)
        if receiver is not None:
            receiver.version = -1
            # A start bit needs a change, and that lies in the past; in a swapped pair the level changes now.
            uart.low = not turned and not exact.wave(receiver).at(now)
        exact.levels_changed()  # stations that shared its group now also hear for themselves
        self._groups.sort_after_change()

    def begin_break(self, station: Station, setting: Setting | None = None, label: int | None = None) -> None:
        """Drive the pair to space from now on; to mark, where `setting` is that of a swapped pair."""
        now, exact, traffic = self._kernel.now, self._exact, self._traffic
        self._refuse_while_sending(station)
        self._groups.release(now)
        if now < traffic.free_at:
            exact.mark_recent()
        for group in self._groups.every:
            exact.take_over(group)
        before, burst = station.burst, Burst.space(station, now)
        if setting is not None and label is not None:
            burst.setting, burst.setting_label = setting, label
        burst.off_before = before.off if before is not None else -self._cable.span
        station.burst = burst
        exact.add(burst)
        traffic.under_way += 1
        traffic.free_at = NEVER
        exact.levels_changed()

    def end_break(self, station: Station) -> None:
        """End the break and write it: a burst record without characters. Raises Defect if there is none."""
        now, burst, traffic = self._kernel.now, station.burst, self._traffic
        if burst is None or burst.off != NEVER:
            raise Defect(f"{station.name} ends a break and holds none")
        burst.whole = burst.end = burst.off = now
        burst.closed = True
        traffic.under_way -= 1
        traffic.exact_bursts += 1
        traffic.free_at = max(each.burst.off for each in self._cable.stations if each.burst is not None)
        if traffic.free_at != NEVER:
            traffic.free_at += self._cable.span
        self._exact.levels_changed()
        self._emit((BURST, self._number, station.label, burst.start, now, burst.setting_label, b"", 1))

    def cut_off(self, station: Station) -> None:
        """The driver of a station loses its power: what it is sending ends here, in the middle of a bit if need be.

        A break ends by `end_break`. A driver that is through with its characters and holds the pair lets go as planned.
        """
        now, exact, traffic = self._kernel.now, self._exact, self._traffic
        burst = station.burst
        if burst is not None and not burst.begun:  # it was to follow the one under way
            burst.closed = burst.begun = True
            burst.end = burst.off = now
        sent = [each for each in exact.recent if each.station is station and not each.closed]
        for burst in sent:
            if burst.data and burst.end > now:
                exact.mark_recent()
                for group in self._groups.every:
                    exact.take_over(group)
                burst.cut(now)
                exact.levels_changed()
                if burst.start == NEVER:
                    burst.closed = True
                    traffic.under_way -= 1
                else:
                    self._kernel.at(now + self._cable.span, self._fast.close, burst)

    def _refuse_while_sending(self, station: Station) -> None:
        burst = station.burst
        if burst is not None and max(burst.off, burst.end) > self._kernel.now:
            raise Defect(f"the port of {station.name} is changed while it sends")
