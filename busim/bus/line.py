"""The line: what stations send reaches every receiver, on a fast path or an exact one.

Fast: one driver, everybody set alike, nothing disturbed. The characters of a burst arrive each at its instant,
which is known, so one event per burst delivers them all. Exact: anything else. Then the levels over time are
superposed for each receiver and sampled as a UART samples them. The choice is made per ear and per burst; a burst that
begins on the fast path goes over to the exact one when another driver or a disturbance comes into it, and
nothing has been delivered by then that the newcomer could still have changed.

The delivery event comes when the farthest receiver has the last character; nearer ones are told a little late (the
line's propagation delay at most), with the right instants. On a line within 10**8 m bit/s that is half a bit, less
than any station needs to turn around.
"""

from __future__ import annotations

from busim.bus.stations import Burst, Ear, Listener, Solo, Station
from busim.bus.wave import Pulse, Wave, wave_at
from busim.errors import Defect
from busim.kernel import Kernel
from busim.trace import BURST, HEARD, Emit

_LIGHT = 299_792_458  # m/s
_HELD = 4096  # characters of a disturbed stretch kept before they are written out
_LONGEST = 4096  # characters in one burst; more that follow without a gap are a burst of their own
_KEPT = 64  # bursts and pulses kept on the exact path before those that are over are dropped


