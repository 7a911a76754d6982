"""The line: bursts of stations reach every receiver, by a fast path or an exact one.

The way of data: `Line.send` makes a burst; `_begin` chooses the path of each receiver group. Fast (`fast`): one driver,
every station set alike, nothing disturbed. The instants of its characters are known beforehand, so one event per group
delivers them all. Exact (`exact`): anything else; `superposition` gives the level at each receiver over time, `uart`
the characters in it. Both end at the group's listener. A burst on the fast path moves to the exact one when another
driver or a disturbance joins it; until then nothing was delivered that the newcomer could change.

Listeners that decide by the clock during a burst (a packer, a time-out, a framer) first fetch the characters that have
arrived: `catch_up`, `coming`. Stations may share a group only if their answer takes longer than the line's propagation
delay.
"""

from __future__ import annotations

from typing import Final

from busim.foundation.errors import Defect
from busim.recording.trace import PULSE, Emit
from busim.simulator.bus.cable import Cable
from busim.simulator.bus.cable_segments import CableSegments
from busim.simulator.bus.driver import burst_edges
from busim.simulator.bus.exact import ExactPath
from busim.simulator.bus.fast import FastPath
from busim.simulator.bus.port_changes import PortChanges
from busim.simulator.bus.receiver_groups import ReceiverGroups
from busim.simulator.bus.rewiring import Rewiring
from busim.simulator.bus.settings import Setting
from busim.simulator.bus.stations import NEVER, Burst, Listener, Station
from busim.simulator.bus.traffic import Traffic
from busim.simulator.bus.wave import Pulse
from busim.simulator.kernel import Kernel

# Characters in one burst. More characters begin the next burst, after this one has ended at every station.
_LONGEST: Final = 4096


