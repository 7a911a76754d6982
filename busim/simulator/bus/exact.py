"""The exact path of a line: levels over time for each receiver, sampled as a UART samples them.

A receiver group comes here when its stations may hear something different, or not the characters that were sent. It
returns to the fast path when all its stations are idle. Meanwhile each station hears for itself.
"""

from __future__ import annotations

from typing import Final

from busim.recording.trace import HEARD, Emit
from busim.simulator.bus.cable import Cable
from busim.simulator.bus.stations import Burst, Receiver, ReceiverGroup, Station
from busim.simulator.bus.superposition import wave_at
from busim.simulator.bus.traffic import Traffic
from busim.simulator.bus.wave import Pulse, Wave
from busim.simulator.kernel import Kernel

_HELD: Final = 4096  # characters of a disturbed stretch kept before a record is written
_KEPT = 64  # bursts and pulses kept before those in the past are dropped (a test sets it)


class ExactPath:
    """`groups`: the receiver groups on this path. `number`: the line's in the trace.

    `recent`: bursts, and `pulses`: disturbances, whose levels may still matter.
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
        """Take a group from the fast path: each of its stations hears for itself from now on."""
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
        """Move the receivers of a fast group past the delivered characters, in case they must listen later."""
        burst = group.burst
        if burst is not None and group.delivered and not group.receivers:
            at = burst.sampled(group.delivered)
            for station in group.members:
                station.uart.skip_to(at + station.delays[burst.station.number])

    def release(self, now: int) -> bool:
        """Give groups whose stations are all idle back to the fast path. Returns False if the pair was not quiet."""
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
        """Add a burst or pulse that changes the levels from now on."""
        if self.groups:
            self._drop_past()
        elif burst is not None:  # one that is over may still be on its way to the far end
            self.recent = [other for other in self.recent if other.off + self._cable.span > burst.on]
        if burst is not None:
            self.recent.append(burst)
        if pulse is not None:
            self.pulses.append(pulse)

    def mark_recent(self) -> None:
        """Something disturbs the bursts under way: count them as exact."""
        for burst in self.recent:
            burst.exact |= not burst.closed

    def _drop_past(self) -> None:
        """Drop bursts and pulses in the past of every receiver, so a long disturbance does not get
        slower and slower.
        """
        if len(self.recent) + len(self.pulses) < _KEPT:
            return
        behind = min(receiver.station.uart.at for group in self.groups for receiver in group.receivers)
        behind -= self._cable.span
        for group in self.groups:
            for receiver in group.receivers:
                self._write(receiver)
        self.recent = [burst for burst in self.recent if not burst.closed or burst.off > behind]
        kept = set(self.recent)
        for group in self.groups:
            for receiver in group.receivers:
                receiver.skip = {burst: count for burst, count in receiver.skip.items() if burst in kept}
        self.pulses = [pulse for pulse in self.pulses if pulse.end > behind]

    # -- from levels to characters --------------------------------------------------------------------------

    def levels_changed(self) -> None:
        """Find the next character of each receiver again."""
        self._version += 1
        for group in list(self.groups):
            for receiver in list(group.receivers):
                self.hear(receiver)

    def hear(self, receiver: Receiver) -> None:
        """Deliver every complete character, and wake up for the next one."""
        station = receiver.station
        uart = station.uart
        while receiver in station.group.receivers:  # type: ignore[union-attr]
            heard = uart.next(self.wave(receiver))
            receiver.token += 1
            if heard is None:
                uart.idle_until(self._kernel.now, self.wave(receiver))
                return
            if heard[0] > self._kernel.now:
                self._kernel.at_near(heard[0], self._wake, (receiver, receiver.token))
                return
            uart.take(heard)
            at, value, flags, _ = heard
            self._collect(receiver, at, value, flags)
            receiver.listener.heard(bytes((value,)), at, at, flags, None, None)

    def wave(self, receiver: Receiver) -> Wave:
        """The level at this station's receiver, as far as known now.

        It begins two bits before the instant from which the receiver looks: a receiver asks for nothing older, and a
        disturbance that lasts does not make each character slower than the one before.
        """
        if receiver.version != self._version or receiver.wave is None:
            station, cable = receiver.station, self._cable
            since = station.uart.at - station.setting.offset(4) - cable.span
            bursts = [burst for burst in self.recent if burst.off > since]
            receiver.wave = wave_at(cable, station, bursts, [pulse for pulse in self.pulses if pulse.end > since])
            receiver.version = self._version
        return receiver.wave

    def _wake(self, awaited: tuple[Receiver, int]) -> None:
        receiver, token = awaited
        if receiver.token == token:
            self.hear(receiver)

    # -- records of what was heard --------------------------------------------------------------------------

    def finish(self) -> None:
        """End of the run: write what was heard so far, and what a receiver in mid-character missed."""
        for group in self.groups:
            for receiver in group.receivers:
                self._write(receiver, over=True)

    def _collect(self, receiver: Receiver, at: int, value: int, flags: int) -> None:
        if not receiver.data:
            receiver.first = at
        receiver.last = at
        receiver.data.append(value)
        receiver.flags.append(flags)
        if len(receiver.data) >= _HELD:
            self._write(receiver)

    def _write(self, receiver: Receiver, over: bool = False) -> None:
        """Write the characters a receiver heard since its last record, if they differ from those sent.

        Only characters that can have arrived by now are compared: of a burst under way that is a part; the rest comes
        later.
        """
        station = receiver.station
        segments = self._cable.segments
        sent = bytearray()
        parts: list[tuple[Burst, int, int]] = []
        for burst in self.recent:
            if burst.station is station and not station.echo:
                continue
            if segments is not None and not segments.reaches(burst, station):
                continue
            before, due = receiver.skip.get(burst, 0), self._due(burst, receiver, over)
            if due > before:
                sent += burst.data[before:due]
                parts.append((burst, before, due))
                receiver.skip[burst] = due
        if any(receiver.flags) or receiver.data != sent:
            instants = [receiver.first, receiver.last] if receiver.data else []
            for burst, before, due in parts:  # characters that it missed also lie inside the stretch
                delay = station.delays[burst.station.number]
                instants += burst.sampled(before + 1) + delay, burst.sampled(due) + delay
            self._emit(
                (
                    HEARD, self._number, station.label, min(instants), max(instants), bytes(receiver.data),
                    bytes(receiver.flags),
                )
            )  # fmt: skip
        receiver.data.clear()
        receiver.flags.clear()

    def _due(self, burst: Burst, receiver: Receiver, over: bool) -> int:
        """The number of characters of a burst that a receiver has heard, or missed, by now.

        A character counts as past if it was complete half a character before the receiver's position in time: the
        clocks of both ends differ by less than that in any readable character. It counts as missed one character later,
        or when the run is over and the receiver's next character is none that was sent.
        """
        station, now = receiver.station, self._kernel.now
        char = max(burst.setting.char, station.setting.char)
        by = max(station.uart.at + char // 2, now - char)
        if over:
            coming = station.uart.next(self.wave(receiver))
            by = max(by, now if coming is None else min(now, coming[0] - char // 2))
        return burst.arrived(by - station.delays[burst.station.number])


def find_receiver(station: Station) -> Receiver | None:
    """The station's own receiver on the exact path; None while its group is on the fast path."""
    assert station.group is not None
    for receiver in station.group.receivers:
        if receiver.station is station:
            return receiver
    return None
