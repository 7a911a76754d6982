"""Further questions about a line: moves seen on other panels, jobs at once, dead cameras, noise."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import NamedTuple

from busim.analysis.budget.command_delay import COMMANDS_IN_A_ROW
from busim.analysis.budget.cycle import one_cycle
from busim.analysis.budget.figures import Expected
from busim.analysis.budget.layout import Share
from busim.analysis.budget.poll_schedule import PollSchedule
from busim.analysis.budget.result import DeadBudget, JobBudget, MoveBudget, NoiseBudget
from busim.analysis.budget.rounds import SELDOM
from busim.analysis.budget.variants import noisy, without
from busim.analysis.budget.write_cost import write_timing
from busim.physics.exchange import MEAN, WORST

BROADCAST = (0.1, 0.2)  # s of pause after one: MODBUS over Serial Line V1.02, p. 9-10
_NOISES = (1e-6, 1e-5, 1e-4)


# -- moves ---------------------------------------------------------------------------------------------------


def moves(expected: Expected) -> MoveBudget | None:
    """The fate of operators' moves; None without moves, or if they cannot be followed."""
    mean = expected.mean
    if mean.waits is None or not expected.follows_moves:
        return None
    latency = mean.waits.mean + mean.answer.mean
    bound = expected.move_bound
    second, second_worst = _seen(expected, latency)
    after = None
    if mean.saturated:  # the rest of a round instead of the rest of one exchange
        after = (latency - mean.between.residual + mean.cycle / 2) / 1e9
    return MoveBudget(
        rate=mean.move_rate * 1e9,
        mean=latency / 1e9,
        p95=mean.move_p95 / 1e9,
        p999=min(mean.moved.quantile(SELDOM), math.inf if bound is None else bound) / 1e9,
        bound=None if bound is None else bound / 1e9,
        replaced=mean.waits.replaced,
        after_polls=after,
        second=second,
        second_worst=second_worst,
    )


def _seen(expected: Expected, latency: float) -> tuple[float | None, float | None]:
    """Mean and worst seconds until another panel shows a move: its exchange over, the value's next poll answered."""
    mean, case = expected.mean, expected.mean.case
    groups = {case.polls[number].group: number for number in reversed(mean.layout.living)}
    rates: dict[int, float] = {}  # moves by the poll that brings their result
    for move in case.moves:
        if move.rate and move.group in groups:
            number = groups[move.group]
            rates[number] = rates.get(number, 0.0) + move.rate
    if not rates:
        return None, None
    wait, rate = 0.0, sum(rates.values())
    for number, often in rates.items():
        period = mean.period(number)
        # the poll that brings it comes anywhere in the round, but not while the command itself is under way
        never = case.polls[number].every < mean.cycle
        rest = max(0.0, period - mean.poll_cost(number)) if never else period
        answer = float(mean.timing(number).exchange.mean) + mean.layout.polls[number].way
        wait += often * (rest / 2 + answer)
    average = (latency + float(mean.timing(0).exchange.pause) + wait / rate) / 1e9
    if expected.move_bound is None:
        return average, None
    longest = max(expected.worst_age(number) for number in rates)
    return average, (expected.move_bound + longest) / 1e9


# -- jobs ----------------------------------------------------------------------------------------------------


def jobs(expected: Expected) -> tuple[JobBudget, ...]:
    """Work that comes all at once, while polling continues."""
    mean, worst = expected.mean, expected.worst
    found = list(_bulk(expected)) if mean.commands_load < 1 else []
    if mean.case.polls:
        one, other = _every_poll(mean) / 1e9, _every_poll(worst) / 1e9
        found.append(JobBudget("from a cold start until every polled value is known", len(mean.case.polls), one, other))
    pause, longer = BROADCAST
    found.append(JobBudget("silence after a broadcast, in which nothing is asked", 1, (pause + longer) / 2, longer))
    return tuple(found)


def _every_poll(pace: PollSchedule) -> float:
    """ns that all polls take, once each, nothing damaged; those of cameras that do not answer are lost."""
    counted, each, lost = pace.layout, pace.each, pace.costs.lost
    answered = sum([many.count * each[kind] + many.way for (_, kind), many in counted.paces.items()])
    return answered + sum([count * lost[kind] for polls in counted.dead.values() for kind, count in polls.items()])


