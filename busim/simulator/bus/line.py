"""The line: what stations send reaches every receiver, on a fast path or an exact one.

Fast: one driver, everybody set alike, nothing disturbed. The characters of a burst arrive each at its instant,
which is known, so one event for each ear delivers them all. Exact (`exact`): anything else. The choice is made per ear
and per burst; a burst that begins on the fast path goes over to the exact one when another driver or a disturbance
comes into it, and nothing has been delivered by then that the newcomer could still have changed.

An ear of one station is told at the instant at which it has the last character. Stations that share an ear are told
when the farthest has it; nearer ones learn it late by the line's propagation delay at most, with the right instants;
only stations that take longer than that to answer may share one. Who decides by the clock while a burst is
under way (a packer, a time-out, a framer) asks for what has come by then: `catch_up`, `coming`.
"""

from __future__ import annotations

from busim.foundation.errors import Defect
from busim.physics.electric import propagation_ns
from busim.recording.trace import BURST, Emit
from busim.simulator.bus.cable_segments import CableSegments
from busim.simulator.bus.exact import ExactPath, find_receiver
from busim.simulator.bus.port_changes import begin_break, end_break, set_anew
from busim.simulator.bus.receiver_groups import unite
from busim.simulator.bus.setting import Setting
from busim.simulator.bus.stations import NEVER, Burst, Listener, ReceiverGroup, Station
from busim.simulator.bus.wave import Pulse
from busim.simulator.kernel import Kernel

_LONGEST = 4096  # characters in one burst; then it ends everywhere before more of them begin another


