"""How old a value becomes in all but one of a thousand rounds: close to what is seen; the worst case is far above.

The age of a value is largest just before the next one arrives: the time I between two polls and the delivery D
(`age.worst_age`). I is a sum of independent parts (`rounds`). Of polls that never rest: the round as the timetable has
it, turnarounds, commands and probes that come in it. Of polls that keep their pace: the interval, and how late the
second poll is less how late the first one is; where they lose their places, the interval of the turns written out
(`lost_places`).
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import cached_property

import numpy as np

from busim.analysis.budget.distribution import Distribution
from busim.analysis.budget.figures import Expected
from busim.analysis.budget.rounds import SELDOM, RareSum
from busim.physics.exchange import MEAN, Exchange

_ONE_MORE = 0.5  # chance of a poll more than the timetable has: which of two that are due almost together comes first
_BUSY = 0.7  # of the master's time: below, a round is over before the next is due
_SPREADS = 14  # standard deviations that a grid reaches beyond the mean


class UsualLongest:
    """The usual longest ages of one case."""

    def __init__(self, expected: Expected) -> None:
        self._expected = expected
        self._known: dict[tuple[int, float, float], float] = {}

    def age(self, unit: int) -> float | None:
        """ns that the age of the values polled most of a camera does not exceed in 99.9 % of their rounds; None where
        noise makes polls fail, or where the camera is not polled."""
        expected = self._expected
        own = expected.own.get(unit)
        if not own or expected.noisy:
            return None
        oldest = expected.oldest(own)
        worst = max(expected.worst_age(number) for number in oldest)
        return min(worst, max(self._age(number) for number in oldest))

    def _age(self, number: int) -> float:
        pace, row = self._expected.mean, self._expected.mean.layout.polls[number]
        every = float(pace.case.polls[number].every)
        late = every < pace.cycle
        before = 0.0 if late else self._expected.elapsed[number]
        key = row.kind, every, before
        if key not in self._known:
            totals = self._never_resting if late else self._paced(number, every, before)
            exchange = pace.times[row.kind].exchange
            longest = max(one.with_even(_drawn(exchange)).quantile(SELDOM) for one in totals)
            self._known[key] = longest + float(exchange.delivery(MEAN))
        return self._known[key] + row.way / 2

    @cached_property
    def _never_resting(self) -> list[RareSum]:
        """A round of the polls that never rest, soon after a start and long after it."""
        expected, pace = self._expected, self._expected.mean
        left = 1 - pace.commands_load
        probes = pace.probes()
        mean = pace.cycle * left - sum(time * min(1.0, pace.cycle * often) for time, often in probes)
        longest = max([time for time, _ in probes], default=0.0)
        found = []
        for once in self._timetables([slot.every < pace.cycle for slot in expected.slots], left):
            base = Distribution.certain(mean) if once is None else once.shifted(mean - once.mean)
            total = RareSum(base.longest + _SPREADS * expected.cycle_variance**0.5 + longest + pace.cycle)
            total.add(base)
            if once is not None:
                total.add(self._one_poll, _ONE_MORE)
            total.add_normal(expected.drawn)
            for time, often in probes:
                total.add(Distribution.certain(time), min(1.0, pace.cycle * often))
            if pace.waits is not None:
                count = pace.waits.carried * pace.cycle
                variance = (expected.commands_variance - count * pace.serving.variance) / pace.serving.mean**2
                total.add_counted(pace.serving, count, max(0.0, variance))
            found.append(total)
        return found

    def _timetables(self, chosen: list[bool], factor: float = 1.0) -> list[Distribution | None]:
        """Times between two of the chosen living polls as timetables have them; a single None where there are none."""
        found = []
        begun, settled = self._expected.begun, self._expected.settled
        for each in (begun, settled) if settled is not begun else (begun,):
            times = [
                factor * time for one, wanted in zip(each, chosen, strict=True) if wanted for time in one.intervals
            ]
            if times:
                weights = np.full(len(times), 1 / len(times))
                found.append(Distribution(np.array(times), weights, np.zeros(len(times))))
        return [*found] or [None]

    def _paced(self, number: int, every: float, before: float) -> list[RareSum]:
        """The time between two polls that keep their pace, soon after a start and long after it."""
        expected, pace = self._expected, self._expected.mean
        if expected.pushed:
            polls = pace.case.polls
            alike = [(1.0, one) for other, one in expected.pushed.items() if polls[other].every == polls[number].every]
            seen = Distribution.mixture(alike)
            total = RareSum(seen.longest + every / 4)
            total.add(seen)
            return [total]
        probes = pace.probes()
        longest = max([time for time, _ in probes], default=0.0)
        found = []
        for once in self._timetables([one == number for one in pace.layout.living]):
            base = Distribution.certain(every) if once is None else once
            variance = expected.interval_variance[number]
            if pace.waits is not None:  # soon after a start polls have not drifted apart
                variance += 2 * expected.commands.added * max(0.0, before - expected.late[number])
            spread = variance**0.5
            total = RareSum(base.longest + _SPREADS * spread + longest + every / 4)
            total.add(base)
            if once is not None:
                total.add(self._one_poll, _ONE_MORE)
            late = np.ones(1, complex)
            if pace.waits is not None:
                commands = expected.commands
                late = commands.waiting(total) * commands.while_polling(total, before)
                if once is None and pace.demand > _BUSY:
                    count = commands.rate * every
                    work = total.transform(Distribution.certain(pace.occupied))
                    work = work * total.counted(commands.serving, count, count)
                    late = late * total.carried_over(work, every)
            for time, often in probes:
                met = time * often
                late = late * (1 - met + met * total.transform(Distribution.around(time / 2, time**2 / 12)))
            total.add_difference(late)
            total.add_normal(2 * sum(float(pace.timing(one).exchange.variance) for one in self._ahead(number)))
            found.append(total)
        return found

    def _ahead(self, number: int) -> Iterator[int]:
        """The polls before this one, of those wanted as often."""
        pace, polls = self._expected.mean, self._expected.mean.case.polls
        for one in pace.layout.living:
            if one >= number:
                return
            if polls[one].every == polls[number].every:
                yield one

    @cached_property
    def _one_poll(self) -> Distribution:
        """The time of any poll."""
        pace = self._expected.mean
        return Distribution.certain(pace.occupied / len(pace.layout.living))


def _drawn(exchange: Exchange) -> tuple[float, ...]:
    """ns between the bounds of what varies from the reading in the camera to the arrival of the next value, less the
    time between the two polls: the turnaround, and the passages of one reply and two requests."""
    passage = float(exchange.latency_high - exchange.latency_low)
    return float(exchange.turnaround_high - exchange.turnaround_low), float(exchange.back_width), passage, passage
