"""The check as a whole: order, silencing, speed, and absurd plans."""

from __future__ import annotations

import json
import time
from pathlib import Path

import pytest
from bad_plans import GOOD
from bare_yaml import bare
from drawn_plans import drawn, large
from hypothesis import HealthCheck, assume, given, settings
from places import SCENARIOS
from small_plans import wall

from busim import __version__
from busim.analysis.check import AREAS, SOUND, Checked, all_rules, check, page, sarif
from busim.foundation.diagnostics import Findings
from busim.foundation.errors import UserError
from busim.plan import read_text

_ORDER = ("error", "warning", "note")


def ranked(checked: Checked) -> list[tuple[int, int, int]]:
    return [(_ORDER.index(one.severity), one.line or 0, one.column or 0) for one in checked.findings]


def test_there_are_more_than_forty_rules_and_every_area_has_some() -> None:
    assert len(all_rules()) >= 40
    assert {rule.area for rule in all_rules().values()} == set(AREAS)


def test_findings_come_with_errors_first_and_then_by_place() -> None:
    checked = check(read_text(GOOD, "plan.yaml"))
    assert len({one.severity for one in checked.findings}) == 3
    assert ranked(checked) == sorted(ranked(checked))


def test_every_value_that_was_left_to_its_default_and_matters_is_among_what_is_assumed() -> None:
    text = SOUND.replace(", turnaround: 2..6 ms", "").replace("    latency: 1 ms\n", "", 1)
    assumed = "\n".join(check(read_text(text, "plan.yaml")).assumed)
    assert "a turnaround of 5 ms for 5 of 5 cameras" in assumed
    assert "a latency of 1 ms each way for 1 of 2 converters" in assumed


def test_a_plan_without_masters_is_a_plan_for_a_controller_from_outside() -> None:
    begin, end = SOUND.index("masters:"), SOUND.index("supplies:")
    checked = check(read_text(SOUND[:begin] + SOUND[end:], "plan.yaml"))
    assert {one.severity for one in checked.findings} <= {"note"}


def test_a_rule_that_is_not_there_has_no_page() -> None:
    with pytest.raises(UserError):
        page("no-such-rule-at-all")


@pytest.mark.parametrize("scenario", sorted(SCENARIOS.glob("*/plan.yaml")), ids=lambda path: path.parent.name)
def test_a_scenario_has_the_errors_that_it_is_there_to_teach(scenario: Path) -> None:
    taught = {
        "factory-fresh": {"same-id-on-line"},
        "two-masters": {"two-masters-on-line"},
        "escaped-frames": {"time-out-too-short"},
    }
    plan = read_text(scenario.read_text(encoding="utf-8"), str(scenario))
    errors = {one.code for one in check(plan).findings if one.severity == "error"}
    assert errors == taught.get(scenario.parent.name, set())


def test_small_plans_are_checked() -> None:
    assert {one.code for one in check(wall(cameras=3)).findings} >= {"factory-id-in-use"}


@settings(max_examples=100, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much])
@given(drawn())
def test_whatever_a_plan_says_check_answers_with_findings_at_places_of_the_plan(text: str) -> None:
    try:
        plan = read_text(text, "plan.yaml")
    except Findings:
        assume(False)
    checked = check(plan)
    assert ranked(checked) == sorted(ranked(checked))
    for one in (*checked.findings, *(silenced.finding for silenced in checked.silenced)):
        assert all((one.what, one.found, one.expected, one.mend, one.why, one.line, one.column, one.field))
        assert one.field.split("[")[0].split(".")[0] in text
    json.dumps(checked.as_json())
    json.dumps(sarif(checked, __version__))


def test_three_hundred_cameras_on_forty_lines_are_checked_in_a_second() -> None:
    """A second, or where the machine is slow three times what the YAML parser alone takes for the text."""
    text = large()
    check(read_text(SOUND, "plan.yaml"))  # the first check also loads modules
    began = time.process_time()
    plan = read_text(text, "plan.yaml")
    checked = check(plan)
    took = time.process_time() - began
    assert took < 1.0 or took < 3 * bare(text)
    assert checked.covered == {"lines": 40, "cameras": 300, "converters": 40, "masters": 1, "panels": 1}
    assert checked.count("error") == 0
