"""What takes numpy, of several lines at once.

The arrays of a line are short, so that most of the time for them goes into calling numpy at all: three lines together
take hardly longer than one. Nothing that comes out for a line depends on the others; whoever asks for a line alone gets
the same from the properties that are filled here.
"""

from __future__ import annotations

from collections.abc import Sequence

from busim.budget.figures import Expected
from busim.budget.moves import many_waits, quantiles_of
from busim.budget.pace import LATE
from busim.budget.spreads import quantiles


def work_out(lines: Sequence[Expected]) -> None:
    """Fills in how moves wait, which latencies there are, and what moves take with their answers."""
    paces = [line.mean for line in lines]
    chains = [pace.chains for pace in paces]
    waiting = iter(many_waits([[chain] for some in chains for chain in some]))
    for pace, some in zip(paces, chains, strict=True):
        if some:
            pace.waits = pace.waits_of([next(waiting)[0] for _ in some])
    moved = [line.mean for line in lines if line.follows_moves]
    spread = iter(quantiles([line.answered for line in lines] + [pace.answers for pace in moved]))
    for line in lines:
        line.latencies = line.latencies_of(next(spread))
    for pace in moved:
        pace.answer = pace.answer_of(next(spread)[0])
    followed = [(pace.waits, pace.answer) for pace in moved if pace.waits is not None]
    for pace, late in zip(moved, quantiles_of(followed, LATE), strict=True):
        pace.move_p95 = late
