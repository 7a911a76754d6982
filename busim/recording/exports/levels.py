"""From recorded bursts to the level of each pair over time.

Every driver's characters are laid out again from its setting, by the same formula as on the line: half-bit n of a
burst lies at start + (2*n*10**9 + d) // (2*d) with d = 2 x baud. Where drivers overlap, space wins. Propagation is left
out (every burst lies where its sender had it), and so is what no driver made: noise, and the undriven pair, which is
shown as mark. Bits cut off by a driver that came late or left early are cut here too.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterator, Mapping

from busim.recording.trace import BURST, Setting, Trace


def line_levels(trace: Trace, lines: Mapping[int, str]) -> Iterator[tuple[int, int, int]]:
    """(instant in ns, line number, level 1 mark or 0 space) at every change, in order of time; all start at mark.

    Bursts are taken in order of their start, and nothing before the next start can change any more: so only what
    overlaps is held in memory.
    """
    pulls = dict.fromkeys(lines, 0)  # drivers that pull each line to space
    pending: list[tuple[int, int, int]] = []  # instant, line, one more (1) or one less (-1) pulling
    for _, line, _, start, end, setting, data, _ in trace.records(BURST, by_time=True):
        if line in lines:
            yield from _settled(pending, pulls, start)
            for begins, ends in spaces(trace.settings[setting], start, end, data):
                heapq.heappush(pending, (begins, line, 1))
                heapq.heappush(pending, (ends, line, -1))
    yield from _settled(pending, pulls, None)


def _settled(
    pending: list[tuple[int, int, int]], pulls: dict[int, int], before: int | None
) -> Iterator[tuple[int, int, int]]:
    """The changes that are certain because they lie before the next burst; all at one instant count as one."""
    while pending and (before is None or pending[0][0] < before):
        at, line, _ = pending[0]
        old = pulls[line]
        while pending and pending[0][:2] == (at, line):
            pulls[line] += heapq.heappop(pending)[2]
        if bool(old) != bool(pulls[line]):
            yield at, line, int(not pulls[line])


def spaces(setting: Setting, start: int, end: int, data: bytes) -> Iterator[tuple[int, int]]:
    """The stretches (from, to in ns) in which a burst pulls the pair to space; a break (no data) always does."""
    if not data:
        if not setting.inverted:
            yield start, end
        return
    on, off = start - min(setting.lead, 0), end + min(setting.hold, 0)
    last = on
    level = 1
    for at, after in _edges(setting, start, data):
        if level == setting.inverted and last < min(at, off):
            yield last, min(at, off)
        last, level = max(at, on), after
    if level == setting.inverted and last < off:
        yield last, off


def _edges(setting: Setting, start: int, data: bytes) -> Iterator[tuple[int, int]]:
    """(instant, level after it) of each edge of a burst as its UART makes it, before any swapping of the pair."""
    double = 2 * setting.true_baud
    numerator, denominator = double.numerator, double.denominator
    level, half = 1, 0
    for value in data:
        bits = setting.format.levels(value)
        for place, bit in enumerate([*bits, 1]):
            if bit != level:
                halves = half + 2 * place
                yield start + (2 * halves * 10**9 * denominator + numerator) // (2 * numerator), bit
                level = bit
        half += setting.format.half_bits