class Line:
    """One shared pair. `attach` stations, then `start`, then `send`. Emits burst and heard records."""

    def __init__(
        self,
        kernel: Kernel,
        emit: Emit,
        *,
        number: int = 0,
        contention: str = "space-wins",
        biased: bool = True,
        velocity: float = 0.66,
        coin_key: int = 0,
        always_exact: bool = False,
    ) -> None:
        self.kernel = kernel
        self.number = number
        self.contention = contention
        self.biased = biased
        self.coin_key = coin_key
        self.always_exact = always_exact
        self.stations: list[Station] = []
        self.ears: list[Ear] = []
        self.exact_bursts = 0
        self._emit = emit
        self._ns_per_metre = 1e9 / (_LIGHT * velocity)
        self._span = 0
        self._free_at = 0  # when the last driver is off and the pair quiet everywhere
        self._plain = False
        self._shared: list[Ear] = []
        self._stoppers: list[Ear] = []
        self._rough: list[Ear] = []
        self._recent: list[Burst] = []
        self._pulses: list[Pulse] = []
        self._version = 0
        self._sampled_at = 0  # the last character delivered on the fast path, at its sender
        self._sampled_from: Station | None = None

    # -- building -------------------------------------------------------------------------------------------

    def attach(self, station: Station, listener: Listener) -> None:
        """Put a station on the line, told through `listener`, which stations set alike may share."""
        station.number = len(self.stations)
        self.stations.append(station)
        for ear in self.ears:
            if ear.listener is listener and ear.setting is station.setting:
                break
        else:
            ear = Ear(station.setting, listener)
            self.ears.append(ear)
        ear.members.append(station)
        ear.shared = len(ear.members) > 1
        station.ear = ear

    def start(self) -> None:
        """Everything is attached: work out delays, and let receivers that read idle as space see it."""
        for station in self.stations:
            station.delays = [self.delay(other, station) for other in self.stations]
        self._span = max((max(station.delays) for station in self.stations), default=0)
        settings = {station.setting for station in self.stations}
        self._plain = (
            not self.always_exact
            and len(settings) == 1
            and not any(s.setting.inverted or s.lead < 0 or s.hold < 0 for s in self.stations)
        )
        self._shared = [ear for ear in self.ears if ear.shared]
        self._stoppers = [ear for ear in self.ears if ear.listener.stops]
        for ear in self.ears:
            if ear.setting.inverted:
                self._roughen(ear)
        self._look_again()

    def delay(self, one: Station, other: Station) -> int:
        """Propagation from one station to another, ns."""
        return round(abs(one.metres - other.metres) * self._ns_per_metre)

    # -- sending --------------------------------------------------------------------------------------------

    def send(self, station: Station, data: bytes) -> Burst:
        """Send characters now; behind those the station is still sending, without a gap, if it is."""
        now = self.kernel.now
        burst = station.burst
        if burst is not None and burst.end > now:
            if not burst.closed and len(burst.data) < _LONGEST:
                burst.data += data
                burst.stretch()
                if burst.begun:
                    self._stretched(burst)
                return burst
            following = station.burst = Burst.behind(burst, data)
            self.kernel.at(following.on, self._begin, following)
            return following
        burst = station.burst = Burst(station, data, now)
        self._begin(burst)
        return burst

    def busy(self, station: Station) -> bool:
        """Whether a driver's signal is at this station's position now, its own included."""
        return self.quiet_from(station) > self.kernel.now

    def quiet_from(self, station: Station) -> int:
        """Since when (or from when on) no driver's signal is at this station's position, ns."""
        now = self.kernel.now
        delays = station.delays
        return max(
            (b.off + delays[b.station.number] for b in self._recent if b.on + delays[b.station.number] <= now), default=0
        )

    def under_way(self, station: Station | None) -> int | None:
        """The end (ns) of characters that are passing a station now and that it hears; None: there are none.

        `station` None: seen from whoever sends them.
        """
        now = self.kernel.now
        for burst in self._recent:
            delay = station.delays[burst.station.number] if station is not None else 0
            heard = burst.station is not station or station.echo
            if heard and burst.start + delay < now < burst.end + delay:
                return burst.end + delay
        return None

    def pulse(self, length: int, floating: bool) -> None:
        """Disturb the pair for `length` ns from now: turn the level over, or (`floating`) pull an undriven pair to space."""
        now = self.kernel.now
        if floating and self.biased:
            return
        self._gather(now)
        if self._rough:
            self._forget()
        self._pulses.append(Pulse(now, now + length, floating))
        for burst in self._recent:
            burst.exact |= not burst.closed
        for ear in self.ears:
            self._roughen(ear)
        self._look_again()

    def finish(self) -> None:
        """The run ends here: write what receivers on the exact path heard so far."""
        for ear in self._rough:
            for solo in ear.solos:
                self._write_heard(solo)

    # -- the way of a burst ---------------------------------------------------------------------------------

    def _begin(self, burst: Burst) -> None:
        on = burst.on
        burst.begun = True
        if self._plain and not self._rough and on >= self._free_at:
            station = burst.station
            for ear in self._shared:
                if ear.listener.fresh:
                    ear.deaf = station if station.ear is ear and not station.echo else None
                elif ear.deaf is not None or (station.ear is ear and not station.echo):
                    break
            else:
                self._recent = [burst]
                self._free_at = burst.off + self._span
                self._schedule(burst)
                return
        self._begin_exact(burst)

    def _begin_exact(self, burst: Burst) -> None:
        self._gather(burst.on)
        station = burst.station
        contended = burst.on < self._free_at
        disturbed = contended or self.always_exact or any(p.end + self._span > burst.on for p in self._pulses)
        unlike = burst.setting.inverted or station.lead < 0 or station.hold < 0
        for ear in self.ears:
            if ear.solos:
                continue
            sends = station.ear is ear and not station.echo
            parted = ear.shared and not ear.listener.fresh and (ear.deaf is not None or sends)
            if disturbed or unlike or parted or ear.setting is not burst.setting:
                self._roughen(ear)
            elif ear.shared and ear.listener.fresh:
                ear.deaf = station if sends else None
        if self._rough:
            if contended:
                for other in self._recent:
                    other.exact |= not other.closed
            burst.exact = 1
        if self._rough:
            self._forget()
        else:
            self._recent = []
        self._recent.append(burst)
        self._free_at = max(self._free_at, burst.off + self._span)
        self._look_again()
        self._schedule(burst)

    def _stretched(self, burst: Burst) -> None:
        """A burst under way has grown at its end."""
        self._free_at = max(self._free_at, burst.off + self._span)
        if self._rough:
            self._look_again()

    def _schedule(self, burst: Burst) -> None:
        burst.until = count = len(burst.data)
        at = burst.whole
        if self._stoppers:
            for ear in self._stoppers:
                if not ear.solos and burst.station.ear is not ear and (stop := ear.listener.stop(burst.taken)):
                    count = min(count, burst.taken + stop)
            if count < burst.until:
                burst.until = count
                at = burst.sampled(count)
        self.kernel.at(at + self._span, self._deliver, burst)

    def _deliver(self, burst: Burst) -> None:
        """The next part of a burst (mostly all of it) has reached everybody."""
        station, data, until = burst.station, burst.data, burst.until
        if until == len(data):
            burst.closed = True
            self.exact_bursts += burst.exact
            self._emit(
                (BURST, self.number, station.label, burst.start, burst.end, station.setting_label, data, burst.exact)
            )
            last = burst.whole
        else:
            last = burst.sampled(until)
        taken = burst.taken
        burst.taken = until
        if len(self._rough) < len(self.ears):
            if taken or not burst.closed:
                data = data[taken:until]
            first = burst.sampled(taken + 1)
            self._sampled_at = last
            self._sampled_from = station
            for ear in self.ears:
                if ear.solos:
                    continue
                if ear.shared:
                    ear.listener.heard(data, first, last, 0, station, ear.deaf)
                elif ear is not station.ear or station.echo:
                    delay = ear.members[0].delays[station.number]
                    ear.listener.heard(data, first + delay, last + delay, 0, None, None)
        if not burst.closed:
            self._schedule(burst)

    # -- the exact path -------------------------------------------------------------------------------------

    def _roughen(self, ear: Ear) -> None:
        """Take an ear to the exact path: every station of it hears on for itself from here."""
        if ear.solos:
            return
        for station in ear.members:
            listener = ear.listener
            if ear.shared:
                listener = listener.fork(station, blank=station is ear.deaf)
            solo = Solo(station, listener, {burst: burst.taken for burst in self._recent})
            if self._sampled_from is not None:
                delay = station.delays[self._sampled_from.number]
                station.uart.at = max(station.uart.at, self._sampled_at + delay)
            ear.solos.append(solo)
        ear.deaf = None
        if ear.shared:
            ear.listener.clear()
        self._rough.append(ear)

    def _gather(self, now: int) -> None:
        """Bring ears back to the fast path whose stations have all come to rest."""
        quiet = now >= self._free_at and all(pulse.end + self._span <= now for pulse in self._pulses)
        if not quiet:
            return
        for ear in list(self._rough):
            if all(solo.listener.fresh and self._at_rest(solo, now) for solo in ear.solos):
                for solo in ear.solos:
                    solo.token += 1
                    solo.station.uart.rest(now)
                    self._write_heard(solo)
                ear.solos = []
                self._rough.remove(ear)
        if not self._rough:
            self._recent = [burst for burst in self._recent if not burst.closed]
            self._pulses = []

    def _forget(self) -> None:
        """Drop what lies behind every receiver on the exact path, so that a long disturbance costs no more and more."""
        if len(self._recent) + len(self._pulses) < _KEPT:
            return
        behind = min(solo.station.uart.at for ear in self._rough for solo in ear.solos) - self._span
        for ear in self._rough:
            for solo in ear.solos:
                self._write_heard(solo)
                solo.skip = {burst: len(burst.data) for burst in self._recent}
        self._recent = [burst for burst in self._recent if not burst.closed or burst.off > behind]
        self._pulses = [pulse for pulse in self._pulses if pulse.end > behind]

    def _at_rest(self, solo: Solo, now: int) -> bool:
        uart, wave = solo.station.uart, self._wave(solo)
        return uart.next(wave) is None and uart.low == solo.station.setting.inverted and uart.settled(wave, now)

    def _wave(self, solo: Solo) -> Wave:
        if solo.version != self._version or solo.wave is None:
            solo.wave = wave_at(self, solo.station, self._recent, self._pulses)
            solo.version = self._version
        return solo.wave

    def _look_again(self) -> None:
        """Levels have changed: find anew what each receiver on the exact path hears next."""
        self._version += 1
        for ear in list(self._rough):
            for solo in list(ear.solos):
                self._listen(solo)

    def _listen(self, solo: Solo) -> None:
        """Hear every character that is complete by now, and wake up when the next one will be."""
        uart = solo.station.uart
        while solo in solo.station.ear.solos:  # type: ignore[union-attr]
            heard = uart.next(self._wave(solo))
            solo.token += 1
            if heard is None:
                if uart.settled(self._wave(solo), self.kernel.now):
                    uart.rest(self.kernel.now)
                return
            if heard[0] > self.kernel.now:
                self.kernel.at(heard[0], self._wake, (solo, solo.token))
                return
            uart.take(heard)
            at, value, flags, _ = heard
            self._keep(solo, at, value, flags)
            solo.listener.heard(bytes((value,)), at, at, flags, None, None)

    def _wake(self, awaited: tuple[Solo, int]) -> None:
        solo, token = awaited
        if solo.token == token:
            self._listen(solo)

    def _keep(self, solo: Solo, at: int, value: int, flags: int) -> None:
        if not solo.data:
            solo.first = at
        solo.last = at
        solo.data.append(value)
        solo.flags.append(flags)
        if len(solo.data) >= _HELD:
            self._write_heard(solo)

    def _write_heard(self, solo: Solo) -> None:
        """Write what a receiver heard where it is not what the others sent meanwhile."""
        station = solo.station
        others = (burst for burst in self._recent if burst.station is not station or station.echo)
        sent = b"".join(burst.data[solo.skip.get(burst, 0) :] for burst in others)
        if any(solo.flags) or bytes(solo.data) != sent:
            self._emit(
                (
                    HEARD, self.number, station.label, solo.first, solo.last, bytes(solo.data),
                    bytes(solo.flags),
                )
            )  # fmt: skip
        solo.data.clear()
        solo.flags.clear()
