"""More than one master on a line: the single-master rule in numbers for one's own plan."""

from __future__ import annotations

from busim.analysis.budget.poll_schedule import PollSchedule
from busim.analysis.budget.result import SecondMaster
from busim.analysis.budget.sharing import undisturbed

_RATES = (1.0, 10.0)  # exchanges a second
_QUIET = 5e6  # ns of silence that a second master waits for: longer than frame gaps, shorter than most turnarounds


def second_master(mean: PollSchedule) -> tuple[SecondMaster, ...]:
    """The share of polls that a second master like this one may spoil: at 1 and 10 exchanges a second, and at full
    speed. Bounds, since one of two colliding frames sometimes survives.
    """
    length = other = cycle = wasted = quiet = 0.0
    each = [(kind, count, share.way) for share in mean.layout.shares for (_, kind), count in share.polls.items()]
    for kind, count, way in each:
        one = mean.times[kind]
        times = one.exchange
        middle = (times.turnaround_low + times.turnaround_high) / 2
        span = float(times.request + 2 * times.silence + middle + times.reply + way)
        other += count * span
        # what comes before a converter has let go of a reply goes into one packet with it, and what comes closer than
        # the silence between two frames, before or behind, into one frame
        length += count * float(span + one.tail + times.packing)
        cycle += count * (mean.each[kind] + way)
        wasted += count * float(one.lost)
        # the longest quiet inside an exchange, and behind one
        behind = float(times.packing + times.latency_high + times.latency_low + times.pause)
        quiet = max(quiet, float(times.silence + times.turnaround_high), behind)
    length, other, cycle, wasted = (time / len(mean.layout.polls) for time in (length, other, cycle, wasted))
    found = []
    for rate in (*_RATES, 1e9 / cycle):
        at_will = 1 - float(undisturbed(length, rate / 1e9, other))
        found.append(SecondMaster(rate, at_will, _listening(rate / 1e9, cycle, wasted, quiet), _QUIET / 1e9))
    return tuple(found)


def _listening(rate: float, cycle: float, lost: float, quiet: float) -> float:
    """The share that one that listens may spoil: one exchange with each of its own, since only this one's own pauses
    are quiet for long, and it begins in them, while an exchange is under way or right before the next. None if it never
    finds the silence that it waits for.
    """
    if quiet <= _QUIET:
        return 0.0
    good = max(0.0, 1 - rate * lost) / cycle
    return rate / (rate + good)
