"""More than one master on a line: the single-master rule in numbers for one's own plan."""

from __future__ import annotations

from busim.analysis.budget.poll_schedule import PollSchedule
from busim.analysis.budget.result import SecondMaster

_RATES = (1.0, 10.0)  # exchanges a second
_QUIET = 5e6  # ns of silence that a second master waits for: longer than frame gaps, shorter than most turnarounds


def second_master(mean: PollSchedule) -> tuple[SecondMaster, ...]:
    """The share of polls that a second master like this one may spoil: at 1 and 10 exchanges a second, and at full
    speed. Bounds, since one of two colliding frames sometimes survives.
    """
    cycle = lost = quiet = 0.0
    for share in mean.layout.shares:
        for (_, kind), count in share.polls.items():
            one = mean.times[kind]
            times = one.exchange
            cycle += count * (mean.each[kind] + share.way)
            lost += count * float(one.lost)
            # the longest quiet inside an exchange, and behind one
            behind = float(times.packing + times.latency_high + times.latency_low + times.pause)
            quiet = max(quiet, float(times.silence + times.turnaround_high), behind)
    cycle, lost = cycle / len(mean.layout.polls), lost / len(mean.layout.polls)
    found = []
    for rate in (*_RATES, 1e9 / cycle):
        spoilt = _spoilt(rate / 1e9, cycle, lost)
        found.append(SecondMaster(rate, spoilt, spoilt if quiet > _QUIET else 0.0, _QUIET / 1e9))
    return tuple(found)


def _spoilt(rate: float, cycle: float, lost: float) -> float:
    """The share of polls spoilt if each exchange of the other one spoils one: R / (R + G), R = `rate` per ns.

    After a spoilt poll this master waits for its time-out, which outlasts the other's exchange, so none spoils two. The
    rest of the time holds G = (1 - R L) / C good polls per ns, L = `lost` ns for a spoilt one, C = `cycle` ns for a
    good one. Exchanges at random would often fall into time-outs or pauses and spoil fewer; those at a strict interval
    can keep in step with the polls. Listening first does not lower the bound: the only quiet of this length lies inside
    an exchange or right before the next. One that listens begins there, or never if no quiet is long enough.
    """
    good = max(0.0, 1 - rate * lost) / cycle
    return rate / (rate + good)
