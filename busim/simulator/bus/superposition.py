"""The level one receiver sees over time: the superposition of all drivers on the pair.

Only the exact path needs it. Each driver is off, or drives mark (1) or space (0); its edges reach a receiver after the
propagation delay. If drivers disagree, the line's contention decides (`physics.contention`). Then come disturbances: a
`flip` pulse inverts the level, a `float` pulse makes an undriven pair read as space. Last comes the receiver: a swapped
pair inverts everything, and a station without echo hears mark while it sends.
"""

from __future__ import annotations

from busim.physics.contention import Driven, winner
from busim.simulator.bus.cable import Cable
from busim.simulator.bus.driver import drive
from busim.simulator.bus.stations import Burst, Station
from busim.simulator.bus.wave import MARK, OFF, SPACE, Pulse, Wave


def wave_at(cable: Cable, station: Station, bursts: list[Burst], pulses: list[Pulse]) -> Wave:
    """The level at `station`'s receiver output, from these bursts and pulses on `cable`."""
    # Time here, source, state, time at the driver. Sources after the bursts: mask, flip, float.
    events: list[tuple[int, int, int, int]] = []
    mask, flip, floating = len(bursts), len(bursts) + 1, len(bursts) + 2
    segments = cable.segments
    for index, burst in enumerate(bursts):
        if burst.station is station and not station.echo and burst.on < burst.off:
            events += ((burst.on, mask, 1, 0), (burst.off, mask, -1, 0))
        if segments is not None:
            events += [(time, index, state, since) for time, state, since in segments.through(burst, station)]
            continue
        delay = station.delays[burst.station.number]
        events += [(time + delay, index, state, time) for time, state in drive(burst)]
    for pulse in pulses:
        spans = [(pulse.start, pulse.end)]
        if segments is not None:
            spans = list(segments.disturbed(pulse.start, pulse.end, station, pulse.floating))
        elif pulse.floating and cable.biased:
            continue
        if pulse.floating and station.fail_safe:
            continue
        source = floating if pulse.floating else flip
        for start, end in spans:
            events += ((start, source, 1, 0), (end, source, -1, 0))
    events.sort()
    return _superpose(cable, station, bursts, events)


def _superpose(cable: Cable, station: Station, bursts: list[Burst], events: list[tuple[int, int, int, int]]) -> Wave:
    turn = 1 if station.setting.inverted else 0
    wave = Wave(MARK ^ turn)
    count = len(bursts)
    driven: dict[int, Driven] = {}
    extra = [0, 0, 0]  # masks, flips and floats in effect
    number, last = 0, len(events)
    while number < last:
        time = events[number][0]
        while number < last and events[number][0] == time:
            _, source, state, since = events[number]
            number += 1
            if source >= count:
                extra[source - count] += state
            elif state == OFF:
                driven.pop(source, None)
            else:
                driven[source] = _driven(station, bursts[source].station, state, since)
        masked, flips, floats = extra
        if masked:
            wave.set(time, MARK)
            continue
        level = SPACE if floats else MARK
        if driven:
            level = winner(cable.contention, cable.coin_key, driven.values())
        wave.set(time, level ^ (flips & 1) ^ turn)
    return wave


def _driven(station: Station, driver: Station, level: int, since: int) -> Driven:
    return Driven(driver.number, level, since, station.delays[driver.number])
