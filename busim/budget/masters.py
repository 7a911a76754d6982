"""More than one master on a line: the single-master rule in numbers for one's own plan."""

from __future__ import annotations

from busim.budget.pace import Pace
from busim.budget.result import SecondMaster
from busim.budget.sharing import undisturbed

_RATES = (1.0, 10.0)  # exchanges a second
_QUIET = 5e6  # ns of silence that a second master waits for: longer than frame gaps, shorter than most turnarounds


def second_master(mean: Pace) -> tuple[SecondMaster, ...]:
    """What a second master like this one may spoil of its polls: at 1 and 10 exchanges a second, and as fast as it can.

    Bounds, since a collision now and then leaves one of both whole.
    """
    spans, own, inside, lost, quiets = [], [], [], [], []
    for row in mean.layout.polls:
        one = mean.times[row.kind]
        times = one.exchange
        middle = (times.turnaround_low + times.turnaround_high) / 2
        span = times.request + times.silence + middle + times.reply + row.way
        own.append(span + times.silence)
        # what comes before a converter has let go of a reply goes into one packet with it, and what comes closer than
        # the silence between two frames, before or behind, into one frame
        spans.append(span + times.silence + one.tail + times.packing)
        inside.append(one.occupied() + row.way)
        lost.append(one.lost)
        # the longest quiet inside an exchange, and behind one
        quiets += [
            times.silence + times.turnaround_high,
            times.packing + times.latency_high + times.latency_low + times.pause,
        ]
    length, other, cycle, wasted = (sum(times) / len(times) for times in (spans, own, inside, lost))
    found = []
    for rate in (*_RATES, 1e9 / cycle):
        at_will = 1 - float(undisturbed(length, rate / 1e9, other))
        found.append(SecondMaster(rate, at_will, _listening(rate / 1e9, cycle, wasted, max(quiets)), _QUIET / 1e9))
    return tuple(found)


def _listening(rate: float, cycle: float, lost: float, quiet: float) -> float:
    """The share that one that listens may spoil: one exchange with each of its own, since only this one's own pauses
    are quiet for long, and it begins in them, while an exchange is under way or right before the next. None where it
    never finds the quiet that it waits for.
    """
    if quiet <= _QUIET:
        return 0.0
    good = max(0.0, 1 - rate * lost) / cycle
    return rate / (rate + good)
