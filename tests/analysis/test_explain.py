"""`--explain`: the steps to one number of the budget, and the handbook page that follows one of them."""

from __future__ import annotations

import pytest
from budget_plans import SLOW, box
from places import SCENARIOS, TOP

from busim.analysis.budget import EXPLAINED, budget, cases, explain
from busim.cli import budget as command
from busim.foundation.errors import UserError
from busim.plan import read

HALL = SCENARIOS / "climbing-hall/plan.yaml"


@pytest.mark.parametrize(
    "plan",
    [{"moves": "3 /s"}, {"every": "300 ms", "more": SLOW, "moves": "1 /s"}, {"absent": (2,), "moves": "1 /s"},
     {"line": "bit_error_rate: 2e-5", "moves": "1 /s"}, {"every": "30 ms", "moves": "1 /s"}],
    ids=["restless", "paced", "a dead camera", "noise", "too fast a pace"],
)  # fmt: skip
def test_the_last_step_is_the_number_of_the_budget(plan: dict[str, str]) -> None:
    planned = box(**plan)  # type: ignore[arg-type]
    (case,), (line,) = cases(planned), budget(planned, what_ifs=False).lines
    assert line.figures is not None
    assert line.moves is not None
    alive = next(one for one in line.cameras if not one.trouble)
    first = next(one for one in line.exchanges if one.camera == alive.name)
    expected = {
        "exchange": first.total.mean,
        "cycle": min(group.cycle.mean for group in line.groups),
        "age_mean": alive.figures["age_mean"].value,
        "move_mean": line.moves.mean,
        "move_p95": line.moves.p95,
    }
    for name, seconds in expected.items():
        last = explain(case, name)[-1]
        assert (last.name, last.unit) == (name, "ms")
        assert last.value == pytest.approx(1e3 * (seconds or 0), rel=1e-9), name
    load = explain(case, "load")[-1]
    if line.load is not None:
        assert load.value == pytest.approx(line.load.mean)


def test_the_sum_the_cycle_and_the_age_follow_from_the_steps_above_them() -> None:
    """As a reader computes it by pocket calculator: Takagi 1986, and Kaul, Yates, Gruteser 2012 (both from memory)."""
    case = cases(read(HALL))[0]
    steps = {step.name: step.value for step in explain(case, "age_mean")}
    parts = ("request", "silence", "turnaround", "reply", "packing", "converter")
    assert steps["exchange"] == pytest.approx(sum(steps[name] for name in parts))
    assert steps["cycle"] == pytest.approx(steps["walk"] / (1 - steps["load"]))
    spreads = [steps[f"spread by {cause}"] ** 2 for cause in ("turnarounds", "commands", "others")]
    assert steps["E[C^2]"] == pytest.approx(steps["E[C]"] ** 2 + sum(spreads))
    assert steps["age_mean"] == pytest.approx(steps["E[C^2]"] / (2 * steps["E[C]"]) + steps["D"])


def test_the_page_has_the_numbers_of_the_command() -> None:
    page = (TOP / "busim/handbook/one-number.md").read_text()
    left_out = ("poll", "bit", "way", "moves sent", "commands", "polls with", "E[C]")
    for step in explain(cases(read(HALL))[0], "age_mean"):
        if not step.name.startswith(left_out):
            assert f"{step.value:.7g} {step.unit}".strip() in page, step.name


@pytest.mark.parametrize("asked", ["boulder line.no such", "boulder line", "nowhere.cycle", ".cycle", ""])
def test_a_quantity_that_is_not_there_is_the_user_s_error(asked: str) -> None:
    with pytest.raises(UserError) as caught:
        command.command(str(HALL), explained=asked)
    assert caught.value.expected


def test_a_quantity_that_is_nearly_there_is_offered_and_a_wrong_line_is_that_of_the_option() -> None:
    with pytest.raises(UserError) as caught:
        command.command(str(HALL), explained="boulder line.age")
    assert caught.value.mend == "did you mean `age_mean`?"
    with pytest.raises(UserError) as caught:
        command.command(str(HALL), explained="boulder.cycle")
    assert caught.value.field == "--explain"


@pytest.mark.parametrize("quantity", EXPLAINED)
def test_a_line_without_a_budget_says_why_there_is_nothing_to_explain(quantity: str) -> None:
    with pytest.raises(UserError) as caught:
        explain(cases(read(SCENARIOS / "two-masters/plan.yaml"))[0], quantity)
    assert "nobody orders them" in (caught.value.found or "")


def test_without_moves_there_is_no_move_to_explain() -> None:
    with pytest.raises(UserError):
        explain(cases(box())[0], "move_mean")
