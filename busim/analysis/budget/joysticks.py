"""The joysticks of a plan: what becomes of their positions, and what an operator beside each of them feels."""

from __future__ import annotations

from collections.abc import Iterator

from busim.analysis.budget.case import Case, Joystick
from busim.analysis.budget.distribution import Distribution
from busim.analysis.budget.figures import Expected
from busim.analysis.budget.poll_schedule import LATE, PollSchedule
from busim.analysis.budget.result import JoystickBudget


def joysticks(expected: Expected) -> tuple[JoystickBudget, ...]:
    """A row for each joystick, in the plan's order."""
    return tuple(_rows(expected.mean)) if expected.mean.case.joysticks else ()


def _rows(mean: PollSchedule) -> Iterator[JoystickBudget]:
    case = mean.case
    beside = _felt(mean)
    for number, stick in enumerate(case.joysticks):
        without = PollSchedule(_without(case, number))
        unit = case.units[case.moves[stick.moves[0]].unit]
        sent = [
            (1 - mean.written.replaced[move], waited.plus(mean.latencies[row.kind].shifted(row.way)))
            for move in stick.moves
            if (waited := mean.written.delays[move]) is not None and not unit.trouble
            for row in (mean.layout.moves[move],)
        ]
        position = Distribution.mixture(sent) if sent else None
        alone = _felt(without)
        yield JoystickBudget(
            panel=stick.panel,
            camera=unit.name,
            controls=tuple(case.moves[move].control for move in stick.moves),
            rate=1e9 / stick.every,
            mean=None if position is None else position.mean / 1e9,
            p95=None if position is None else position.quantile(LATE) / 1e9,
            replaced=sum(mean.written.replaced[move] for move in stick.moves) / len(stick.moves),
            beside=beside.mean / 1e9,
            beside_p95=beside.quantile(LATE) / 1e9,
            without_p95=alone.quantile(LATE) / 1e9,
            cycle=mean.shortest / 1e9 if mean.paces else None,
            without_cycle=without.shortest / 1e9 if without.paces else None,
        )


def _felt(pace: PollSchedule) -> Distribution:
    """From an operator's move to its acknowledgement, of a control that nobody else moves."""
    return pace.written.beside.plus(pace.answer)


def _without(case: Case, number: int) -> Case:
    """The case with this joystick at rest, its controls still there."""
    stick: Joystick = case.joysticks[number]
    rate = 1e9 / stick.every
    moves = tuple(
        move._replace(rate=max(0.0, move.rate - rate), steady=max(0.0, move.steady - rate))
        if place in stick.moves
        else move
        for place, move in enumerate(case.moves)
    )
    return case._replace(moves=moves, joysticks=(*case.joysticks[:number], *case.joysticks[number + 1 :]))