def _bulk(expected: Expected) -> Iterator[JobBudget]:
    """This number of commands at once; due polls get a turn after every four."""
    mean = expected.mean
    units = mean.case.units
    living = [(number, unit.writes) for number, unit in enumerate(units) if not unit.trouble]
    jobs = {  # camera, size of each write, how many of them
        "recall a preset on every camera": [(number, 1, 1) for number, _ in living],
        "restore every value, one by one": [(number, 1, sum(writes)) for number, writes in living],
        "restore every value, in runs": [(number, size, 1) for number, writes in living for size in writes],
    }
    times: dict[tuple[int, int], tuple[float, float]] = {}  # of one camera of each kind, and size: mean and worst
    poll = mean.between.mean
    rest = mean.between.residual if mean.occupied else 0.0
    turn = poll if mean.saturated else poll * mean.demand
    for name, writes in jobs.items():
        count = sum([many for _, _, many in writes])
        if not count:
            continue
        average = longest = 0.0
        for number, size, many in writes:
            way = 2 * units[number].distance
            kind = mean.layout.alike[number], size
            if kind not in times:
                one = write_timing(mean, number, size)
                times[kind] = float(one.occupied(MEAN)), float(one.occupied(WORST))
            usual, most = times[kind]
            average += many * (usual + way)
            longest += many * (most + way)
        turns = (count - 1) // COMMANDS_IN_A_ROW
        average += rest + turns * turn
        longest += expected.longest_poll * (1 + turns)
        yield JobBudget(name, count, average / 1e9, longest / 1e9)


# -- when things fail ----------------------------------------------------------------------------------------


def dead(mean: PollSchedule) -> tuple[DeadBudget, ...]:
    """1, 2, ... cameras more die, those that cost most: until they are given up, and from then on."""
    if not mean.occupied:
        return ()
    living = [
        _living(mean, number, share)
        for number, share in enumerate(mean.layout.shares)
        if share.polls and not share.trouble
    ]
    living.sort(key=lambda one: -sum(one.lost.values()))
    return tuple(_dead(mean, living, count) for count in range(1, min(len(living) - 1, 4) + 1))


class _Living(NamedTuple):
    """A camera that answers. By the wanted time between two: how many polls it has, and what they take, once each, ns:
    `cost` as they are answered, `lost` when none is. `time_out`: of one poll, on average."""

    unit: int
    polls: dict[float, int]
    cost: dict[float, float]
    lost: dict[float, float]
    time_out: float


def _living(mean: PollSchedule, unit: int, share: Share) -> _Living:
    costs, way = mean.costs, share.way
    polls: dict[float, int] = {}
    lost: dict[float, float] = {}
    waits = 0.0
    for (every, kind), count in share.polls.items():
        polls[every] = polls.get(every, 0) + count
        lost[every] = lost.get(every, 0.0) + count * costs.lost[kind]
        waits += count * float(mean.times[kind].time_out)
    cost = costs.polls([(every, kind, count, count * way) for (every, kind), count in share.polls.items()])
    return _Living(unit, polls, cost, lost, waits / sum(polls.values()))


def _dead(mean: PollSchedule, living: list[_Living], count: int) -> DeadBudget:
    """The first `count` of `living` die."""
    gone = living[:count]
    paces: dict[float, float] = {}
    for place, one in enumerate(living):
        for every, time in (one.lost if place < count else one.cost).items():
            paces[every] = paces.get(every, 0.0) + time
    cycle = one_cycle(paces.items(), mean.commands_load)
    # It fails this often, and is given up with the first failure that is late enough and one of many enough.
    rates = [(sum([many / max(every, cycle) for every, many in one.polls.items()]), one.unit, one) for one in gone]
    rate, _, slowest = min(rates)
    failures = max(mean.case.policy.failures, math.ceil(mean.case.policy.failing_for * rate) + 1)
    until = max(mean.case.policy.failing_for, (failures - 1) / rate) + slowest.time_out
    after = without(mean, [one.unit for one in gone])
    rests = not mean.restless
    load = sum(time / every for every, time in paces.items()) + mean.commands_load if rests else None
    return DeadBudget(
        count=count,
        until=until / 1e9,
        cycle=cycle / 1e9,
        after=after.cycle / 1e9,
        load=load,
        load_after=after.demand if rests else None,
    )


def noise(mean: PollSchedule) -> tuple[NoiseBudget, ...]:
    """What some bit error rates do: exchanges lost, a round longer by their time-outs, moves lost in every attempt."""
    found = []
    if not mean.occupied:
        return ()
    polls = [(kind, many.count) for (_, kind), many in mean.layout.paces.items()]
    moves: dict[int, int] = {}
    for kind, _, _ in mean.layout.moves:
        moves[kind] = moves.get(kind, 0) + 1
    for rate in _NOISES:
        load, failing = noisy(mean, rate)
        lost = sum([failing[kind] * many for kind, many in polls]) / load.polls
        moved = lost
        if moves:
            moved = sum([failing[kind] * many for kind, many in moves.items()]) / len(mean.layout.moves)
        cycle = load.round_with(load.commands_load) / 1e9
        found.append(NoiseBudget(rate, lost, cycle, moved ** (1 + mean.case.retries)))
    return tuple(found)
