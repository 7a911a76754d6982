"""The exact path of a line: levels over time for each receiver, sampled as a UART samples them.

An ear comes here when something happens that its stations may hear differently, or otherwise than it was sent; it goes
back when all of them have come to rest. Meanwhile each of its stations hears for itself.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from busim.recording.trace import HEARD, Emit
from busim.simulator.bus.stations import Burst, Receiver, ReceiverGroup, Station
from busim.simulator.bus.wave import Pulse, Wave, wave_at
from busim.simulator.kernel import Kernel

if TYPE_CHECKING:
    from busim.simulator.bus.line import Line

_HELD = 4096  # characters of a disturbed stretch kept before they are written out
_KEPT = 64  # bursts and pulses kept before those that are over are dropped


class ExactPath:
    """`rough`: the ears that are here; `recent`: bursts, and `pulses`: disturbances, whose levels may still matter."""

    def __init__(self, line: Line, kernel: Kernel, emit: Emit) -> None:
        self._line = line
        self._kernel = kernel
        self._emit = emit
        self.rough: list[ReceiverGroup] = []
        self.recent: list[Burst] = []
        self.pulses: list[Pulse] = []
        self._version = 0

    def take(self, group: ReceiverGroup) -> None:
        """Take an ear to the exact path: every station of it hears on for itself from here."""
        if group.receivers:
            return
        self.settle(group)
        skip = {burst: len(burst.data) for burst in self.recent if burst.closed}
        if group.burst is not None:
            skip[group.burst] = group.taken
        for station in group.members:
            listener = group.listener
            if group.shared:
                listener = listener.fork(station, blank=station is group.deaf)
            group.receivers.append(Receiver(station, listener, dict(skip)))
        group.deaf = group.burst = None
        if group.shared:
            group.listener.clear()
        self.rough.append(group)

    def settle(self, group: ReceiverGroup) -> None:
        """What a fast ear was told lies behind its receivers, should they have to listen for themselves later."""
        burst = group.burst
        if burst is not None and group.taken and not group.receivers:
            at = burst.sampled(group.taken)
            for station in group.members:
                station.uart.rest(at + station.delays[burst.station.number])

    def gather(self, now: int) -> None:
        """Bring ears back to the fast path whose stations have all come to rest."""
        if now < self._line.free_at or any(pulse.end + self._line.span > now for pulse in self.pulses):
            return
        segments = self._line.segments
        for group in list(self.rough):
            if segments is not None and not segments.clear(group):
                continue
            if all(receiver.listener.fresh and self._at_rest(receiver, now) for receiver in group.receivers):
                for receiver in group.receivers:
                    receiver.token += 1
                    receiver.station.uart.rest(now)
                    self._write(receiver)
                group.receivers = []
                self.rough.remove(group)
        if not self.rough:
            self.recent = [burst for burst in self.recent if not burst.closed]
            self.pulses = []
        if self._line.scattered or segments is not None:
            self._line.tidy()

    def add(self, burst: Burst | None = None, pulse: Pulse | None = None) -> None:
        """One more burst or pulse changes the levels from now on."""
        if self.rough:
            self._forget()
        elif burst is not None:
            self.recent = []
        if burst is not None:
            self.recent.append(burst)
        if pulse is not None:
            self.pulses.append(pulse)

    def look_again(self) -> None:
        """Levels have changed: find anew what each receiver hears next."""
        self._version += 1
        for group in list(self.rough):
            for receiver in list(group.receivers):
                self.listen(receiver)

    def listen(self, receiver: Receiver) -> None:
        """Hear every character that is complete by now, and wake up when the next one will be."""
        station = receiver.station
        uart = station.uart
        while receiver in station.group.receivers:  # type: ignore[union-attr]
            heard = uart.next(self.wave(receiver))
            receiver.token += 1
            if heard is None:
                if uart.settled(self.wave(receiver), self._kernel.now):
                    uart.rest(self._kernel.now)
                return
            if heard[0] > self._kernel.now:
                self._kernel.at_near(heard[0], self._wake, (receiver, receiver.token))
                return
            uart.take(heard)
            at, value, flags, _ = heard
            self._keep(receiver, at, value, flags)
            receiver.listener.heard(bytes((value,)), at, at, flags, None, None)

    def wave(self, receiver: Receiver) -> Wave:
        """The level at this station's receiver, as far as it is known now."""
        if receiver.version != self._version or receiver.wave is None:
            receiver.wave = wave_at(self._line, receiver.station, self.recent, self.pulses)
            receiver.version = self._version
        return receiver.wave

    def finish(self) -> None:
        """The run ends here: write what was heard so far."""
        for group in self.rough:
            for receiver in group.receivers:
                self._write(receiver)

    def _at_rest(self, receiver: Receiver, now: int) -> bool:
        uart, wave = receiver.station.uart, self.wave(receiver)
        return uart.next(wave) is None and uart.low == receiver.station.setting.inverted and uart.settled(wave, now)

    def _forget(self) -> None:
        """Drop what lies behind every receiver, so that a long disturbance costs no more and more."""
        if len(self.recent) + len(self.pulses) < _KEPT:
            return
        behind = min(receiver.station.uart.at for group in self.rough for receiver in group.receivers) - self._line.span
        for group in self.rough:
            for receiver in group.receivers:
                self._write(receiver)
                receiver.skip = {burst: len(burst.data) for burst in self.recent}
        self.recent = [burst for burst in self.recent if not burst.closed or burst.off > behind]
        self.pulses = [pulse for pulse in self.pulses if pulse.end > behind]

    def _wake(self, awaited: tuple[Receiver, int]) -> None:
        receiver, token = awaited
        if receiver.token == token:
            self.listen(receiver)

    def _keep(self, receiver: Receiver, at: int, value: int, flags: int) -> None:
        if not receiver.data:
            receiver.first = at
        receiver.last = at
        receiver.data.append(value)
        receiver.flags.append(flags)
        if len(receiver.data) >= _HELD:
            self._write(receiver)

    def _write(self, receiver: Receiver) -> None:
        """Write what a receiver heard where it is not what the others sent meanwhile."""
        station = receiver.station
        others = [burst for burst in self.recent if burst.station is not station or station.echo]
        if (segments := self._line.segments) is not None:
            others = [burst for burst in others if segments.met(burst, station)]
        parts = [(burst, burst.data[receiver.skip.get(burst, 0) :]) for burst in others]
        sent = b"".join(data for _, data in parts)
        if any(receiver.flags) or bytes(receiver.data) != sent:
            if not receiver.data:  # heard nothing: the instants are those of what it missed
                missed = [burst for burst, data in parts if data]
                receiver.first, receiver.last = min(b.start for b in missed), max(b.end for b in missed)
            self._emit(
                (
                    HEARD, self._line.number, station.label, receiver.first, receiver.last, bytes(receiver.data),
                    bytes(receiver.flags),
                )
            )  # fmt: skip
        receiver.data.clear()
        receiver.flags.clear()
        receiver.skip.update((burst, len(burst.data)) for burst in others)


def find_receiver(station: Station) -> Receiver | None:
    """The station's own hearing on the exact path; None while it is on the fast one."""
    assert station.group is not None
    for receiver in station.group.receivers:
        if receiver.station is station:
            return receiver
    return None
