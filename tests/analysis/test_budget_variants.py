"""What-ifs against the changed case computed anew: the same formulas, counted another way."""

from __future__ import annotations

import json
import math
from typing import Any

import pytest
from budget_plans import SLOW, box
from hypothesis import example, given
from hypothesis import strategies as st

from busim.analysis.budget import Case, PollSchedule, budget, cases
from busim.analysis.budget.case import Poll
from busim.analysis.budget.changes import _merged
from busim.analysis.budget.utilisation import Utilisation
from busim.analysis.budget.variants import Works, noisy, of_units, without
from busim.foundation.diagnostics import Findings
from busim.installation import outline
from busim.plan.models import find, names

PLANS = st.fixed_dictionaries(
    {
        "cameras": st.integers(2, 5),
        "absent": st.sampled_from([(), (1,), (2,)]),
        "models": st.lists(st.sampled_from(names()), max_size=5).map(tuple),
        "values": st.sampled_from(["[zoom]", "[iris, gain, shutter]", "[tally, iris, temperature]"]),
        "every": st.sampled_from(["0", "40 ms", "2 s"]),
        "more": st.sampled_from(["", SLOW]),
        "line": st.sampled_from(["", "bit_error_rate: 2e-5"]),
        "moves": st.sampled_from(["0", "2 /s", "30 /s"]),
        "turnaround": st.sampled_from(["2 ms", "2..6 ms"]),
    }
)


def _words(model: str, *, settable: bool = False) -> set[str]:
    """The words by which a plan can read the parameters of a model, or set them."""
    found = find(model)
    able = {one.name for one in found.parameters if one.writable or not settable}
    return {word for word, name in found.words.items() if name in able}


def _case(drawn: dict[str, Any]) -> Case:
    """The case of a drawn plan, without values that no camera has and controls that some of them lack."""
    models = [*drawn["models"], *["zoom-camera"] * 5][: drawn["cameras"]]
    read, moved = set().union(*map(_words, models)), [_words(one, settable=True) for one in models]
    values = [one for one in drawn["values"].strip("[]").split(", ") if one in read]
    controls = [one for one in ("iris", "red_gain", "zoom", "focus") if all(one in words for words in moved)]
    plan = {
        **drawn, "values": f"[{', '.join(values or ['tally'])}]", "controls": f"[{', '.join(controls or ['tally'])}]",
        "more": drawn["more"] if {"tally", "temperature"} <= read else "",
    }  # fmt: skip
    return cases(box(**plan))[0]


def _same(load: Utilisation, case: Case) -> None:
    fresh = PollSchedule(case, exact=False)
    assert load.demand == pytest.approx(fresh.demand, rel=1e-12)
    assert load.cycle == pytest.approx(fresh.cycle, rel=1e-12)
    assert load.commands_load == pytest.approx(fresh.commands_load, rel=1e-12)
    assert load.polls == len(fresh.layout.living)


@given(PLANS, st.integers(0, 1))
def test_a_line_with_more_dead_cameras_is_that_of_a_plan_in_which_they_are_missing(
    plan: dict[str, Any], gone: int
) -> None:
    case = _case(plan)
    units = tuple(one._replace(trouble="dead") if number == gone else one for number, one in enumerate(case.units))
    _same(without(PollSchedule(case, exact=False), [gone]), case._replace(units=units))


@given(PLANS)
def test_a_line_of_some_cameras_is_that_of_a_plan_that_asks_no_others(plan: dict[str, Any]) -> None:
    case = _case(plan)
    units = [number for number, unit in enumerate(case.units) if not unit.trouble][:2]
    polls = tuple(poll for poll in case.polls if poll.unit in units)
    moves = tuple(move for move in case.moves if move.unit in units)
    _same(of_units(PollSchedule(case, exact=False), units), case._replace(polls=polls, moves=moves))


@given(PLANS, st.sampled_from([1e-6, 1e-4]))
def test_a_noisier_line_is_that_of_a_plan_with_this_noise(plan: dict[str, Any], rate: float) -> None:
    case = _case(plan)
    noisier = case._replace(bit_error_rate=rate)
    load, failing = noisy(PollSchedule(case, exact=False), rate)
    _same(load, noisier)
    assert failing == [one.failing for one in PollSchedule(noisier).times]


@given(PLANS)
def test_polls_left_out_are_those_of_a_plan_that_never_had_them(plan: dict[str, Any]) -> None:
    case = _case(plan)
    works = Works(PollSchedule(case, exact=False))
    for work in {(poll.group, poll.work) for poll in case.polls}:
        left = tuple(poll for poll in case.polls if (poll.group, poll.work) != work)
        _same(works.without(work), case._replace(polls=left))


@given(PLANS)
def test_polls_read_together_are_those_of_a_plan_that_reads_them_so(plan: dict[str, Any]) -> None:
    case = _case(plan)
    works = Works(PollSchedule(case, exact=False))
    for group in {poll.group for poll in case.polls}:
        together = dict(_merged(case, group))
        first = [number for number, poll in enumerate(case.polls) if poll.group == group]
        polls: list[Poll] = []
        for number, poll in enumerate(case.polls):
            if number in together:
                polls.append(together[number])
            elif number not in first:
                polls.append(poll)
        _same(works.merged(group, list(together.items())), case._replace(polls=tuple(polls)))


# the first cameras are asked nothing
@given(PLANS)
@example({"models": ("minicam", "minicam"), "values": "[zoom]", "every": "2 s", "controls": "[gain]"})
def test_every_plan_has_a_budget_or_is_told_why_not(drawn: dict[str, Any]) -> None:
    """Any drawn plan has a budget, written as JSON to the last number."""
    plan = box(**drawn)
    told = outline(plan).findings
    if told:
        with pytest.raises(Findings) as caught:
            budget(plan, need=5.0)
        assert caught.value.findings == told
        return
    (line,) = budget(plan, need=5.0).as_json()["lines"]
    assert line["figures"] or line["obstacles"]
    assert all(math.isfinite(one["gain"]) and one["gain"] > 0 for one in line["changes"])
    json.dumps(line, allow_nan=False)
