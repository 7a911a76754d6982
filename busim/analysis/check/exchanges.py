"""The exchanges of a master on a line, for the rules about time: the slowest, the lost, and those that do not fit.

A rule names a master once, with its worst line: forty lines that break one setting are one mistake.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import NamedTuple

from busim.analysis.check.survey import Survey, Timed

INSTANT = 100_000_000.0  # ns; feels instantaneous: Nielsen, Usability Engineering, 1993, ch. 5; Miller 1968
ONE_WAY = 250_000_000.0  # ns one way, the limit for command and control: ITU-T G.1010, 2001 (second-hand)


class Slow(NamedTuple):
    """A poll or move at worst: its duration and its time-out, both ns."""

    camera: str
    takes: float
    time_out: float


def slowest(timed: Timed) -> Slow | None:
    """The exchange with the least time left before its time-out (or most beyond it); None if no camera answers."""
    found: Slow | None = None
    for rows in (timed.mean.layout.polls, timed.mean.layout.moves):
        for row in rows:
            unit, one = timed.case.units[row.unit], timed.mean.times[row.kind]
            takes = one.exchange.worst + row.way
            if not unit.trouble and (found is None or takes - one.time_out > found.takes - found.time_out):
                found = Slow(unit.name, float(takes), float(one.time_out))
    return found


def lost(timed: Timed) -> float:
    """Duration of the most expensive exchange without a reply, ns: its time-out and the drain after it."""
    return max((float(one.lost) for one in timed.mean.times), default=0.0)


def longest(timed: Timed) -> float:
    """Duration of the longest answered exchange at worst, ns."""
    rows = (row for rows in (timed.mean.layout.polls, timed.mean.layout.moves) for row in rows)
    living = (row for row in rows if not timed.case.units[row.unit].trouble)
    return max((float(timed.mean.times[row.kind].exchange.worst + row.way) for row in living), default=0.0)


def p95(timed: Timed) -> float:
    """Time within which 95 % of the moves are answered, ns; 0 without moves or without a steady state."""
    moves = timed.budget.moves
    return 0.0 if moves is None else moves.p95 * 1e9


def by_master(survey: Survey, bad: Callable[[Timed], float]) -> Iterator[tuple[Timed, int]]:
    """For each master, the line with the highest `bad`, and the number of its lines with `bad` above 0."""
    found: dict[str, list[tuple[float, int]]] = {}
    for number, timed in enumerate(survey.timed):
        size = bad(timed)
        if size > 0:
            found.setdefault(timed.asker.master.name, []).append((-size, number))
    for many in found.values():
        yield survey.timed[min(many)[1]], len(many)


def elsewhere(count: int) -> str:
    """The end of a message about one of several lines."""
    return "" if count < 2 else f", and on {count - 1} more line{'s' if count > 2 else ''}"
