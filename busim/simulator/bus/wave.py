"""The level one receiver sees over time: the superposition of what all drivers do to the pair.

Only the exact path needs it. Each driver is off, or drives mark (1) or space (0); its edges reach a receiver
after the propagation delay. Where drivers disagree, the line's contention decides. Disturbances come on top:
a `flip` pulse turns the level over, a `float` pulse makes an undriven pair read as space. Last comes the
receiver itself: a swapped pair turns everything over, and a station without echo hears mark while it sends.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from busim.simulator.kernel import coin

if TYPE_CHECKING:
    from busim.simulator.bus.line import Line
    from busim.simulator.bus.stations import Burst, Station

MARK, SPACE, OFF = 1, 0, 2


@dataclass(frozen=True, slots=True)
class Pulse:
    """A disturbance of the pair from `start` to `end` ns. `floating`: acts only where nobody drives."""

    start: int
    end: int
    floating: bool


class Wave:
    """Levels over time: `levels[n]` holds from `times[n]`; `before` holds ahead of the first."""

    __slots__ = ("before", "levels", "times")

    def __init__(self, before: int) -> None:
        self.before = before
        self.times: list[int] = []
        self.levels: list[int] = []

    def set(self, time: int, level: int) -> None:
        """From `time` on the level is `level`; a time must not lie before the last one."""
        if (self.levels[-1] if self.levels else self.before) != level:
            self.times.append(time)
            self.levels.append(level)

    def at(self, time: int) -> int:
        """What a sample at `time` sees: a level that changes at this very nanosecond is seen as it was before.

        So a sample does not depend on who has its turn first at that nanosecond, and what it brings about cannot
        change it.
        """
        index = bisect_left(self.times, time)
        return self.levels[index - 1] if index else self.before


def burst_edges(burst: Burst) -> list[tuple[int, int]]:
    """The edges of a burst's characters at its driver, before polarity: (ns, level), first start bit first."""
    setting = burst.setting
    format = setting.format
    base = 0
    edges: list[tuple[int, int]] = []
    level = MARK
    for value in burst.data:
        for number, bit in enumerate([*format.levels(value), MARK]):
            if bit != level:
                edges.append((burst.start + setting.offset(base + 2 * number), bit))
                level = bit
        base += setting.halves
    return edges


def drive(burst: Burst) -> Sequence[tuple[int, int]]:
    """What the burst's driver does to the pair: (ns, MARK, SPACE or OFF), its lead and hold included.

    Worked out once for a length and an end: every receiver and every newcomer on the line asks again.
    """
    known = len(burst.data), burst.off
    if burst.driven_for != known:
        burst.driven, burst.driven_for = _drive(burst), known
    return burst.driven


def _drive(burst: Burst) -> list[tuple[int, int]]:
    turn = 1 if burst.setting.inverted else 0
    on, off = burst.on, burst.off
    if not burst.data:
        return [(on, SPACE ^ turn), (off, OFF)]
    level = MARK
    states: list[tuple[int, int]] = []
    for time, bit in burst_edges(burst):
        if time <= on:
            level = bit
        elif time < off:
            states.append((time, bit ^ turn))
    return [(on, level ^ turn), *states, (off, OFF)]


def wave_at(line: Line, station: Station, bursts: list[Burst], pulses: list[Pulse]) -> Wave:
    """The level at `station`'s receiver output, from these bursts and pulses of `line`."""
    events: list[tuple[int, int, int]] = []  # time, source, state; sources past the bursts: mask, flip, float
    mask, flip, floating = len(bursts), len(bursts) + 1, len(bursts) + 2
    for index, burst in enumerate(bursts):
        if burst.station is station and not station.echo:
            events += ((burst.on, mask, 1), (burst.off, mask, -1))
        if line.segments is not None:
            events += [(time, index, state) for time, state in line.segments.through(burst, station)]
            continue
        delay = station.delays[burst.station.number]
        events += [(time + delay, index, state) for time, state in drive(burst)]
    for pulse in pulses:
        spans = [(pulse.start, pulse.end)]
        if line.segments is not None:
            spans = list(line.segments.exposed(pulse.start, pulse.end, station, pulse.floating))
        elif pulse.floating and line.biased:
            continue
        if pulse.floating and station.fail_safe:
            continue
        source = floating if pulse.floating else flip
        for start, end in spans:
            events += ((start, source, 1), (end, source, -1))
    events.sort()
    return _superpose(line, station, bursts, events)


def _superpose(line: Line, station: Station, bursts: list[Burst], events: list[tuple[int, int, int]]) -> Wave:
    turn = 1 if station.setting.inverted else 0
    wave = Wave(MARK ^ turn)
    count = len(bursts)
    driven: dict[int, int] = {}
    extra = [0, 0, 0]  # masks, flips and floats that are on
    number, last = 0, len(events)
    while number < last:
        time = events[number][0]
        while number < last and events[number][0] == time:
            _, source, state = events[number]
            number += 1
            if source >= count:
                extra[source - count] += state
            elif state == OFF:
                driven.pop(source, None)
            else:
                driven[source] = state
        masked, flips, floats = extra
        if masked:
            wave.set(time, MARK)
            continue
        level = _level(line, station, bursts, driven, time) if driven else (SPACE if floats else MARK)
        wave.set(time, level ^ (flips & 1) ^ turn)
    return wave


def _level(line: Line, station: Station, bursts: list[Burst], driven: dict[int, int], time: int) -> int:
    states = set(driven.values())
    if len(states) == 1:
        return states.pop()
    if line.contention == "space-wins":
        return SPACE
    if line.contention == "random":
        return coin(line.coin_key, time)
    nearest = min(station.delays[bursts[source].station.number] for source in driven)
    return min(state for source, state in driven.items() if station.delays[bursts[source].station.number] == nearest)
