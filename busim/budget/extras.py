"""What else is asked about a line: who sees a move, more operators, jobs that come at once, dead cameras, noise."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import numpy as np

from busim.budget.case import Case, Move, lengths
from busim.budget.cycle import one_cycle
from busim.budget.figures import Expected
from busim.budget.moves import IN_A_ROW, Mix, Waits, many_waits, quantiles_of
from busim.budget.pace import Pace
from busim.budget.response import Flow, worst_responses
from busim.budget.result import DeadBudget, JobBudget, MoveBudget, NoiseBudget, StreamBudget
from busim.budget.timing import asked_of, timed
from busim.dialects import WRITE, Request
from busim.exchange import MEAN, WORST

OPERATOR = 2e-9  # moves per ns of one more operator, both hands busy: common practice, no source
OPERATOR_CONTROLS = 4
JOYSTICK = 25e-9  # positions per ns: one for each frame of 25p (40 ms, ITU-R BT.709, from memory)
OFFLINE_AFTER = 1e9  # ns of failure, besides the number of failures: as masters do
BROADCAST = (0.1, 0.2)  # s of pause after one: MODBUS over Serial Line V1.02, p. 9-10
_COUNTS = (1, 2, 4)
_RARELY = 1e-15  # moves per ns: as good as none
_NOISES = (1e-6, 1e-5, 1e-4)


# -- moves ---------------------------------------------------------------------------------------------------


def moves(expected: Expected) -> MoveBudget | None:
    """What becomes of operators' moves; None where there are none, or where they cannot be followed."""
    mean = expected.mean
    if mean.waits is None or mean.crowded >= 1 or not any(expected.answered_moves):
        return None
    latency = mean.waits.mean + mean.answer.mean
    bound = expected.move_bound
    second, second_worst = _seen(expected, latency)
    after = None
    if mean.saturated:  # the rest of a round instead of the rest of one exchange
        after = (latency - mean.between.square / (2 * mean.between.mean) + mean.cycle / 2) / 1e9
    return MoveBudget(
        rate=mean.move_rate * 1e9,
        mean=latency / 1e9,
        p95=mean.move_p95 / 1e9,
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
    wait = rate = 0.0
    chosen = set()
    for move in case.moves:
        if move.rate and move.group in groups:
            number = groups[move.group]
            chosen.add(number)
            period = mean.period(number)
            # the poll that brings it comes anywhere in the round, but not while the command itself is under way
            never = case.polls[number].every < mean.cycle
            rest = max(0.0, period - mean.poll_cost(number)) if never else period
            answer = mean.timing(number).exchange.mean + mean.layout.polls[number].way
            wait += move.rate * (rest / 2 + answer)
            rate += move.rate
    if not rate:
        return None, None
    average = (latency + mean.timing(0).exchange.pause + wait / rate) / 1e9
    if expected.move_bound is None:
        return average, None
    longest = max(expected.worst_age(number) for number in chosen)
    return average, (expected.move_bound + longest) / 1e9


def streams(expected: Expected) -> tuple[StreamBudget, ...]:
    """1, 2, 4 more operators or joysticks at this master, beside the moves that are planned."""
    mean = expected.mean
    if not mean.case.units or mean.crowded >= 1:
        return ()
    unit = next(number for number, unit in enumerate(mean.case.units) if not unit.trouble)
    one, way = _written(mean, unit, 1), 2 * mean.case.units[unit].distance
    variance = one.exchange.variance
    own = Mix.of(np.array([one.occupied() + way]), np.ones(1), variance)
    answer = Mix.of(np.array([one.exchange.mean + way]), np.ones(1), variance)
    turn = mean.between.mean / IN_A_ROW if mean.saturated else 0.0
    kinds = (("operators", OPERATOR, OPERATOR_CONTROLS, None), ("joysticks", JOYSTICK, 1, one.occupied(WORST) + way))
    found: list[StreamBudget] = []
    followed: list[tuple[float, float, Mix]] = []
    for kind, rate, controls, longest in kinds:
        for count in _COUNTS:
            # Moves of controls that nobody moved yet, so that none replaces another's.
            every = mean.move_rate + count * rate
            service = own.joined(mean.serving, mean.move_rate / every).shrunk() if mean.move_rate else own
            busy = every * service.mean
            bound = None if longest is None else _joystick_bound(expected, longest, count)
            crowded = busy + every * turn
            if crowded >= 1:
                found.append(StreamBudget(kind, count, crowded, None, None, bound, None))
                continue
            # A steady stream does not meet itself; the others it meets as if they came at random.
            met = every if longest is None else max(every - rate, _RARELY)
            held = (mean.controls if mean.move_rate else 0.0) + count * controls - (longest is not None)
            followed.append((met, held, service))
            cycle = mean.round_with(busy) / 1e9
            found.append(StreamBudget(kind, count, crowded, answer.mean / 1e9, None, bound, cycle))
    if not followed:
        return tuple(found)
    waiting = many_waits(followed, mean.between)
    later = iter(zip(waiting, quantiles_of(waiting, 0.95, answer), strict=True))
    return tuple(_with(one, *next(later)) if one.mean is not None else one for one in found)


def _with(stream: StreamBudget, waiting: Waits, late: float) -> StreamBudget:
    """The stream with how long its moves wait."""
    assert stream.mean is not None
    return replace(stream, mean=stream.mean + waiting.mean / 1e9, p95=late / 1e9)


def _written(mean: Pace, unit: int, size: int) -> Any:
    """The times of a write to a unit, as if it stood beside the asker."""
    request = Request(mean.case.units[unit].id, WRITE, 0, size, (0,) * size)
    asked, answered, more = lengths(mean.case.dialect, request)
    return timed(mean.wire, asked_of(mean.case, Move(unit, str(size), 0.0, asked, answered, "", more)))


def _joystick_bound(expected: Expected, longest_move: float, count: int) -> float | None:
    """Worst seconds of one of `count` strictly regular streams alone, as the lowest of them would have it.

    In order of arrival none waits longer than the lowest would by priority. Polls take a turn after four commands, so
    a quarter of one is added to each, and two to what may hold the line.
    """
    longest = expected.longest_poll
    cost = math.ceil(longest_move + longest / IN_A_ROW)
    flows = [Flow(cost, round(1 / JOYSTICK))] * count
    response = worst_responses(flows, math.ceil(2 * longest))[-1]
    return None if response is None else response / 1e9


# -- jobs ----------------------------------------------------------------------------------------------------


def jobs(expected: Expected) -> tuple[JobBudget, ...]:
    """Work that comes all at once, while polls go on."""
    mean, worst = expected.mean, expected.worst
    found = list(_bulk(expected)) if mean.crowded < 1 else []
    if mean.case.polls:
        one, other = (
            sum(
                pace.poll_time(number) if alive else pace.timing(number).lost
                for number, alive in enumerate(pace.layout.alive)
            )
            / 1e9
            for pace in (mean, worst)
        )
        found.append(JobBudget("from a cold start until every polled value is known", len(mean.case.polls), one, other))
    pause, longer = BROADCAST
    found.append(JobBudget("silence after a broadcast, in which nothing is asked", 1, (pause + longer) / 2, longer))
    return tuple(found)


def _bulk(expected: Expected) -> Iterator[JobBudget]:
    """So many commands at once: each takes its time, and polls that are due have a turn after four."""
    mean = expected.mean
    sizes = [(number, unit.writes) for number, unit in enumerate(mean.case.units) if not unit.trouble]
    blocks = Counter((unit, size) for unit, writes in sizes for size in writes)
    jobs = {
        "recall a preset on every camera": Counter((unit, 1) for unit, _ in sizes),
        "restore every value, one by one": Counter({(unit, 1): sum(writes) for unit, writes in sizes}),
        "restore every value, in runs": blocks,
    }
    times: dict[tuple[object, int], Any] = {}  # of one camera of each kind, and size
    units = mean.case.units
    poll = mean.between.mean
    rest = mean.between.square / (2 * poll) if mean.occupied else 0.0
    turn = poll if mean.saturated else poll * mean.demand
    for name, writes in jobs.items():
        count = writes.total()
        if not count:
            continue
        average = longest = 0.0
        for (number, size), many in writes.items():
            unit = units[number]
            kind = (unit.turnaround, unit.lead, unit.hold, unit.baud, unit.ppm), size
            if kind not in times:
                times[kind] = _written(mean, number, size)
            average += many * (times[kind].occupied(MEAN) + 2 * unit.distance)
            longest += many * (times[kind].occupied(WORST) + 2 * unit.distance)
        turns = (count - 1) // IN_A_ROW
        average += rest + turns * turn
        longest += expected.longest_poll * (1 + turns)
        yield JobBudget(name, count, average / 1e9, longest / 1e9)


# -- when things fail ----------------------------------------------------------------------------------------


def dead(mean: Pace) -> tuple[DeadBudget, ...]:
    """1, 2, ... cameras more die, those that cost most: until they are given up, and from then on."""
    if not mean.occupied:
        return ()
    case = mean.case
    lost: dict[int, float] = {}
    for number in mean.layout.living:
        unit = mean.layout.polls[number].unit
        lost[unit] = lost.get(unit, 0.0) + mean.timing(number).lost
    units = sorted(lost, key=lambda unit: -lost[unit])
    return tuple(_dead(case, mean, units[:count]) for count in range(1, min(len(units) - 1, 4) + 1))


def _dead(case: Case, mean: Pace, units: list[int]) -> DeadBudget:
    paces: dict[float, float] = {}
    often, waits, counts = dict.fromkeys(units, 0.0), dict.fromkeys(units, 0.0), dict.fromkeys(units, 0)
    rows = mean.layout.polls
    numbers = [(number, rows[number].unit, float(case.polls[number].every)) for number in mean.layout.living]
    for number, unit, every in numbers:
        cost = mean.timing(number).lost if unit in often else mean.poll_cost(number)
        paces[every] = paces.get(every, 0.0) + cost
    cycle = one_cycle(paces.items(), mean.commands_load)
    for number, unit, every in numbers:
        if unit in often:
            often[unit] += 1 / max(every, cycle)
            waits[unit] += mean.timing(number).time_out
            counts[unit] += 1
    # It fails this often, and is given up with the first failure that is late enough and one of many enough.
    rate, slowest = min((often[unit], unit) for unit in units)
    failures = max(case.offline_after, math.ceil(OFFLINE_AFTER * rate) + 1)
    until = max(OFFLINE_AFTER, (failures - 1) / rate) + waits[slowest] / counts[slowest]
    troubled = tuple(
        unit._replace(trouble="dead") if number in units else unit for number, unit in enumerate(case.units)
    )
    after = mean.without(case._replace(units=troubled))
    rests = not mean.restless
    load = sum(time / every for every, time in paces.items()) + mean.commands_load if rests else None
    return DeadBudget(
        count=len(units),
        until=until / 1e9,
        cycle=cycle / 1e9,
        after=after.cycle / 1e9,
        load=load,
        load_after=after.demand if rests else None,
    )


def noise(mean: Pace) -> tuple[NoiseBudget, ...]:
    """What some bit error rates do: exchanges lost, a round longer by their time-outs, moves lost in every attempt."""
    found = []
    if not mean.occupied:
        return ()
    polls, moves = mean.layout.living, mean.layout.moves
    for rate in _NOISES:
        pace = mean.noisy(rate)
        failing = sum(pace.timing(number).failing for number in polls) / len(polls)
        moved = sum(pace.times[row.kind].failing for row in moves) / len(moves) if moves else failing
        cycle = pace.round_with(pace.commands_load) / 1e9
        found.append(NoiseBudget(rate, failing, cycle, moved ** (1 + mean.case.retries)))
    return tuple(found)
