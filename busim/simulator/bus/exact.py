"""The exact path of a line: levels over time for each receiver, sampled as a UART samples them.

A receiver group comes here when something happens that its stations may hear differently, or otherwise than it was
sent; it goes back to the fast path when all of them are idle. Meanwhile each of its stations hears for itself.
"""

from __future__ import annotations

from busim.recording.trace import HEARD, Emit
from busim.simulator.bus.cable import Cable
from busim.simulator.bus.stations import Burst, Receiver, ReceiverGroup, Station
from busim.simulator.bus.superposition import wave_at
from busim.simulator.bus.traffic import Traffic
from busim.simulator.bus.wave import Pulse, Wave
from busim.simulator.kernel import Kernel

_HELD = 4096  # characters of a disturbed stretch kept before they are written out
_KEPT = 64  # bursts and pulses kept before those that are over are dropped


class ExactPath:
    """`groups`: the receiver groups that are here; `recent`: bursts, and `pulses`: disturbances, whose levels may still
    matter. `number`: the line's in the trace.
    """

    def __init__(self, kernel: Kernel, cable: Cable, traffic: Traffic, number: int, emit: Emit) -> None:
        self.groups: list[ReceiverGroup] = []
        self.recent: list[Burst] = []
        self.pulses: list[Pulse] = []
        self._kernel = kernel
        self._cable = cable
        self._traffic = traffic
        self._number = number
        self._emit = emit
        self._version = 0

    # -- which groups are here ------------------------------------------------------------------------------

    def take_over(self, group: ReceiverGroup) -> None:
        """Take a group from the fast path: every station of it hears on for itself from here."""
        if group.receivers:
            return
        self.mark_heard(group)
        skip = {burst: len(burst.data) for burst in self.recent if burst.closed}
        if group.burst is not None:
            skip[group.burst] = group.delivered
        for station in group.members:
            listener = group.listener
            if group.shared:
                listener = listener.fork(station, blank=station is group.deaf)
            group.receivers.append(Receiver(station, listener, dict(skip)))
        group.deaf = group.burst = None
        if group.shared:
            group.listener.clear()
        self.groups.append(group)

    def mark_heard(self, group: ReceiverGroup) -> None:
        """Move the receivers of a fast group past what was delivered to it, should they have to listen later."""
        burst = group.burst
        if burst is not None and group.delivered and not group.receivers:
            at = burst.sampled(group.delivered)
            for station in group.members:
                station.uart.skip_to(at + station.delays[burst.station.number])

    def release(self, now: int) -> bool:
        """Give groups back to the fast path whose stations are all idle. Whether the pair is quiet, so that it was
        possible at all.
        """
        cable = self._cable
        if now < self._traffic.free_at or any(pulse.end + cable.span > now for pulse in self.pulses):
            return False
        for group in list(self.groups):
            if cable.segments is not None and not cable.segments.may_be_fast(group):
                continue
            if all(receiver.listener.fresh and self._idle(receiver, now) for receiver in group.receivers):
                for receiver in group.receivers:
                    receiver.token += 1
                    receiver.station.uart.skip_to(now)
                    self._write(receiver)
                group.receivers = []
                self.groups.remove(group)
        if not self.groups:
            self.recent = [burst for burst in self.recent if not burst.closed]
            self.pulses = []
        return True

    def _idle(self, receiver: Receiver, now: int) -> bool:
        uart, wave = receiver.station.uart, self.wave(receiver)
        return uart.next(wave) is None and uart.low == receiver.station.setting.inverted and uart.settled(wave, now)

    # -- what is on the pair --------------------------------------------------------------------------------

    def add(self, burst: Burst | None = None, pulse: Pulse | None = None) -> None:
        """One more burst or pulse changes the levels from now on."""
        if self.groups:
            self._drop_past()
        elif burst is not None:
            self.recent = []
        if burst is not None:
            self.recent.append(burst)
        if pulse is not None:
            self.pulses.append(pulse)

    def mark_recent(self) -> None:
        """Something came into the bursts that are under way: they are counted as exact."""
        for burst in self.recent:
            burst.exact |= not burst.closed

    def _drop_past(self) -> None:
        """Drop what lies behind every receiver, so that a long disturbance does not cost more and more."""
        if len(self.recent) + len(self.pulses) < _KEPT:
            return
        behind = min(receiver.station.uart.at for group in self.groups for receiver in group.receivers)
        behind -= self._cable.span
        for group in self.groups:
            for receiver in group.receivers:
                self._write(receiver)
                receiver.skip = {burst: len(burst.data) for burst in self.recent}
        self.recent = [burst for burst in self.recent if not burst.closed or burst.off > behind]
        self.pulses = [pulse for pulse in self.pulses if pulse.end > behind]

    # -- from levels to characters --------------------------------------------------------------------------

    def levels_changed(self) -> None:
        """Find anew what each receiver hears next."""
        self._version += 1
        for group in list(self.groups):
            for receiver in list(group.receivers):
                self.hear(receiver)

    def hear(self, receiver: Receiver) -> None:
        """Deliver every character that is complete by now, and wake up when the next one will be."""
        station = receiver.station
        uart = station.uart
        while receiver in station.group.receivers:  # type: ignore[union-attr]
            heard = uart.next(self.wave(receiver))
            receiver.token += 1
            if heard is None:
                if uart.settled(self.wave(receiver), self._kernel.now):
                    uart.skip_to(self._kernel.now)
                return
            if heard[0] > self._kernel.now:
                self._kernel.at_near(heard[0], self._wake, (receiver, receiver.token))
                return
            uart.take(heard)
            at, value, flags, _ = heard
            self._collect(receiver, at, value, flags)
            receiver.listener.heard(bytes((value,)), at, at, flags, None, None)

    def wave(self, receiver: Receiver) -> Wave:
        """The level at this station's receiver, as far as it is known now."""
        if receiver.version != self._version or receiver.wave is None:
            receiver.wave = wave_at(self._cable, receiver.station, self.recent, self.pulses)
            receiver.version = self._version
        return receiver.wave

    def _wake(self, awaited: tuple[Receiver, int]) -> None:
        receiver, token = awaited
        if receiver.token == token:
            self.hear(receiver)

    # -- records of what was heard --------------------------------------------------------------------------

    def finish(self) -> None:
        """The run ends here: write what was heard so far."""
        for group in self.groups:
            for receiver in group.receivers:
                self._write(receiver)

    def _collect(self, receiver: Receiver, at: int, value: int, flags: int) -> None:
        if not receiver.data:
            receiver.first = at
        receiver.last = at
        receiver.data.append(value)
        receiver.flags.append(flags)
        if len(receiver.data) >= _HELD:
            self._write(receiver)

    def _write(self, receiver: Receiver) -> None:
        """Write what a receiver heard where it is not what the other stations sent meanwhile."""
        station = receiver.station
        others = [burst for burst in self.recent if burst.station is not station or station.echo]
        if (segments := self._cable.segments) is not None:
            others = [burst for burst in others if segments.reaches(burst, station)]
        parts = [(burst, burst.data[receiver.skip.get(burst, 0) :]) for burst in others]
        sent = b"".join(data for _, data in parts)
        if any(receiver.flags) or bytes(receiver.data) != sent:
            if not receiver.data:  # heard nothing: the instants are those of what it missed
                missed = [burst for burst, data in parts if data]
                receiver.first, receiver.last = min(b.start for b in missed), max(b.end for b in missed)
            self._emit(
                (
                    HEARD, self._number, station.label, receiver.first, receiver.last, bytes(receiver.data),
                    bytes(receiver.flags),
                )
            )  # fmt: skip
        receiver.data.clear()
        receiver.flags.clear()
        receiver.skip.update((burst, len(burst.data)) for burst in others)


def find_receiver(station: Station) -> Receiver | None:
    """The station's own receiver on the exact path; None while its group is on the fast one."""
    assert station.group is not None
    for receiver in station.group.receivers:
        if receiver.station is station:
            return receiver
    return None
