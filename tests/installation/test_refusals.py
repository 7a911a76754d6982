"""A plan that one command refuses, all refuse, in the same words; a plan that `check` passes, all take."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest
from drawn_plans import drawn
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from places import SCENARIOS

from busim.analysis.budget import budget
from busim.analysis.check import SOUND, check
from busim.analysis.diff import diff
from busim.analysis.split import split
from busim.commissioning.bus_scan import scan_bus
from busim.commissioning.rehearse import planned, steps_of
from busim.commissioning.sheet import sheet
from busim.experiments.sweep import compute, parse_axis
from busim.foundation.diagnostics import Finding, Findings
from busim.foundation.errors import UserError
from busim.installation import outline
from busim.plan import Plan, read_text
from busim.runtime.session import Run
from busim.runtime.session.played import played
from busim.simulator.masters import Master
from busim.testing.fuzzing import PureRun


def _run(plan: Plan) -> None:
    Run(plan, 1).advance(0)


def _serve(plan: Plan) -> None:
    """As `busim serve` builds it: no sockets, since a port that is taken is not the plan's mistake."""
    Run(plan, 1, clock="wall", played=played(plan, ()), watched=True, live=True, hooked=True).advance(0)


def _rehearse(plan: Plan) -> None:
    run = Run(plan, 1, played=(), watched=True)
    steps_of(plan, planned(plan, run.world))


COMMANDS: dict[str, Callable[[Plan], object]] = {
    "run": _run, "serve": _serve, "budget": budget, "rehearse": _rehearse,
}  # fmt: skip
FEW = 5  # plans by default, without `scan`, which simulates a minute of a line
# Commands that do more work on a plan: tried on fewer plans, and only on those that are not refused.
MORE: dict[str, Callable[[Plan], object]] = {
    "sheet": lambda plan: sheet(plan, version="1", date="2026-01-01"),
    "plan diff": lambda plan: diff(plan, plan),
    "plan split": split,
    "scan": lambda plan: scan_bus(plan, plan.lines[0].name, stopped=[one.name for one in plan.masters]),
    "sweep": lambda plan: compute(plan, [parse_axis("line.baud=9600,19200")]),
    "fuzz": lambda plan: PureRun(plan, (), Master),
}
PLANS = [("plan.yaml", SOUND), *((str(path), path.read_text()) for path in sorted(SCENARIOS.glob("*/plan.yaml")))]
_WORD = re.compile(r"(?<=[\[ ,])[a-z_]{3,}(?=[\],}\n ])|(?<=: )[0-9]+(?=[,}\n])")


@st.composite
def damaged(draw: st.DrawFn) -> tuple[str, str]:
    """A sound plan, by path and text, with one or two of its words and numbers misspelt, swapped or left out."""
    path, text = draw(st.sampled_from(PLANS))
    for _ in range(draw(st.integers(1, 2))):
        words = [(one.start(), one.end(), one[0]) for one in _WORD.finditer(text)]
        start, end, word = draw(st.sampled_from(words))
        others = [f"{word}x", word[:-1], draw(st.sampled_from(words))[2], "tilt_of_the_roof", "0"]
        text = text[:start] + draw(st.sampled_from(others)) + text[end:]
    return path, text


def _told(findings: tuple[Finding, ...]) -> list[tuple[object, ...]]:
    return [(one.code, one.file, one.line, one.column, one.what, one.found, one.expected) for one in findings]


def _holds(text: str, path: str) -> None:
    try:
        plan = read_text(text, path)
    except Findings:
        assume(False)
    found = outline(plan).findings
    checked = check(plan)
    if not found:
        for name, command in COMMANDS.items():
            try:
                command(plan)
            except Findings as error:
                pytest.fail(f"{name} refuses what can be resolved: {error}")
        return
    assert set(_told(found)) <= set(_told(checked.findings))
    for command in COMMANDS.values():
        with pytest.raises(Findings) as caught:
            command(plan)
        assert _told(caught.value.findings) == _told(found)


@given(drawn())
def test_whatever_a_plan_says_all_commands_refuse_it_alike_or_none_does(text: str) -> None:
    _holds(text, "plan.yaml")


@given(damaged())
def test_whatever_is_misspelt_in_a_plan_all_commands_refuse_it_alike_or_none_does(plan: tuple[str, str]) -> None:
    path, text = plan
    _holds(text, path)


@pytest.mark.parametrize("plans", [pytest.param(FEW), pytest.param(1000, marks=pytest.mark.long)])
def test_what_check_passes_no_other_command_refuses(plans: int) -> None:
    @settings(max_examples=plans, suppress_health_check=list(HealthCheck))
    @given(st.one_of(drawn().map(lambda text: ("plan.yaml", text)), damaged()))
    def holds(written: tuple[str, str]) -> None:
        path, text = written
        try:
            plan = read_text(text, path)
        except Findings:
            assume(False)
        assume(not outline(plan).findings)
        noisy = any(line.bit_error_rate for line in plan.lines)  # a scan of 10 MBd with noise simulates for minutes
        for name, command in MORE.items():
            if name == "scan" and (plans == FEW or noisy):
                continue
            try:
                command(plan)
            except Findings as error:
                pytest.fail(f"{name} refuses what check passes: {error}")
            except UserError:  # the plan is right, but has nothing to split, say, or no line to vary
                pass

    holds()


@pytest.mark.parametrize(
    ("was", "is_now", "code", "mend"),
    [
        ("values: [tally, temperature]", "values: [tally, temperatur]", "polled-value-nobody-has", "`temperature`"),
        ("controls: [iris, master_black]", "controls: [iris, roof]", "control-camera-lacks", "name one of these"),
        ("speed start, bus_id: 21", "speed start, model: zoom-camra, bus_id: 21", "unknown-model", "`zoom-camera`"),
        ("masters:\n", "rehearsal: {steps: [{do: round, line: ropes}]}\nmasters:\n", "no-such-line", "name a line"),
        ("masters:\n", "expect: [{figure: pole_rate, at_least: 5 Hz}]\nmasters:\n", "no-such-figure", "`poll_rate`"),
    ],
    ids=["a polled value that no camera has", "a control over mixed models", "a model", "a step", "a figure"],
)
def test_what_run_refused_and_check_passed_is_told_by_both(was: str, is_now: str, code: str, mend: str) -> None:
    text = SOUND.replace(was, is_now, 1)
    _holds(text, "plan.yaml")
    (finding,) = [one for one in check(read_text(text, "plan.yaml")).findings if one.code == code]
    assert (finding.severity, finding.file) == ("error", "plan.yaml")
    assert mend in (finding.mend or "")


def test_a_plan_cannot_silence_what_keeps_it_from_being_run() -> None:
    text = SOUND.replace("temperature]", "temperatur]")
    silenced = text + "silenced: [{rule: polled-value-nobody-has, reason: it is spelt so here}]\n"
    checked = check(read_text(silenced, "plan.yaml"))
    assert {one.code for one in checked.findings} >= {"polled-value-nobody-has", "unused-silencing"}
    assert checked.silenced == ()
