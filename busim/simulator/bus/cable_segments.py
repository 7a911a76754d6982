"""The pair in segments: cut somewhere, or with stations unplugged. Each segment is a pair of its own.

A cable has such an object from the first cut until it is whole and idle again. A change holds for every station from
its instant on: a burst then reaches only the stations on its driver's segment, and levels on their way to others are
lost. Reflections at an open end are not modelled.

The `main` segment may use the fast path; it is the one on which a burst last began. Receivers elsewhere are on the
exact path. A segment without a bias floats: its receivers read it as idle, and false start bits appear if the line has
chatter.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import NamedTuple

from busim.simulator.bus.driver import drive
from busim.simulator.bus.stations import NEVER, Burst, ReceiverGroup, Station
from busim.simulator.bus.wave import OFF

OFF_LINE = -1  # the segment of an unplugged station

States = list[tuple[int, int, int]]  # ns at the receiver, state, ns at the driver from which it holds


class _Epoch(NamedTuple):
    """From `at` ns on: the segment of each station by its number, and the segments with a bias."""

    at: int
    segments: tuple[int, ...]
    biased: frozenset[int]


class CableSegments:
    """`main`: the segment with the fast path. Positions are numbers of stations, counted along the cable."""

    def __init__(self, stations: int, biased_at: Iterable[int]) -> None:
        self.main = 0
        self._stations = stations
        self._biased_at = tuple(biased_at)
        self._cuts: set[int] = set()
        self._off: dict[int, bool] = {}  # unplugged stations, and whether the pair passes through them
        self._epochs = [self._epoch(-NEVER)]

    @property
    def whole(self) -> bool:
        """Whether the pair is whole again."""
        return not self._cuts and not self._off

    # -- changes: each holds from the next `begin_epoch` on -------------------------------------------------

    def cut(self, number: int) -> None:
        """Open the pair before station `number`."""
        self._cuts.add(number)

    def join(self, number: int) -> None:
        """Close this cut."""
        self._cuts.discard(number)

    def unplug(self, station: Station, *, through: bool) -> None:
        """Unplug a station, so it neither drives nor hears. `through`: the pair still passes it."""
        self._off[station.number] = through

    def plug(self, station: Station) -> None:
        """Plug the station in again."""
        self._off.pop(station.number, None)

    def begin_epoch(self, now: int) -> None:
        """Make the changes so far effective from `now` on."""
        self._epochs.append(self._epoch(now))
        if all(segment != self.main for segment in self._epochs[-1].segments):
            self.main = max(0, self._epochs[-1].segments[0])

    def forget(self, before: int) -> None:
        """Drop epochs that no receiver needs any more."""
        while len(self._epochs) > 1 and self._epochs[1].at <= before:
            del self._epochs[0]

    def _epoch(self, at: int) -> _Epoch:
        segments: list[int] = []
        segment = 0
        for number in range(self._stations):
            segment += number in self._cuts
            if number not in self._off:
                segments.append(segment)
                continue
            segments.append(OFF_LINE)
            segment += not self._off[number]
        biased = {segments[number] for number in self._biased_at}
        return _Epoch(at, tuple(segments), frozenset(biased - {OFF_LINE}))

    # -- which stations share a segment now -----------------------------------------------------------------

    def segment(self, station: Station) -> int:
        """The segment of a station now; `OFF_LINE` if it is unplugged."""
        return self._epochs[-1].segments[station.number]

    def together(self, one: Station, other: Station) -> bool:
        """Whether two stations are on one segment now."""
        return one is other or self.segment(one) == self.segment(other) != OFF_LINE

    def may_be_fast(self, group: ReceiverGroup) -> bool:
        """Whether all stations of a group are on the segment with the fast path."""
        return all(self.segment(station) == self.main for station in group.members)

    def floats(self) -> bool:
        """Whether a segment has no bias."""
        return not set(self._epochs[-1].segments) - {OFF_LINE} <= self._epochs[-1].biased

    # -- what reaches a receiver over time ------------------------------------------------------------------

    def through(self, burst: Burst, station: Station) -> States:
        """The states of a burst's driver that reach a station."""
        sender, delay = burst.station, station.delays[burst.station.number]
        on, off = burst.on + delay, burst.off + delay
        if off + station.setting.char < station.uart.at:  # in the past of this receiver
            return []
        windows = [(on, off)] if sender is station else list(self._windows(on, off, sender, station))
        if not windows:
            return []
        states = [(time + delay, state, time) for time, state in drive(burst)]
        if windows == [(on, off)]:
            return states
        found: States = []
        for start, end in windows:
            held = [(state, since) for time, state, since in states if time <= start]
            if held and held[-1][0] != OFF:
                found.append((start, *held[-1]))
            found += [state for state in states if start < state[0] < end]
            if not found or found[-1][1] != OFF:
                found.append((end, OFF, end - delay))
        return found

    def reaches(self, burst: Burst, station: Station) -> bool:
        """Whether any part of a burst could reach a station."""
        delay = station.delays[burst.station.number]
        return any(self._windows(burst.on + delay, burst.off + delay, burst.station, station))

    def _windows(self, start: int, end: int, one: Station, other: Station) -> Iterator[tuple[int, int]]:
        """The intervals between two instants in which two stations were on one segment."""
        apart = start
        for since, until, epoch in self._spans(start, end):
            if epoch.segments[one.number] == epoch.segments[other.number] != OFF_LINE:
                continue
            if apart < since:
                yield apart, since
            apart = until
        if apart < end:
            yield apart, end

    def disturbed(self, start: int, end: int, station: Station, floating: bool) -> Iterator[tuple[int, int]]:
        """The parts of an interval in which a disturbance reaches a station; `floating`: only those without a bias."""
        for since, until, epoch in self._spans(start, end):
            segment = epoch.segments[station.number]
            if segment != OFF_LINE and not (floating and segment in epoch.biased):
                yield since, until

    def _spans(self, start: int, end: int) -> Iterator[tuple[int, int, _Epoch]]:
        for number, epoch in enumerate(self._epochs):
            until = self._epochs[number + 1].at if number + 1 < len(self._epochs) else NEVER
            if max(start, epoch.at) < min(end, until):
                yield max(start, epoch.at), min(end, until), epoch
