"""What takes numpy, of several lines at once.

The arrays of a line are short, so that most of the time for them goes into calling numpy at all: three lines together
take hardly longer than one. Nothing that comes out for a line depends on the others; whoever asks for a line alone gets
the same from the properties that are filled here.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import islice

from busim.analysis.budget.command_delay import many_waits
from busim.analysis.budget.figures import Expected
from busim.analysis.budget.mixes import quantiles_of
from busim.analysis.budget.poll_schedule import LATE
from busim.analysis.budget.result import StreamBudget
from busim.analysis.budget.spreads import quantiles
from busim.analysis.budget.streams import Streams


def work_out(lines: Sequence[Expected], what_ifs: bool) -> list[tuple[StreamBudget, ...]]:
    """Fills in how moves wait, which latencies there are, and what moves take with their answers.

    With `what_ifs`, what more operators and joysticks would do, of each line; else nothing of them.
    """
    paces = [line.mean for line in lines]
    more = [Streams(line) for line in lines] if what_ifs else []
    followed = [one for one in more if one.chains]
    chains = [pace.chains for pace in paces]
    waiting = iter(many_waits([[chain] for some in chains for chain in some] + [one.chains for one in followed]))
    for pace, some in zip(paces, chains, strict=True):
        if some:
            pace.waits = pace.waits_of([next(waiting)[0] for _ in some])
    moved = [line.mean for line in lines if line.follows_moves]
    spread = iter(quantiles([line.answered for line in lines] + [pace.answers for pace in moved]))
    for line in lines:
        line.latencies = line.latencies_of(next(spread))
    for pace in moved:
        pace.answer = pace.answer_of(next(spread)[0])
    answered = [(pace.waits, pace.answer) for pace in moved if pace.waits is not None]
    waits = [(wait, one.answer) for one, some in zip(followed, waiting, strict=True) for wait in some]
    late = iter(quantiles_of(answered + waits, LATE))
    for pace in moved:
        pace.move_p95 = next(late)
    waited = zip((wait.mean for wait, _ in waits), late, strict=True)
    return [one.found_with(list(islice(waited, len(one.chains)))) for one in more] or [()] * len(lines)
