"""More than one master on a line: the single-master rule in numbers for one's own plan."""

from __future__ import annotations

from collections.abc import Iterator

from busim.budget.pace import Pace
from busim.budget.result import SecondMaster
from busim.budget.sharing import undisturbed

_RATES = (1.0, 10.0)  # exchanges a second
_QUIET = 5e6  # ns of silence that a second master waits for: longer than frame gaps, shorter than most turnarounds


def second_master(mean: Pace) -> tuple[SecondMaster, ...]:
    """What a second master like this one spoils of its polls: at 1 and 10 exchanges a second, and as fast as it can."""
    return tuple(_rows(mean))


def _rows(mean: Pace) -> Iterator[SecondMaster]:
    # from the first bit of the request to the last of the reply, and the quiet in the middle of it
    spans, quiets, inside = [], [], []
    for row in mean.layout.polls:
        one = mean.times[row.kind].exchange
        quiet = one.silence + (one.turnaround_low + one.turnaround_high) / 2
        spans.append(one.request + one.reply + row.way + quiet)
        quiets.append(quiet)
        inside.append(mean.times[row.kind].occupied() + row.way)
    length = sum(spans) / len(spans)
    # in which the pair is quiet for longer than the other one waits, though the exchange is not over
    open_time = max(0.0, sum(quiets) / len(quiets) - _QUIET)
    fastest = 1e9 * len(inside) / sum(inside)
    for rate in (*_RATES, fastest):
        at_will = 1 - float(undisturbed(length, rate / 1e9, length))
        # one that listens begins only into those quiet times; the quiet one is then hit by the other's whole exchange
        listening = 1 - float(undisturbed(open_time, rate / 1e9, 0.0))
        yield SecondMaster(rate, at_will, listening, _QUIET / 1e9)
