"""More operators and joysticks at a master, beside the moves that are planned.

How their moves wait is followed for all lines together (`together`).
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from busim.analysis.budget.command_delay import IN_A_ROW, Chain
from busim.analysis.budget.figures import Expected
from busim.analysis.budget.mixes import Mix
from busim.analysis.budget.response import Flow, lowest_response
from busim.analysis.budget.result import StreamBudget
from busim.analysis.budget.write_cost import written
from busim.physics.exchange import WORST

OPERATOR = 2e-9  # moves per ns of one more operator, both hands busy: common practice, no source
OPERATOR_CONTROLS = 4
JOYSTICK = 25e-9  # positions per ns: one for each frame of 25p (40 ms, ITU-R BT.709, from memory)
_COUNTS = (1, 2, 4)
_RARELY = 1e-15  # moves per ns: as good as none


class Streams:
    """1, 2, 4 more operators or joysticks at the master of a line.

    `found`: kind, count, share, answer without a wait, bound and cycle (s) of each, for all that `StreamBudget` has but
    how long moves wait; `chains`: what has to be followed for that; `answer`: what a command takes that does not wait.
    """

    def __init__(self, expected: Expected) -> None:
        self.found: list[tuple[str, int, float, float | None, float | None, float | None]] = []
        self.chains: list[Chain] = []
        mean = expected.mean
        if mean.case.units and mean.crowded < 1:
            self._put(expected)

    def _put(self, expected: Expected) -> None:
        mean = expected.mean
        unit = next(number for number, unit in enumerate(mean.case.units) if not unit.trouble)
        one, way = written(mean, unit, 1), 2 * mean.case.units[unit].distance
        own, variance = one.occupied() + way, one.exchange.variance
        square = own**2 + variance
        answer = one.exchange.mean + way
        self.answer = Mix.two(answer, answer**2 + variance)
        turn = mean.between.mean / IN_A_ROW if mean.saturated else 0.0
        moved, moved_square, held = 0.0, 0.0, 0.0
        if mean.move_rate:
            moved, moved_square, held = mean.serving.mean, mean.serving.square, mean.controls
        # In order of arrival none waits longer than the lowest would by priority. Polls take a turn after four
        # commands, so a quarter of one is added to each, and two to what may hold the line.
        longest = expected.longest_poll
        position = Flow(math.ceil(one.occupied(WORST) + way + longest / IN_A_ROW), round(1 / JOYSTICK))
        for kind, rate, controls in (("operators", OPERATOR, OPERATOR_CONTROLS), ("joysticks", JOYSTICK, 1)):
            steady = kind == "joysticks"
            for count in _COUNTS:
                # Moves of controls that nobody moved yet, so that none replaces another's.
                every = mean.move_rate + count * rate
                share = mean.move_rate / every
                service = (1 - share) * own + share * moved
                busy = every * service
                worst = lowest_response(position, count, math.ceil(2 * longest)) if steady else None
                bound = None if worst is None else worst / 1e9
                crowded = busy + every * turn
                if crowded >= 1:
                    self.found.append((kind, count, crowded, None, bound, None))
                    continue
                # A steady stream does not meet itself; the others it meets as if they came at random.
                met = max(every - rate, _RARELY) if steady else every
                spread = Mix.two(service, (1 - share) * square + share * moved_square)
                self.chains.append(Chain(met, held + count * controls - steady, spread, mean.between))
                cycle = mean.round_with(busy) / 1e9
                self.found.append((kind, count, crowded, answer / 1e9, bound, cycle))

    def found_with(self, waited: Sequence[tuple[float, float]]) -> tuple[StreamBudget, ...]:
        """Everything, with the mean wait and the 95th percentile of wait and answer (ns) of each that was followed."""
        later = iter(waited)
        made = []
        for kind, count, crowded, answer, bound, cycle in self.found:
            late = None
            if answer is not None:
                wait, p95 = next(later)
                answer, late = answer + wait / 1e9, p95 / 1e9
            made.append(StreamBudget(kind, count, crowded, answer, late, bound, cycle))
        return tuple(made)
