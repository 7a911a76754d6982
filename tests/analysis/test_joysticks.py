"""Joysticks of a plan: what they send, what becomes of it, and what an operator beside them feels."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from budget_plans import box

from busim.analysis.budget import JoystickBudget, LineBudget, budget, cases, explain
from busim.plan import Plan, read_text
from busim.recording.figures import Fold
from busim.recording.trace import EXCHANGE, INTENT, Record
from busim.simulator.world import build

BOTH = "{camera: c1, controls: [zoom, focus], rate: 25 /s, jitter: 5 ms}"
ONE = "{camera: c1, controls: [zoom], rate: 25 /s}"
OTHER = "{camera: c2, controls: [zoom], rate: 25 /s}"
STICKS = {("c1", "zoom"), ("c1", "focus"), ("c2", "zoom")}


def steered(*sticks: str, moves: str = "2 /s", **changed: str) -> Plan:
    """The plan of `box` with these joysticks on its panel."""
    text = box(moves=moves, **changed).source  # type: ignore[arg-type]
    return read_text(text.replace(f"moves: {moves}}}", f"moves: {moves}, joysticks: [{', '.join(sticks)}]}}"))


def line_of(plan: Plan) -> LineBudget:
    (line,) = budget(plan, what_ifs=False).lines
    return line


class Run:
    """A simulated run of one line: `moved`, ms of its answered moves from the hand to the acknowledgement."""

    def __init__(self, plan: Plan, seconds: int) -> None:
        records: list[Record] = []
        world = build(plan, 1, records.append)
        world.start()
        world.kernel.advance(seconds * 10**9)
        names = {name.row: name.name for name in world.names if name.kind == "camera"}
        fold = Fold()
        for record in records:
            fold.take(record)
        (number,) = {name.row for name in world.names if name.kind == "line"}
        self.cameras = [fold.camera(number, one, seconds * 10**9) for one in fold.camera_numbers(number)]
        self.line = fold.line(number, seconds * 10**9)
        told = [r for r in records if r[0] == EXCHANGE and r[5] == "command" and r[12] == "ok"]
        self.asked = {(names[r[3]], r[6]): [one[8] for one in told if (one[3], one[6]) == (r[3], r[6])] for r in told}
        self.moved = {key: np.array([]) for key in ("all", "beside")}
        self.moved["all"] = np.array([(r[10] - r[8]) / 1e6 for r in told])
        self.moved["beside"] = np.array([(r[10] - r[8]) / 1e6 for r in told if (names[r[3]], r[6]) not in STICKS])


@cache
def both(*sticks: str, **changed: str) -> tuple[LineBudget, Run]:
    plan = steered(*sticks, **changed)
    return line_of(plan), Run(plan, 80)


CASES = pytest.mark.parametrize("sticks", [(BOTH,), (ONE, OTHER)], ids=["one of two controls", "two"])


@CASES
def test_the_line_with_joysticks_has_the_figures_of_its_run(sticks: tuple[str, ...]) -> None:
    """A regression: both are our own. Rates and ages within 1.5 %, mean of moves 3 %, p95 5 %."""
    line, seen = both(*sticks)
    assert line.figures is not None
    assert line.moves is not None
    assert line.figures["poll_rate"].value == pytest.approx(seen.line["poll_rate"].value, rel=0.015)
    assert line.moves.mean * 1e3 == pytest.approx(seen.moved["all"].mean(), rel=0.03)
    assert line.moves.p95 == pytest.approx(seen.line["move_p95"].value, rel=0.05)
    assert line.moves.bound is not None
    assert seen.moved["all"].max() / 1e3 <= line.moves.bound
    for expected, figures in zip(line.cameras, seen.cameras, strict=True):
        assert expected.figures["age_mean"].value == pytest.approx(figures["age_mean"].value, rel=0.015)


@CASES
def test_a_row_says_what_an_operator_beside_a_joystick_feels(sticks: tuple[str, ...]) -> None:
    line, seen = both(*sticks)
    beside = seen.moved["beside"]
    error = beside.std() / len(beside) ** 0.5 / beside.mean()
    for row in line.joysticks:
        assert row.beside * 1e3 == pytest.approx(beside.mean(), rel=max(0.03, 3 * error))
        low, high = np.quantile(beside, [0.90, 0.98])  # some 150 moves
        assert low <= row.beside_p95 * 1e3 <= high
        assert row.without_p95 < row.beside_p95


def test_positions_that_wait_are_replaced_as_the_rows_say() -> None:
    """Of both together: two of one rate keep their distance in a run, and so one may always come first."""
    line, seen = both(ONE, OTHER)
    sent = len(seen.asked["c1", "zoom"]) + len(seen.asked["c2", "zoom"])
    assert 1 - sent / (80 * 50) == pytest.approx(sum(row.replaced for row in line.joysticks) / 2, abs=0.03)


def test_while_a_joystick_rests_the_line_is_that_of_the_plan_without_it() -> None:
    row: JoystickBudget = both(BOTH)[0].joysticks[0]
    alone = line_of(steered())
    assert alone.moves is not None
    assert row.without_p95 == pytest.approx(alone.moves.p95, rel=0.05)
    assert row.without_cycle == pytest.approx(alone.groups[0].cycle.mean, rel=0.01)


def test_positions_come_at_their_rate_and_up_to_their_jitter_late() -> None:
    """On a line that answers at once nearly, so that none is replaced."""
    fast = {"baud": "115200 Bd", "turnaround": "1 ms", "packing": "{idle: 1 ms, length: 0}"}
    seen = Run(steered("{camera: c1, controls: [zoom, focus], rate: 5 /s, jitter: 50 ms}", moves="0", **fast), 60)
    zoom, focus = np.array(seen.asked["c1", "zoom"]), np.array(seen.asked["c1", "focus"])
    assert len(zoom) == len(focus) == pytest.approx(300, abs=1)
    assert (zoom == focus).all()
    late = (zoom - zoom[0] - 2e8 * np.arange(len(zoom))) / 1e6
    assert late.max() - late.min() <= 50
    assert late.max() - late.min() > 40


def test_a_controller_outside_gets_positions_as_intents_of_the_panel() -> None:
    records: list[Record] = []
    world = build(steered(BOTH, moves="0"), 1, records.append, played=(), hooked=True)
    told: list[tuple[str, str, str]] = []
    assert world.hook is not None
    world.hook.told.append(lambda intent: told.append((intent.camera, intent.parameter, intent.panel)))
    world.start()
    world.kernel.advance(4 * 10**9)
    assert len(told) == pytest.approx(2 * 100, abs=2)
    assert set(told) == {("c1", "zoom", "panel"), ("c1", "focus", "panel")}
    assert sum(record[0] == INTENT for record in records) == len(told)


def test_more_joysticks_than_there_is_time_for_still_have_a_row() -> None:
    """Newer positions replace waiting ones: polls keep a turn, and no row says "too much"."""
    (line,) = budget(steered(BOTH)).lines
    for row in line.streams:
        assert row.p95 is not None
        assert row.cycle is not None
        assert row.cycle < 0.5


def test_the_steps_to_a_move_say_that_turns_are_written_out() -> None:
    (case,) = cases(steered(BOTH))
    steps = explain(case, "move_mean")
    assert any("written out" in step.equation for step in steps)
