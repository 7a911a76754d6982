"""What else is asked about a line: who sees a move, more operators, jobs that come at once, dead cameras, noise."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from busim.budget.case import Move, lengths
from busim.budget.cycle import paced_cycle
from busim.budget.figures import Expected
from busim.budget.moves import IN_A_ROW, Mix, waits
from busim.budget.pace import Pace
from busim.budget.response import Flow, worst_responses
from busim.budget.result import DeadBudget, JobBudget, MoveBudget, NoiseBudget, StreamBudget
from busim.budget.timing import Timing, timing
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
    if mean.waits is None or mean.crowded >= 1 or not expected.answered_moves.sum():
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
    mean = expected.mean
    groups = {poll.group: number for number, poll in reversed(list(enumerate(mean.living)))}
    shown = [move for move in mean.case.moves if move.group in groups and move.rate]
    if not shown:
        return None, None
    weights = np.array([move.rate for move in shown])
    chosen = np.array([groups[move.group] for move in shown])
    period, places = mean.periods[chosen], np.nonzero(mean.alive)[0]
    # the poll that brings it comes anywhere in the round, but not while the command itself is under way
    never = mean.every[chosen] < mean.cycle
    wait = np.where(never, np.maximum(0.0, period - mean.occupied[chosen]) / 2, period / 2)
    answer = np.asarray(mean.polls.exchange.mean)[mean.alive][chosen]
    pause = float(np.asarray(mean.polls.exchange.pause)[0])
    average = (latency + pause + float((wait + answer) @ weights / weights.sum())) / 1e9
    if expected.move_bound is None:
        return average, None
    longest = max(expected.worst_age(number, int(places[number])) for number in set(chosen.tolist()))
    return average, (expected.move_bound + longest) / 1e9


def streams(expected: Expected) -> tuple[StreamBudget, ...]:
    """1, 2, 4 more operators or joysticks at this master, beside the moves that are planned."""
    mean = expected.mean
    if not mean.case.units or mean.crowded >= 1:
        return ()
    return tuple(_streams(expected, "operators", OPERATOR, OPERATOR_CONTROLS)) + tuple(
        _streams(expected, "joysticks", JOYSTICK, 1)
    )


def _streams(expected: Expected, kind: str, rate: float, controls: int) -> Iterator[StreamBudget]:
    mean = expected.mean
    unit = next(number for number, unit in enumerate(mean.case.units) if not unit.trouble)
    one = timing(mean.case, [_write(mean, unit, 1)])
    variance = np.asarray(one.exchange.variance)
    own = Mix.of(one.occupied(), np.ones(1), variance)
    answer = Mix.of(np.asarray(one.exchange.mean), np.ones(1), variance)
    steady = kind == "joysticks"
    for count in _COUNTS:
        # Moves of controls that nobody moved yet, so that none replaces another's.
        every = mean.move_rate + count * rate
        service = own if not mean.move_rate else own.joined(mean.service, mean.move_rate / every).shrunk()
        crowded = every * (service.mean + (mean.between.mean / IN_A_ROW if mean.saturated else 0.0))
        bound = _joystick_bound(expected, one, count) if steady else None
        if crowded >= 1:
            yield StreamBudget(kind, count, crowded, None, None, bound, None)
            continue
        # A steady stream does not meet itself; the others it meets as if they came at random.
        met = max(every - rate, _RARELY) if steady else every
        held = (mean.controls if mean.move_rate else 0.0) + count * controls - (1 if steady else 0)
        found = waits(met, held, service, mean.between)
        yield StreamBudget(
            kind,
            count,
            crowded,
            (found.mean + answer.mean) / 1e9,
            found.quantile(0.95, answer) / 1e9,
            bound,
            mean.round_with(every * service.mean) / 1e9,
        )


def _write(mean: Pace, unit: int, size: int) -> Move:
    request = Request(mean.case.units[unit].id, WRITE, 0, size, (0,) * size)
    asked, answered, more = lengths(mean.case.dialect, request)
    return Move(unit, str(size), 0.0, asked, answered, "", more)


def _joystick_bound(expected: Expected, one: Timing, count: int) -> float | None:
    """Worst seconds of one of `count` strictly regular streams alone, as the lowest of them would have it.

    In order of arrival none waits longer than the lowest would by priority. Polls take a turn after four commands, so
    a quarter of one is added to each, and two to what may hold the line.
    """
    longest = expected.longest_poll
    cost = math.ceil(float(one.occupied(WORST).max()) + longest / IN_A_ROW)
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
            float(np.where(pace.alive, pace.polls.occupied(pace.unknown), pace.polls.lost).sum()) / 1e9
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
    kinds = list(dict.fromkeys([*jobs["recall a preset on every camera"], *blocks]))
    times = timing(mean.case, [_write(mean, unit, size) for unit, size in kinds])
    poll = mean.between.mean
    rest = mean.between.square / (2 * poll) if len(mean.occupied) else 0.0
    turn = poll if mean.saturated else poll * mean.demand
    for name, writes in jobs.items():
        counts = np.array([writes[kind] for kind in kinds])
        turns = (int(counts.sum()) - 1) // IN_A_ROW
        average = rest + float(times.occupied(MEAN) @ counts) + turns * turn
        longest = expected.longest_poll * (1 + turns) + float(times.occupied(WORST) @ counts)
        if counts.any():
            yield JobBudget(name, int(counts.sum()), average / 1e9, longest / 1e9)


# -- when things fail ----------------------------------------------------------------------------------------


def dead(mean: Pace) -> tuple[DeadBudget, ...]:
    """1, 2, ... cameras more die, those that cost most: until they are given up, and from then on."""
    if not len(mean.occupied):
        return ()
    case, polls = mean.case, mean.polls
    units = [number for number, unit in enumerate(case.units) if not unit.trouble and (polls.unit == number).any()]
    units.sort(key=lambda number: -float(polls.lost[polls.unit == number].sum()))
    return tuple(_dead(mean, units[:count]) for count in range(1, min(len(units) - 1, 4) + 1))


def _dead(mean: Pace, units: list[int]) -> DeadBudget:
    case, alive = mean.case, mean.alive
    gone = np.isin(mean.polls.unit[alive], units)
    occupied = np.where(gone, mean.polls.lost[alive], mean.occupied)
    cycle = float(paced_cycle(occupied, mean.every, mean.commands_load))
    periods = np.maximum(mean.every, cycle)
    # It fails this often, and is given up with the first failure that is late enough and one of many enough.
    rates = [(float((1 / periods[mean.polls.unit[alive] == unit]).sum()), unit) for unit in units]
    rate, slowest = min(rates)
    time_out = float(mean.polls.time_out[mean.polls.unit == slowest].mean())
    failures = max(case.offline_after, math.ceil(OFFLINE_AFTER * rate) + 1)
    until = max(OFFLINE_AFTER, (failures - 1) / rate) + time_out
    troubled = tuple(
        unit._replace(trouble="dead") if number in units else unit for number, unit in enumerate(case.units)
    )
    after = mean.like(replace(case, units=troubled))
    rests = not mean.restless
    load = float((occupied / mean.every).sum()) + mean.commands_load if rests else None
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
    if not len(mean.occupied):
        return ()
    for rate in _NOISES:
        pace = mean.like(replace(mean.case, bit_error_rate=rate))
        pace.__dict__.update(polls=mean.polls.noisy(rate), moves=mean.moves.noisy(rate))
        failing = float(pace.polls.failing[pace.alive].mean())
        moved = float(pace.moves.failing.mean()) if len(pace.case.moves) else failing
        found.append(
            NoiseBudget(rate, failing, pace.round_with(pace.commands_load) / 1e9, moved ** (1 + mean.case.retries))
        )
    return tuple(found)
