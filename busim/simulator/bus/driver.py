"""A burst as its driver puts it on the pair: edges and levels over time, with lead and hold."""

from __future__ import annotations

from collections.abc import Sequence

from busim.simulator.bus.stations import Burst
from busim.simulator.bus.wave import MARK, OFF, SPACE


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
    """The driver's states during the burst: (ns, MARK, SPACE or OFF), with lead and hold.

    Cached for one length and one end of the burst: every receiver asks again at each change of a level.
    """
    known = len(burst.data), burst.off
    if burst.driven_for != known:
        burst.driven, burst.driven_for = _drive(burst), known
    return burst.driven


def _drive(burst: Burst) -> list[tuple[int, int]]:
    turn = 1 if burst.setting.inverted else 0
    on, off = burst.on, burst.off
    if on >= off:  # the driver is enabled after the burst
        return []
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
