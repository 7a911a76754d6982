"""More operators and joysticks at a master, in addition to the planned moves.

While few moves of operators wait for each other, the chain of random moves holds (`command_delay`). Beyond that, and
for joysticks, turns are written out (`written_out`): positions come steadily, and newer ones replace waiting ones.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

from busim.analysis.budget.command_delay import COMMANDS_IN_A_ROW, waits
from busim.analysis.budget.distribution import Distribution
from busim.analysis.budget.figures import Expected
from busim.analysis.budget.poll_schedule import LATE, PollSchedule
from busim.analysis.budget.response import Flow, lowest_response
from busim.analysis.budget.result import StreamBudget
from busim.analysis.budget.write_cost import write_timing
from busim.analysis.budget.written_out import Positions, Queue, Work, Written, written
from busim.physics.exchange import WORST

OPERATOR = 2e-9  # moves per ns of one more operator, both hands busy: common practice, no source
OPERATOR_CONTROLS = 4
JOYSTICK = 25e-9  # positions per ns: one for each frame of 25p (40 ms, ITU-R BT.709, from memory)
_COUNTS = (1, 2, 4)
_ALL = 1 - 1e-9  # share of the master's time, above which polls get no turn
_SELDOM = 0.8  # share of it that moves need, up to which few wait for each other
_COMMANDS = 1000  # moves that are written out: enough to compare rows


def streams(expected: Expected) -> tuple[StreamBudget, ...]:
    """1, 2, 4 more operators, and as many joysticks. Their controls are not moved yet, so none replaces another's."""
    mean = expected.mean
    if not mean.case.units or (mean.move_rate and not mean.followed):
        return ()
    return tuple(_streams(expected))


def _streams(expected: Expected) -> Iterator[StreamBudget]:
    mean = expected.mean
    unit = next(number for number, unit in enumerate(mean.case.units) if not unit.trouble)
    one, way = write_timing(mean, unit, 1), 2 * mean.case.units[unit].distance
    variance = float(one.exchange.variance)
    own = Distribution.around(float(one.occupied()) + way, variance)
    answer = Distribution.around(float(one.exchange.mean) + way, variance)
    turn = mean.between.mean / COMMANDS_IN_A_ROW if mean.saturated else 0.0
    # In order of arrival none waits longer than the lowest would by priority. Polls take a turn after four commands, so
    # a quarter of a poll is added to each command, and two polls to what may hold the line.
    longest = expected.longest_poll
    position = Flow(math.ceil(float(one.occupied(WORST)) + way + longest / COMMANDS_IN_A_ROW), round(1 / JOYSTICK))
    for kind, rate in (("operators", OPERATOR), ("joysticks", JOYSTICK)):
        steady = kind == "joysticks"
        for count in _COUNTS:
            service = _service(mean, own, count * rate)
            crowded = (mean.move_rate + count * rate) * (service.mean + turn)
            delay: Distribution | None
            bound = None
            if steady and not mean.case.joysticks:
                worst = lowest_response(position, count, math.ceil(2 * longest))
                bound = None if worst is None else worst / 1e9
            if steady or mean.case.joysticks or crowded > _SELDOM:
                found = _written_out(mean, Work(own.mean, float(own.widths[0]), 0.0, 0.0), count, steady)
                delay, busy = _delay(found, count) if steady else found.beside, found.busy
            else:
                delay, busy = _chained(mean, service, count)
            cycle = mean.round_with(busy) / 1e9 if busy < _ALL else None
            if delay is None:
                yield StreamBudget(kind, count, crowded, None, None, None, cycle)
                continue
            p95 = delay.plus(answer).quantile(LATE) / 1e9
            yield StreamBudget(kind, count, crowded, (delay.mean + answer.mean) / 1e9, p95, bound, cycle)


def _service(mean: PollSchedule, own: Distribution, rate: float) -> Distribution:
    """How long the master is inside a command, if more of them like `own` come at this rate."""
    planned = [(mean.move_rate, mean.serving)] if mean.move_rate else []
    return Distribution.mixture([(rate, own), *planned])


def _chained(mean: PollSchedule, service: Distribution, count: int) -> tuple[Distribution, float]:
    """How long moves wait with so many more operators, and the share of time that commands take."""
    rate = mean.move_rate + count * OPERATOR
    full = rate * service.mean + mean.polled >= 1 and bool(mean.paces)
    held = mean.controls if mean.move_rate else 0.0
    wait = waits(rate, held + count * OPERATOR_CONTROLS, service, mean.polling if full else mean.between)
    return wait.delay, wait.carried * service.mean


def _written_out(mean: PollSchedule, work: Work, count: int, steady: bool) -> Written:
    """The turns with so many more joysticks (`steady`) or operators, who all give commands like `work`."""
    polls, commands, operators, joysticks = mean.queue
    first, added = len(commands), count if steady else count * OPERATOR_CONTROLS
    more = [0.0 if steady else OPERATOR / OPERATOR_CONTROLS] * added
    sticks = [Positions((first + number,), 1 / JOYSTICK, 0.0) for number in range(count if steady else 0)]
    queue = Queue(polls, [*commands, *[work] * added], [*operators, *more], [*joysticks, *sticks])
    return written(queue, _COMMANDS, 0 if steady else _COMMANDS)


def _delay(found: Written, count: int) -> Distribution | None:
    """How long positions of the last so many commands wait. None if one of these never has its turn."""
    delays = [delay for delay in found.delays[-count:] if delay is not None]
    return Distribution.mixture([(1, delay) for delay in delays]) if len(delays) == count else None
