"""Several masters behind one arbitrating converter: the throughput of each, and its wait for the others.

The converter takes one request after the other, in the order of arrival, and a master asks again only when it has its
answer. That is a closed queue with as many customers as masters: each thinks (its pause, and the way through network
and converter), waits and is served. What a master finds before it follows from the others' shares of the line, as if
it looked in at random: those under way, for the rest of one exchange, and those that wait (mean value analysis with
residual times: Reiser, "A queueing network analysis of computer communication networks with window flow control", 1979;
from memory). Masters that never rest fill the line when together they are slower than their pauses; then each is
served once in a round.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from busim.analysis.budget.poll_schedule import PollSchedule
from busim.analysis.budget.result import ArbitratedBudget
from busim.foundation.units import show_time
from busim.physics.exchange import MEAN, WORST

_ROUNDS = 300
_ENOUGH = 1e-9


@dataclass(slots=True)
class _Asker:
    """One master, in ns: `service`: how long an exchange holds the line, `residual`: what is left of one on average,
    `longest`: at most; `think`: from then until its next request can be there; `alone`: an exchange without others.

    `rate`: exchanges per ns that it wants, 0 for as many as it gets.
    """

    service: float
    residual: float
    longest: float
    think: float
    alone: float
    longest_alone: float
    time_out: float
    rate: float
    got: float = 0.0
    wait: float = 0.0


def arbitrated(paces: Sequence[PollSchedule], chosen: int) -> ArbitratedBudget | None:
    """What `chosen` of the masters behind one arbitrating converter gets, moves left out; None where some ask nothing,
    or together more than the line carries. `paces`: of all of them.
    """
    if not all(pace.layout.living for pace in paces):
        return None
    askers = [_asker(pace) for pace in paces]
    if not _solve(askers):
        return None
    one, others = askers[chosen], [asker for asker in askers if asker is not askers[chosen]]
    total = one.alone + one.wait
    longest = one.longest_alone + sum(other.longest for other in others)
    return ArbitratedBudget(
        masters=tuple(pace.case.master for pace in paces),
        rate=one.got * 1e9,
        exchange=total / 1e9,
        alone=one.alone / 1e9,
        worst=longest / 1e9,
        load=min(1.0, sum(asker.got * asker.service for asker in askers)),
    )


def spoilt(paces: Sequence[PollSchedule]) -> Iterator[str]:
    """The reason why such a line has no steady state."""
    askers = [_asker(pace) for pace in paces if pace.layout.living]
    for pace in paces:
        dead = [unit.name for unit in pace.case.units if unit.trouble]
        if dead or pace.failing > 0:
            yield (
                f"what {pace.case.master!r} asks is not always answered ({', '.join(dead) or 'noise'}), and the "
                "converter lets nobody else ask until its arbitration time-out is over: that is not computed"
            )
    for pace, one in zip((pace for pace in paces if pace.layout.living), askers, strict=True):
        longest = one.longest_alone + sum(other.longest for other in askers if other is not one)
        if longest > one.time_out:
            yield (
                f"an exchange of {pace.case.master!r} takes up to {show_time(longest)} behind those of the others and "
                f"is given up after {show_time(one.time_out)}: set its time_out to more than the first"
            )
    load = sum(one.rate * one.service for one in askers)
    if load >= 1:
        yield f"what all of them want needs {load:.0%} of the line, {load - 1:.0%} too much"


def _asker(pace: PollSchedule) -> _Asker:
    """Means over a master's polls, as often as they come."""
    polls = pace.case.polls
    restless = pace.restless
    weights, services, squares, thinks, alone = [], [], [], [], []
    longest = longest_alone = 0.0
    time_out = float("inf")
    for number in pace.layout.living:
        one, way = pace.timing(number), pace.layout.polls[number].way
        times = one.exchange
        after = float(one.tail + times.silence)  # until the converter lets the next request go
        held = float(times.total(MEAN) - times.latency(MEAN)) + way + after
        every = polls[number].every
        if restless and every:
            weights.append(0.0)  # so seldom, beside those that never rest, that it makes no difference
        else:
            weights.append(1.0 if restless else 1.0 / every)
        services.append(held)
        squares.append(held**2 + float(times.variance))
        thinks.append(max(0.0, float(times.pause + times.latency(MEAN)) - after))
        alone.append(float(times.total(MEAN)) + way)
        longest = max(longest, float(times.total(WORST) - times.latency(WORST)) + way + after)
        longest_alone = max(longest_alone, float(times.total(WORST)) + way)
        time_out = min(time_out, float(one.time_out))
    whole = sum(weights)

    def mean(values: list[float]) -> float:
        return sum(weight * value for weight, value in zip(weights, values, strict=True)) / whole

    service = mean(services)
    return _Asker(
        service, mean(squares) / (2 * service), longest, mean(thinks), mean(alone), longest_alone, time_out,
        0.0 if restless else whole,
    )  # fmt: skip


def _solve(askers: list[_Asker]) -> bool:
    """Finds what each gets and how long it waits; False where those with a pace want more than there is.

    Who cannot keep its pace since each is served but once in a round asks as often as it can.
    """
    while _settled(askers):
        restless = sum(one.service for one in askers if not one.rate)
        wanted = sum(one.rate * one.service for one in askers)
        late = []
        for one in askers:
            own_round = (restless + one.service) / (1 - wanted + one.rate * one.service)
            if one.rate * max(one.think + one.wait + one.service, own_round) > 1:
                late.append(one)
        if not late:
            return True
        for one in late:
            one.rate = 0.0
    return False


def _settled(askers: list[_Asker]) -> bool:
    """The shares and waits that follow from each other; False where there are none."""
    wanted = sum(one.rate * one.service for one in askers)
    if wanted >= 1:
        return False
    round_time = sum(one.service for one in askers if not one.rate) / (1 - wanted)
    for _ in range(_ROUNDS):
        change = 0.0
        for one in askers:
            wait = 0.0
            for other in askers:
                if other is not one:
                    wait += other.got * (other.service * other.residual + other.wait * other.service)
            if not one.rate:
                wait = max(wait, round_time - one.think - one.service)
            wait = (wait + one.wait) / 2
            change = max(change, abs(wait - one.wait))
            one.wait = wait
            one.got = one.rate or 1 / (one.think + wait + one.service)
        if change < _ENOUGH * max(one.service for one in askers):
            break
    return True
