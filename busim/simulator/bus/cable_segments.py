"""The pair in pieces: cut somewhere, or with stations that are off it. Each piece is a pair of its own.

A line has such an object only from the first cut until all is whole again and has come to rest; without one nobody
asks. What changes, changes for everybody at its instant: from then on the levels of a burst reach who is on the same
piece as its driver, and what was on its way to others is over. How a wave breaks at an open end is not modelled.

One of the pieces, the one on which somebody last began to send, may use the fast path; who is not on it hears on the
exact one. A piece without a bias floats: its receivers read it as idle, and false start bits come where the line has
any.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, NamedTuple

from busim.simulator.bus.exact import ExactPath
from busim.simulator.bus.receiver_groups import part
from busim.simulator.bus.stations import NEVER, Burst, ReceiverGroup, Station
from busim.simulator.bus.wave import OFF, drive

if TYPE_CHECKING:
    from busim.simulator.bus.line import Line

_OFF_LINE = -1

States = list[tuple[int, int]]


class _Epoch(NamedTuple):
    """From `at` ns on: the piece of each station by its number, and the pieces with a bias."""

    at: int
    segments: tuple[int, ...]
    biased: frozenset[int]


class CableSegments:
    """`whole`: whether it is one again. Positions are numbers of stations, counted along the line."""

    def __init__(self, line: Line, exact: ExactPath) -> None:
        self._cuts: set[int] = set()
        self._off: dict[int, bool] = {}  # stations that are off the pair, and whether it goes on past them
        self._line = line
        self._exact = exact
        self._main = 0
        self._epochs = [self._epoch(-NEVER)]

    @property
    def whole(self) -> bool:
        return not self._cuts and not self._off

    def cut(self, number: int) -> None:
        """Open the pair ahead of station `number`: who stands before it is apart from it and who follows."""
        self._cuts.add(number)
        self._changed()

    def join(self, number: int) -> None:
        """Close it there again."""
        self._cuts.discard(number)
        self._changed()

    def unplug(self, station: Station, *, through: bool = True) -> None:
        """Take a station off the pair: it neither drives nor hears. `through`: the pair goes on past it."""
        self._off[station.number] = through
        self._changed()

    def plug(self, station: Station) -> None:
        """Put it back."""
        self._off.pop(station.number, None)
        self._changed()

    def _changed(self) -> None:
        """The pair is otherwise from now on: whoever hears something hears on for himself."""
        line, exact = self._line, self._exact
        now = line.kernel.now
        for burst in exact.recent:
            if not burst.closed:
                burst.exact = 1
                line.free_at = max(line.free_at, NEVER if burst.off == NEVER else burst.off + line.span)
        for group in line.groups:
            exact.take(group)
        behind = min((receiver.station.uart.at for group in line.groups for receiver in group.receivers), default=now)
        self._forget(behind - line.span)
        self._epochs.append(self._epoch(now))
        if all(piece != self._main for piece in self._epochs[-1].segments):
            self._main = max(0, self._epochs[-1].segments[0])
        for group in list(line.groups):
            for station in list(group.members):
                if self._piece(station) != self._main:
                    part(line, exact, station)
        line.sort_groups(scattered=line.scattered)
        exact.look_again()

    def _epoch(self, at: int) -> _Epoch:
        segments: list[int] = []
        piece = 0
        for number in range(len(self._line.stations)):
            piece += number in self._cuts
            if number not in self._off:
                segments.append(piece)
                continue
            segments.append(_OFF_LINE)
            piece += not self._off[number]
        line = self._line
        biased = {segments[number] for number in line.biased_at if line.biased and number < len(segments)}
        return _Epoch(at, tuple(segments), frozenset(biased - {_OFF_LINE}))

    def _forget(self, before: int) -> None:
        """Drop what no receiver looks back to."""
        while len(self._epochs) > 1 and self._epochs[1].at <= before:
            del self._epochs[0]

    def _piece(self, station: Station) -> int:
        return self._epochs[-1].segments[station.number]

    # -- who is with whom -----------------------------------------------------------------------------------

    def together(self, one: Station, other: Station) -> bool:
        """Whether two stations are on one piece now."""
        return one is other or self._piece(one) == self._piece(other) != _OFF_LINE

    def clear(self, group: ReceiverGroup) -> bool:
        """Whether an ear may use the fast path: all of its stations are on the piece that does."""
        return all(self._piece(station) == self._main for station in group.members)

    def floats(self) -> bool:
        """Whether a piece has no bias."""
        return not set(self._epochs[-1].segments) - {_OFF_LINE} <= self._epochs[-1].biased

    def admit(self, burst: Burst) -> bool:
        """A burst begins: whether it does so on the piece with the fast path. The line's own begin goes on then."""
        line, exact = self._line, self._exact
        piece = self._piece(burst.station)
        if piece == self._main:
            return True
        if piece == _OFF_LINE:  # it drives nothing, and nobody is told
            burst.closed = True
            line.under_way -= 1
            return False
        if burst.on >= line.free_at and all(other.closed for other in exact.recent):
            for group in line.groups:
                exact.take(group)
            self._main = piece
            return True
        burst.exact = 1
        exact.add(burst)
        exact.look_again()
        line.close_later(burst)
        return False

    # -- what a receiver sees -------------------------------------------------------------------------------

    def through(self, burst: Burst, station: Station) -> States:
        """What of the states of a burst's driver gets through to a station; instants there."""
        sender, delay = burst.station, station.delays[burst.station.number]
        on, off = burst.on + delay, burst.off + delay
        if off + station.setting.char < station.uart.at:  # it lies behind the receiver
            return []
        windows = [(on, off)] if sender is station else list(self._windows(on, off, sender, station))
        if not windows:
            return []
        states = [(time + delay, state) for time, state in drive(burst)]
        if windows == [(on, off)]:
            return states
        found: States = []
        for start, end in windows:
            held = [state for time, state in states if time <= start]
            if held and held[-1] != OFF:
                found.append((start, held[-1]))
            found += [(time, state) for time, state in states if start < time < end]
            if not found or found[-1][1] != OFF:
                found.append((end, OFF))
        return found

    def met(self, burst: Burst, station: Station) -> bool:
        """Whether anything of a burst could reach a station."""
        delay = station.delays[burst.station.number]
        return any(self._windows(burst.on + delay, burst.off + delay, burst.station, station))

    def _windows(self, start: int, end: int, one: Station, other: Station) -> Iterator[tuple[int, int]]:
        """When, between two instants, two stations were on one piece."""
        apart = start
        for since, until, epoch in self._spans(start, end):
            if epoch.segments[one.number] == epoch.segments[other.number] != _OFF_LINE:
                continue
            if apart < since:
                yield apart, since
            apart = until
        if apart < end:
            yield apart, end

    def exposed(self, start: int, end: int, station: Station, floating: bool) -> Iterator[tuple[int, int]]:
        """When, between two instants, a disturbance of the pair reaches a station; `floating`: only without a bias."""
        for since, until, epoch in self._spans(start, end):
            piece = epoch.segments[station.number]
            if piece != _OFF_LINE and not (floating and piece in epoch.biased):
                yield since, until

    def _spans(self, start: int, end: int) -> Iterator[tuple[int, int, _Epoch]]:
        for number, epoch in enumerate(self._epochs):
            until = self._epochs[number + 1].at if number + 1 < len(self._epochs) else NEVER
            if max(start, epoch.at) < min(end, until):
                yield max(start, epoch.at), min(end, until), epoch
