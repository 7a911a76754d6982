"""The exact path of a line: levels over time for each receiver, sampled as a UART samples them.

An ear comes here when something happens that its stations may hear differently, or otherwise than it was sent; it goes
back when all of them have come to rest. Meanwhile each of its stations hears for itself.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from busim.recording.trace import HEARD, Emit
from busim.simulator.bus.stations import Burst, Ear, Solo, Station
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
        self.rough: list[Ear] = []
        self.recent: list[Burst] = []
        self.pulses: list[Pulse] = []
        self._version = 0

    def take(self, ear: Ear) -> None:
        """Take an ear to the exact path: every station of it hears on for itself from here."""
        if ear.solos:
            return
        self.settle(ear)
        skip = {burst: len(burst.data) for burst in self.recent if burst.closed}
        if ear.burst is not None:
            skip[ear.burst] = ear.taken
        for station in ear.members:
            listener = ear.listener
            if ear.shared:
                listener = listener.fork(station, blank=station is ear.deaf)
            ear.solos.append(Solo(station, listener, dict(skip)))
        ear.deaf = ear.burst = None
        if ear.shared:
            ear.listener.clear()
        self.rough.append(ear)

    def settle(self, ear: Ear) -> None:
        """What a fast ear was told lies behind its receivers, should they have to listen for themselves later."""
        burst = ear.burst
        if burst is not None and ear.taken and not ear.solos:
            at = burst.sampled(ear.taken)
            for station in ear.members:
                station.uart.rest(at + station.delays[burst.station.number])

    def gather(self, now: int) -> None:
        """Bring ears back to the fast path whose stations have all come to rest."""
        if now < self._line.free_at or any(pulse.end + self._line.span > now for pulse in self.pulses):
            return
        pieces = self._line.pieces
        for ear in list(self.rough):
            if pieces is not None and not pieces.clear(ear):
                continue
            if all(solo.listener.fresh and self._at_rest(solo, now) for solo in ear.solos):
                for solo in ear.solos:
                    solo.token += 1
                    solo.station.uart.rest(now)
                    self._write(solo)
                ear.solos = []
                self.rough.remove(ear)
        if not self.rough:
            self.recent = [burst for burst in self.recent if not burst.closed]
            self.pulses = []
        if self._line.scattered or pieces is not None:
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
        for ear in list(self.rough):
            for solo in list(ear.solos):
                self.listen(solo)

    def listen(self, solo: Solo) -> None:
        """Hear every character that is complete by now, and wake up when the next one will be."""
        station = solo.station
        uart = station.uart
        while solo in station.ear.solos:  # type: ignore[union-attr]
            heard = uart.next(self.wave(solo))
            solo.token += 1
            if heard is None:
                if uart.settled(self.wave(solo), self._kernel.now):
                    uart.rest(self._kernel.now)
                return
            if heard[0] > self._kernel.now:
                self._kernel.at_near(heard[0], self._wake, (solo, solo.token))
                return
            uart.take(heard)
            at, value, flags, _ = heard
            self._keep(solo, at, value, flags)
            solo.listener.heard(bytes((value,)), at, at, flags, None, None)

    def wave(self, solo: Solo) -> Wave:
        """The level at this station's receiver, as far as it is known now."""
        if solo.version != self._version or solo.wave is None:
            solo.wave = wave_at(self._line, solo.station, self.recent, self.pulses)
            solo.version = self._version
        return solo.wave

    def finish(self) -> None:
        """The run ends here: write what was heard so far."""
        for ear in self.rough:
            for solo in ear.solos:
                self._write(solo)

    def _at_rest(self, solo: Solo, now: int) -> bool:
        uart, wave = solo.station.uart, self.wave(solo)
        return uart.next(wave) is None and uart.low == solo.station.setting.inverted and uart.settled(wave, now)

    def _forget(self) -> None:
        """Drop what lies behind every receiver, so that a long disturbance costs no more and more."""
        if len(self.recent) + len(self.pulses) < _KEPT:
            return
        behind = min(solo.station.uart.at for ear in self.rough for solo in ear.solos) - self._line.span
        for ear in self.rough:
            for solo in ear.solos:
                self._write(solo)
                solo.skip = {burst: len(burst.data) for burst in self.recent}
        self.recent = [burst for burst in self.recent if not burst.closed or burst.off > behind]
        self.pulses = [pulse for pulse in self.pulses if pulse.end > behind]

    def _wake(self, awaited: tuple[Solo, int]) -> None:
        solo, token = awaited
        if solo.token == token:
            self.listen(solo)

    def _keep(self, solo: Solo, at: int, value: int, flags: int) -> None:
        if not solo.data:
            solo.first = at
        solo.last = at
        solo.data.append(value)
        solo.flags.append(flags)
        if len(solo.data) >= _HELD:
            self._write(solo)

    def _write(self, solo: Solo) -> None:
        """Write what a receiver heard where it is not what the others sent meanwhile."""
        station = solo.station
        others = [burst for burst in self.recent if burst.station is not station or station.echo]
        if (pieces := self._line.pieces) is not None:
            others = [burst for burst in others if pieces.met(burst, station)]
        parts = [(burst, burst.data[solo.skip.get(burst, 0) :]) for burst in others]
        sent = b"".join(data for _, data in parts)
        if any(solo.flags) or bytes(solo.data) != sent:
            if not solo.data:  # heard nothing: the instants are those of what it missed
                missed = [burst for burst, data in parts if data]
                solo.first, solo.last = min(b.start for b in missed), max(b.end for b in missed)
            self._emit(
                (
                    HEARD, self._line.number, station.label, solo.first, solo.last, bytes(solo.data),
                    bytes(solo.flags),
                )
            )  # fmt: skip
        solo.data.clear()
        solo.flags.clear()
        solo.skip.update((burst, len(burst.data)) for burst in others)


def find_solo(station: Station) -> Solo | None:
    """The station's own hearing on the exact path; None while it is on the fast one."""
    assert station.ear is not None
    for solo in station.ear.solos:
        if solo.station is station:
            return solo
    return None