class Line:
    """One shared pair. `attach` stations, then `start`, then `send`. Emits burst and heard records.

    `span`: propagation from end to end, ns; `free_at`: when the last driver is off and the pair quiet everywhere, ns;
    `exact_bursts`: how many bursts so far took the exact path; `under_way`: how many have begun and not been told to
    all, `begun_at`: when the last of them began, ns; `rough`: the ears that are on the exact path; `segments`: what the
    pair is cut into, None while it is whole; `biased_at`: where the bias is; `scattered`: ears wait for becoming one.
    """

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
        self.groups: list[ReceiverGroup] = []
        self.exact_bursts = 0
        self.under_way = 0
        self.begun_at = 0
        self.span = 0
        self.free_at = 0
        self.segments: CableSegments | None = None
        self.biased_at: tuple[int, ...] = (0,)
        self.scattered = False
        self._emit = emit
        self._ns_per_metre = propagation_ns(1.0, velocity)
        self._plain = False
        self._shared: list[ReceiverGroup] = []
        self._single: list[ReceiverGroup] = []
        self._exact = ExactPath(self, kernel, emit)
        self.rough = self._exact.rough

    # -- building -------------------------------------------------------------------------------------------

    def attach(self, station: Station, listener: Listener) -> None:
        """Put a station on the line, told through `listener`, which stations set alike may share."""
        station.number = len(self.stations)
        self.stations.append(station)
        for group in self.groups:
            if group.listener is listener and group.setting is station.setting:
                break
        else:
            group = ReceiverGroup(station.setting, listener, len(self.groups))
            self.groups.append(group)
        group.members.append(station)
        group.shared = len(group.members) > 1
        station.group = group

    def start(self) -> None:
        """Everything is attached: work out delays, and let receivers that read idle as space see it."""
        for station in self.stations:
            station.delays = [self.delay(other, station) for other in self.stations]
        self.span = max((max(station.delays) for station in self.stations), default=0)
        self.sort_groups(scattered=False)
        for group in self.groups:
            if group.setting.inverted:
                self._exact.take(group)
        self._exact.look_again()

    def sort_groups(self, *, scattered: bool) -> None:
        """Ears or settings are others than before: see who shares one, and whether the fast path is open."""
        self.scattered = scattered
        self._shared = [group for group in self.groups if group.shared]
        self._single = [group for group in self.groups if not group.shared]
        self._plain = self._all_alike()

    def _all_alike(self) -> bool:
        return (
            not self.always_exact
            and self.segments is None
            and not self.scattered
            and len({station.setting for station in self.stations}) == 1
            and not any(s.setting.inverted or s.lead < 0 or s.hold < 0 for s in self.stations)
        )

    def delay(self, one: Station, other: Station) -> int:
        """Propagation from one station to another, ns.

        A difference of whole nanoseconds from the line's end: delays then add up along the line, and nothing overtakes.
        """
        return abs(self.delay_over(one.metres) - self.delay_over(other.metres))

    def delay_over(self, metres: float) -> int:
        """Propagation from the line's end to a position, ns."""
        return round(metres * self._ns_per_metre)

    # -- what stations do -----------------------------------------------------------------------------------

    def send(self, station: Station, data: bytes) -> Burst:
        """Send characters now; behind those the station is still sending, without a gap, if it is."""
        if station.setting.trim is not None:
            data = data.translate(station.setting.trim)
        now = self.kernel.now
        burst = station.burst
        if burst is not None and burst.off > now:
            if burst.end > now:
                return self._send_behind(burst, data)
            burst.off = now  # it held the line; from here the new burst drives
        following = station.burst = Burst(station, data, now)
        following.off_before = burst.off if burst is not None else -self.span
        self._begin(following)
        return following

    def _send_behind(self, burst: Burst, data: bytes) -> Burst:
        if not burst.data:
            raise Defect(f"{burst.station.name} sends while it holds the pair at space")
        if not burst.closed and len(burst.data) < _LONGEST:
            told = len(burst.data)
            burst.data += data
            burst.stretch()
            if burst.begun:
                for group in self._single:
                    if group.burst is burst and group.taken == told:  # it had heard it all; now there is more
                        self._next_stop(group)
                self.free_at = max(self.free_at, burst.off + self.span)
                if self.rough:
                    self._exact.look_again()
            return burst
        following = burst.station.burst = Burst.behind(burst, data, 0 if burst.closed else self.span)
        following.off_before = burst.off = burst.end
        self.kernel.at(following.on, self._begin, following)
        return following

    def reset(self, station: Station, setting: Setting) -> None:
        """Set a station's port anew, now: what it is receiving is lost. Defect where it is sending."""
        set_anew(self, self._exact, station, setting)
        self.sort_groups(scattered=len({group.origin for group in self.groups}) < len(self.groups))

    def rewire(self) -> CableSegments:
        """The pair as it is cut into pieces, to be changed now."""
        self.segments = self.segments or CableSegments(self, self._exact)
        return self.segments

    def tidy(self) -> None:
        """Everything that could has come to rest: forget cuts that are mended, and let ears become one again."""
        unite(self, self._exact)

    def begin_break(self, station: Station) -> None:
        """Drive the pair to space from now on. The station must not be sending (Defect)."""
        begin_break(self, self._exact, station)

    def end_break(self, station: Station) -> None:
        """Let go of the pair. The break is a burst record without characters. Raises Defect where there is none."""
        self._emit(end_break(self, self._exact, station))

    def busy(self, station: Station) -> bool:
        """Whether a driver's signal is at this station's position now, its own included."""
        return self.quiet_from(station) > self.kernel.now

    def quiet_from(self, station: Station) -> int:
        """Since when (or from when on) no driver's signal is at this station's position, ns."""
        now = self.kernel.now
        delays = station.delays
        since = 0
        for other in self.stations:
            burst, delay = other.burst, delays[other.number]
            if burst is not None and (self.segments is None or self.segments.together(station, other)):
                # a burst that has not reached this station yet leaves it with the one before
                off = burst.off if burst.on + delay <= now else burst.off_before
                if off == NEVER:  # a break that somebody still holds: it may end at any time
                    off = now + station.setting.char
                since = max(since, off + delay)
        return since

    def pulse(self, length: int, floating: bool) -> None:
        """Disturb the pair for `length` ns from now: turn the level over, or (`floating`) pull it to space if
        undriven.
        """
        if floating and (self.biased if self.segments is None else not self.segments.floats()):
            return
        now, exact = self.kernel.now, self._exact
        exact.gather(now)
        exact.add(pulse=Pulse(now, now + length, floating))
        for burst in exact.recent:
            burst.exact |= not burst.closed
        for group in self.groups:
            exact.take(group)
        exact.look_again()

    def finish(self) -> None:
        """The run ends here: write what receivers on the exact path heard so far."""
        self._exact.finish()

    # -- the way of a burst ---------------------------------------------------------------------------------

    def _begin(self, burst: Burst) -> None:
        burst.begun = True
        self.under_way += 1
        self.begun_at = burst.start
        exact = self._exact
        if self._plain and not self.rough and burst.on >= self.free_at:
            station = burst.station
            for group in self._shared:
                sends = station.group is group and not station.echo
                if group.quiet_for(burst):
                    group.deaf = station if sends else None
                elif sends or group.source is not station or group.deaf is not None:
                    break  # its stations would not all hear the same from here, or not at the same distance in time
            else:
                exact.recent[:] = (burst,)
                self.free_at = burst.off + self.span
                self._schedule(burst)
                return
        self._begin_exact(burst)

    def _begin_exact(self, burst: Burst) -> None:
        exact = self._exact
        if self.segments is not None and not self.segments.admit(burst):
            return
        exact.gather(burst.on)
        station = burst.station
        contended = burst.on < self.free_at
        disturbed = contended or self.always_exact or any(p.end + self.span > burst.on for p in exact.pulses)
        unlike = burst.setting.inverted or station.lead < 0 or station.hold < 0
        for group in self.groups:
            if group.receivers:
                continue
            sends = station.group is group and not station.echo
            held = group.shared and not group.quiet_for(burst)
            parted = held and (sends or group.source is not station or group.deaf is not None)
            if disturbed or unlike or parted or group.setting is not burst.setting:
                exact.take(group)
            elif group.shared and not held:
                group.deaf = station if sends else None
        if self.rough:
            if contended:
                for other in exact.recent:
                    other.exact |= not other.closed
            burst.exact = 1
        for group in self.groups:
            exact.settle(group)
        exact.add(burst)
        self.free_at = max(self.free_at, burst.off + self.span)
        exact.look_again()
        self._schedule(burst)

    def _schedule(self, burst: Burst) -> None:
        """Plan who is told when: single ears each at its instant, the shared ones at the end of it all."""
        station, tell = burst.station, self.kernel.at_near
        burst.until = len(burst.data)
        for group in self._single:
            if not group.receivers and (group is not station.group or station.echo):
                group.burst = burst
                group.taken = 0
                member = group.members[0]
                if group.listener.stops:
                    self._next_stop(group)
                else:
                    group.until = burst.until
                    tell(burst.whole + member.delays[station.number], self._tell, group)
        for group in self._shared:
            if not group.receivers:
                group.burst = burst
                group.taken = 0
        self.kernel.at(burst.whole + self.span, self._close, burst)

    def close_later(self, burst: Burst) -> None:
        """A burst that no ear on the fast path hears."""
        burst.until = len(burst.data)
        self.kernel.at(burst.whole + self.span, self._close, burst)

    def _next_stop(self, group: ReceiverGroup) -> None:
        burst = group.burst
        assert burst is not None
        ahead = len(burst.data) - group.taken
        group.until = group.taken + min(group.listener.stop(group.taken) or ahead, ahead)
        self.kernel.at_near(
            burst.sampled(group.until) + group.members[0].delays[burst.station.number], self._tell, group
        )

    def _tell(self, group: ReceiverGroup) -> None:
        """A single ear has heard what it waited for."""
        burst = group.burst
        if burst is None or group.receivers:
            return
        if group.until > group.taken:
            self._hand_over(group, burst, group.until)
        if group.taken < len(burst.data) and group.burst is burst and not group.receivers:
            self._next_stop(group)

    def _hand_over(self, group: ReceiverGroup, burst: Burst, until: int) -> None:
        """Tell a fast ear the characters of a burst from where it stands up to number `until`."""
        taken, station, data = group.taken, burst.station, burst.data
        group.taken = until
        if taken or until < len(data):
            first, last = burst.sampled(taken + 1), burst.sampled(until)
            data = data[taken:until]
        else:
            first, last = burst.first, burst.whole
        if group.shared:
            group.source = station
            group.listener.heard(data, first, last, 0, station, group.deaf)
        else:
            delay = group.members[0].delays[station.number]
            group.listener.heard(data, first + delay, last + delay, 0, None, None)

    def _close(self, burst: Burst) -> None:
        """What was scheduled of a burst has reached everybody: tell the shared ears, and write it if that was all."""
        until, data = burst.until, burst.data
        whole = until == len(data)
        if whole:
            exact = burst.exact
            burst.closed = True
            self.under_way -= 1
            if exact:
                self.exact_bursts += 1
            self._emit(
                (BURST, self.number, burst.station.label, burst.start, burst.end, burst.setting_label, data, exact)
            )
        for group in self._shared:
            if group.burst is burst and group.taken < until:
                self._hand_over(group, burst, until)
        if not whole:
            burst.until = len(burst.data)
            self.kernel.at(burst.whole + self.span, self._close, burst)

    # -- while a burst is under way ---------------------------------------------------------------------------

    def catch_up(self, station: Station) -> None:
        """Tell a station's ear what has come by now of a burst that is under way and would be told later."""
        if not self.under_way and not self.rough:
            return
        receiver = find_receiver(station)
        if receiver is not None:
            self._exact.listen(receiver)
            return
        group = station.group
        assert group is not None
        burst = group.burst
        if burst is not None and group.taken < len(burst.data):
            delay = 0 if group.shared else station.delays[burst.station.number]
            arrived = burst.arrived(self.kernel.now - delay)
            if arrived > group.taken:
                self._hand_over(group, burst, arrived)

    def coming(self, station: Station) -> tuple[int, int] | None:
        """The next character on its way to a station and not yet told: ns of its start edge, and when it will be there.

        At a shared ear as at the sender. None: there is none.
        """
        if not self.under_way and not self.rough:
            return None
        receiver = find_receiver(station)
        if receiver is not None:
            heard = station.uart.next(self._exact.wave(receiver))
            return None if heard is None else (heard[0] - station.setting.sample, heard[0])
        group = station.group
        assert group is not None
        burst = group.burst
        if burst is None or group.taken >= len(burst.data):
            return None
        done = burst.sampled(group.taken + 1) + (0 if group.shared else station.delays[burst.station.number])
        return done - burst.setting.sample, done