class Line:
    """One shared pair. `attach` stations, then `start`, then `send`. Emits burst and heard records.

    It owns the parts and hands each the others that it needs: `Cable` (stations, delays, cuts), `Traffic` (when the
    pair is free), `ReceiverGroups`, `ExactPath`, `FastPath`, `PortChanges`, `Rewiring`. `stations` in the order of
    their numbers; `groups`: the receiver groups, `exact_groups`: those on the exact path; `traffic`: bursts on the pair
    now; `span`: propagation from end to end, ns, known from `start` on. `catch_up` and `coming`: see `FastPath`.
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
        self._emit = emit
        self._always_exact = always_exact
        cable = Cable(contention=contention, biased=biased, velocity=velocity, coin_key=coin_key)
        traffic = Traffic()
        exact = ExactPath(kernel, cable, traffic, number, emit)
        groups = ReceiverGroups(cable, exact, always_exact=always_exact)
        fast = FastPath(kernel, cable, traffic, groups, exact, number, emit)
        self._cable, self.traffic, self._exact, self._groups, self._fast = cable, traffic, exact, groups, fast
        self._ports = PortChanges(kernel, cable, traffic, groups, exact, fast, number, emit)
        self._rewiring = Rewiring(kernel, cable, traffic, groups, exact, fast)
        self.stations = cable.stations
        self.groups = groups.every
        self.span = 0
        self.exact_groups = exact.groups
        self.catch_up = fast.catch_up
        self.coming = fast.coming

    # -- building -------------------------------------------------------------------------------------------

    def attach(self, station: Station, listener: Listener) -> None:
        """Put a station on the line. Stations set alike may share one `listener`."""
        station.number = len(self._cable.stations)
        self._cable.stations.append(station)
        self._groups.attach(station, listener)

    def hold_bias_at(self, numbers: tuple[int, ...]) -> None:
        """Say which stations, by number, hold the bias of the pair. The default is the first station."""
        self._cable.biased_at = numbers

    def start(self) -> None:
        """Compute delays once all stations are attached, and let receivers that read idle as space see it."""
        self._cable.measure()
        self.span = self._cable.span
        self._groups.sort(scattered=False)
        for group in self._groups.every:
            if group.setting.inverted:
                self._exact.take_over(group)
        self._exact.levels_changed()

    # -- what there is to ask -------------------------------------------------------------------------------

    @property
    def scattered(self) -> bool:
        """Whether receiver groups wait to merge again."""
        return self._groups.scattered

    @property
    def segments(self) -> CableSegments | None:
        """The segments of a cut pair; None while it is whole."""
        return self._cable.segments

    def laid(self) -> dict[str, object]:
        """How the pair is laid, for the head of a trace (`cables`)."""
        cable = self._cable
        stations = [
            [one.label, cable.delay_over(one.metres), int(one.echo), int(one.fail_safe), int(one.setting.inverted)]
            for one in cable.stations
        ]
        return {"contention": cable.contention, "coin_key": cable.coin_key, "stations": stations}

    def delay_over(self, metres: float) -> int:
        """Propagation from the line's end to a position, ns."""
        return self._cable.delay_over(metres)

    def busy(self, station: Station) -> bool:
        """Whether any driver's signal is at this station's position now, its own included."""
        return self.quiet_from(station) > self.kernel.now

    def quiet_from(self, station: Station) -> int:
        """The instant (past or future, ns) from which no driver's signal is at this station's position."""
        now, cable = self.kernel.now, self._cable
        delays = station.delays
        since = 0
        for other in cable.stations:
            burst, delay = other.burst, delays[other.number]
            if burst is not None and (cable.segments is None or cable.segments.together(station, other)):
                # A burst that has not reached this station yet is ignored; the one before it decides.
                off = burst.off if burst.on + delay <= now else burst.off_before
                if off == NEVER:  # a held break may end at any time
                    off = now + station.setting.char
                since = max(since, off + delay)
        return since

    # -- what stations do -----------------------------------------------------------------------------------

    def send(self, station: Station, data: bytes) -> Burst:
        """Send characters now, or without a gap after those that the station is still sending."""
        if station.setting.trim is not None:
            data = data.translate(station.setting.trim)
        now = self.kernel.now
        burst = station.burst
        if burst is not None and burst.end > now:
            return self._send_behind(burst, data)
        if burst is not None and burst.off > now:
            burst.off = now  # the driver was held; from here it drives the new burst
        following = station.burst = Burst(station, data, now)
        following.off_before = burst.off if burst is not None else -self._cable.span
        self._begin(following)
        return following

    def _send_behind(self, burst: Burst, data: bytes) -> Burst:
        if not burst.data:
            raise Defect(f"{burst.station.name} sends while it holds the pair at space")
        span, traffic = self._cable.span, self.traffic
        released = burst.off <= self.kernel.now  # early: its last characters still leave the port
        if not burst.closed and not released and len(burst.data) < _LONGEST:
            before = len(burst.data)
            burst.data += data
            burst.stretch()
            if burst.begun:
                self._fast.stretched(burst, before)
                traffic.free_at = max(traffic.free_at, burst.off + span)
                if self.exact_groups:
                    self._exact.levels_changed()
            return burst
        following = burst.station.burst = Burst.behind(burst, data, 0 if burst.closed else span)
        if not released:
            burst.off = burst.end
        following.off_before = burst.off
        self.kernel.at(following.on, self._begin, following)
        return following

    def reset(self, station: Station, setting: Setting) -> None:
        """Set a station's port to another setting now; a character it is receiving is lost. Raises Defect if it is
        sending.
        """
        self._ports.set_anew(station, setting)

    def set_driver(self, station: Station, *, lead: int, hold: int, echo: bool) -> None:
        """Set how a station drives the pair from its next burst on, and whether it hears its own characters."""
        station.lead, station.hold, station.echo = lead, hold, echo
        self._groups.sort(scattered=self._groups.scattered)

    @property
    def tells(self) -> Emit:
        """The functions called with each burst at its end. A hook point."""
        return self._fast.emit

    @tells.setter
    def tells(self, emit: Emit) -> None:
        self._fast.emit = emit

    @property
    def biased(self) -> bool:
        """Whether the pair has a fail-safe bias."""
        return self._cable.biased

    @biased.setter
    def biased(self, biased: bool) -> None:
        self._cable.biased = biased

    def begin_break(self, station: Station, setting: Setting | None = None, label: int | None = None) -> None:
        """Drive the pair to space from now on, as a driver with this setting (default: its own; `label`: its number in
        the trace) does. The station must not be sending (Defect).
        """
        self._ports.begin_break(station, setting, label)

    def driving(self, bit: int) -> tuple[Station, bool] | None:
        """The station that drives the pair now, and whether an edge of its characters lies within `bit` ns. None:
        nobody does.
        """
        now = self.kernel.now
        for station in self._cable.stations:
            burst = station.burst
            if burst is not None and burst.on <= now < burst.off:
                return station, any(abs(time - now) <= bit for time, _ in burst_edges(burst))
        return None

    def end_break(self, station: Station) -> None:
        """End the break; its record is a burst without characters. Raises Defect if there is no break."""
        self._ports.end_break(station)

    def cut_off(self, station: Station) -> None:
        """The driver of a station loses its power now: of what it is sending the rest is never sent."""
        self._ports.cut_off(station)

    # -- what is done to the pair ---------------------------------------------------------------------------

    def rewire(self) -> Rewiring:
        """The pair, for cuts, joins, unplugging and plugging now."""
        return self._rewiring

    def pulse(self, length: int, floating: bool) -> None:
        """Disturb the pair for `length` ns from now: invert the level, or (`floating`) pull an
        undriven pair to space.
        """
        if floating and not self._cable.floats:
            return
        now, exact = self.kernel.now, self._exact
        self._groups.release(now)
        exact.add(pulse=Pulse(now, now + length, floating))
        self._emit((PULSE, self.number, now, now + length, int(floating)))
        exact.mark_recent()
        for group in self._groups.every:
            exact.take_over(group)
        exact.levels_changed()

    def finish(self) -> None:
        """End of the run: write bursts under way, and the characters that receivers on the exact path heard."""
        self._fast.finish()
        self._exact.finish()

    # -- a burst begins -------------------------------------------------------------------------------------

    def _begin(self, burst: Burst) -> None:
        if burst.closed:  # its driver lost its power before it began
            return
        burst.begun = True
        traffic, groups = self.traffic, self._groups
        traffic.under_way += 1
        traffic.begun_at = burst.start
        follows = burst.on >= traffic.free_at or self._follows(burst)
        if follows and groups.alike and not self.exact_groups:
            station = burst.station
            for group in groups.shared:
                sends = station.group is group and not station.echo
                if group.quiet_for(burst):
                    group.deaf = station if sends else None
                elif sends or group.source is not station or group.deaf is not None:
                    break  # its stations would hear different things from here, or at different delays
            else:
                if burst.on >= traffic.free_at:
                    self._exact.recent = [burst]
                else:
                    for group in groups.every:
                        self._exact.mark_heard(group)
                    self._exact.add(burst)
                traffic.free_at = burst.off + self._cable.span
                self._fast.deliver(burst)
                return
        self._begin_exact(burst, contended=not follows)

    def _follows(self, burst: Burst) -> bool:
        """Whether this burst follows those before it at every place, and all stations have their characters by now.

        It does if their signals have passed its sender: delays add up along the cable, so it overtakes none.
        """
        span, delays = self._cable.span, burst.station.delays
        return all(
            other.whole + span < burst.on and other.off + delays[other.station.number] <= burst.on
            for other in self._exact.recent
        )

    def _begin_exact(self, burst: Burst, *, contended: bool) -> None:
        """A burst begins that at least one group may have to hear on the exact path."""
        cable, traffic, exact = self._cable, self.traffic, self._exact
        if cable.segments is not None and not self._rewiring.admit(burst):
            return
        self._groups.release(burst.on)
        station, span = burst.station, cable.span
        disturbed = contended or self._always_exact or any(p.end + span > burst.on for p in exact.pulses)
        unlike = burst.setting.inverted or station.lead < 0 or station.hold < 0
        for group in self._groups.every:
            if group.receivers:
                continue
            sends = station.group is group and not station.echo
            held = group.shared and not group.quiet_for(burst)
            parted = held and (sends or group.source is not station or group.deaf is not None)
            if disturbed or unlike or parted or group.setting is not burst.setting:
                exact.take_over(group)
            elif group.shared and not held:
                group.deaf = station if sends else None
        if self.exact_groups:
            if contended:
                exact.mark_recent()
            burst.exact = 1
        for group in self._groups.every:
            exact.mark_heard(group)
        exact.add(burst)
        traffic.free_at = max(traffic.free_at, burst.off + span)
        exact.levels_changed()
        self._fast.deliver(burst)
