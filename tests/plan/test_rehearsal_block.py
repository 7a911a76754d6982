"""The `rehearsal` of a plan: its steps and handling times; every mistake with its line and column."""

from __future__ import annotations

from contextlib import suppress
from fractions import Fraction

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from places import SCENARIOS

from busim.commissioning.rehearse import Assumed, Rehearsal, Step, planned, rehearse, steps_of
from busim.foundation.diagnostics import Findings
from busim.foundation.errors import UserError
from busim.foundation.yaml_source import flow
from busim.handbook import page
from busim.installation.rehearsal import KINDS, StepShape, json_schema
from busim.plan import read_text, spelled
from busim.runtime.session import Run

FRESH = (SCENARIOS / "factory-fresh" / "plan.yaml").read_text()
S = 10**9
FIRST = "first out of the box"
ONE = "rehearsal:\n  steps:\n  - "
KEYS = ["do", "camera", "line", "for", "steps", "assumed", "bus_id", "x"]


def script(block: str) -> tuple[tuple[Step, ...], Assumed]:
    plan = read_text(FRESH + block, "plan.yaml")
    return steps_of(plan, planned(plan, Run(plan, 1, played=(), watched=True).world))


def done(block: str) -> Rehearsal:
    plan = read_text(FRESH + block)
    run = Run(plan, 1, played=(), watched=True)
    cameras = planned(plan, run.world)
    steps, assumed = steps_of(plan, cameras)
    return rehearse(plan, run.world, cameras, steps, assumed)


def test_without_a_block_the_steps_are_made_from_the_plan() -> None:
    steps, assumed = script("")
    assert assumed == Assumed()
    assert [step.do for step in steps[:4]] == ["listen", "connect", "power", "identify"]
    assert steps[0].place is None


def test_a_block_may_say_what_hands_take_and_leave_the_steps_as_they_are() -> None:
    steps, assumed = script("rehearsal:\n  assumed: {connect: 10 min, off: 2 s}\n")
    assert (assumed.connect, assumed.off, assumed.look) == (600 * S, 2 * S, 15 * S)
    assert next(step.handling for step in steps if step.do == "connect") == 600 * S
    assert next(step.length for step in steps if step.do == "cycle") == 2 * S


STEPS = f"""
rehearsal:
  steps:
    - {{do: mark, text: ladder stands}}
    - {{do: connect, camera: {FIRST}, takes: 1 min}}
    - {{do: power, camera: {FIRST}}}
    - {{do: identify, camera: {FIRST}, times: 3}}
    - {{do: dial, camera: {FIRST}, baud: 19200 Bd, format: 8N1}}
    - {{do: read-back, camera: {FIRST}, bus_id: 1}}
    - {{do: look, text: the tally is red}}
    - {{do: wait, for: 10 s}}
"""


def test_written_steps_are_those_that_are_done_each_with_its_place() -> None:
    steps, _ = script(STEPS)
    assert [step.do for step in steps] == [
        "mark", "connect", "power", "identify", "dial", "read-back", "look", "wait",
    ]  # fmt: skip
    assert (steps[1].handling, steps[2].handling, steps[3].times) == (60 * S, 30 * S, 3)
    assert steps[4].baud == Fraction(19200)
    assert str(steps[4].format) == "8N1"
    above = FRESH.count("\n") + 4
    assert [step.place for step in steps] == [(above + number, 7) for number in range(8)]


def test_written_steps_run_and_say_why_one_failed() -> None:
    rehearsal = done(STEPS)
    assert [one.outcome for one in rehearsal.done] == ["ok", "ok", "ok", "ok", "ok", "failed", "ok", "ok"]
    failed = rehearsal.failed[0]
    assert failed.reason is not None
    assert failed.reason.code == "wrong-baud"
    assert rehearsal.done[-2].look == "the tally is red"
    assert rehearsal.done[-1].simulated == 10 * S


@pytest.mark.parametrize(
    ("block", "code", "place", "word"),
    [
        ("rehearsal: {steps: [{do: connekt, camera: x}]}", "bad-value", (1, 26), "did you mean `connect`?"),
        ("rehearsal:\n  stepps: []", "unknown-key", (2, 3), "did you mean `steps`?"),
        ("rehearsal:\n  assumed: {connect: 3}", "bad-value", (2, 22), "3"),
        ("rehearsal:\n  steps:\n  - do: connect", "missing-key", (3, 5), "`camera`"),
        ("rehearsal:\n  steps:\n  - {do: connect, camera: first out}", "no-such-camera", (3, 27), FIRST),
        ("rehearsal:\n  steps:\n  - {do: round, line: old chain}", "no-such-line", (3, 23), "new chain"),
        (f"{ONE}{{do: save, camera: {FIRST}, baud: 9600 Bd}}", "unknown-key", (3, 46), "no `baud`"),
        (f"{ONE}{{do: dial, camera: {FIRST}}}", "missing-key", (3, 5), "sets nothing"),
        ("rehearsal:\n  steps:\n  - {do: wait}", "missing-key", (3, 5), "`for`"),
        (f"{ONE}{{do: bindings, camera: {FIRST}, panel: desk}}", "no-such-panel", (3, 57), "panel"),
    ],
)
def test_a_mistake_is_told_with_its_line_and_column(block: str, code: str, place: tuple[int, int], word: str) -> None:
    with pytest.raises(Findings) as caught:
        script(block)
    found = caught.value.findings[0]
    assert (found.code, (found.line, found.column), found.file) == (
        code, (place[0] + FRESH.count("\n"), place[1]), "plan.yaml",
    )  # fmt: skip
    assert word in str(caught.value)
    assert found.expected
    assert found.mend


def test_every_mistake_is_told_at_once() -> None:
    with pytest.raises(Findings) as caught:
        script("rehearsal:\n  steps:\n  - {do: wait}\n  - {do: connect}\n  - {do: mark}\n")
    assert len(caught.value.findings) == 3


def test_a_step_with_a_camera_that_is_not_present_says_so() -> None:
    text = FRESH.replace("serial: 4302,", "serial: 4302, present: false,")
    plan = read_text(text + "rehearsal: {steps: [{do: connect, camera: second out of the box}]}")
    with pytest.raises(Findings, match="not present"):
        steps_of(plan, planned(plan, Run(plan, 1, played=(), watched=True).world))


def test_a_plan_with_a_rehearsal_is_shown_with_it_and_reads_as_the_same() -> None:
    plan = read_text(FRESH + STEPS)
    assert read_text(spelled(plan).yaml()).lines == plan.lines
    assert spelled(plan).values["rehearsal"]["steps"][0] == {"do": "mark", "text": "ladder stands"}


VALUES = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False)
    | st.text("abz:é{}`' \U0001f4a1", max_size=8) | st.sampled_from([*KINDS, FIRST, "10 s", "new chain"]),
    lambda inner: st.lists(inner, max_size=3)
    | st.dictionaries(st.sampled_from(KEYS), inner, max_size=4),
    max_leaves=8,
)  # fmt: skip


@given(VALUES, st.booleans())
@settings(max_examples=150, suppress_health_check=[HealthCheck.too_slow], deadline=None)
def test_whatever_stands_there_is_steps_or_the_users_error(value: object, deep: bool) -> None:
    block = {"steps": [{"do": "wait", "for": "1 s"}, value]} if deep else value
    with suppress(UserError):
        steps_of(read_text(FRESH + f"rehearsal: {flow(block)}\n"), _CAMERAS)


_PLAN = read_text(FRESH)
_CAMERAS = planned(_PLAN, Run(_PLAN, 1, played=(), watched=True).world)


def test_the_example_of_the_handbook_is_sound_and_runs_in_the_climbing_hall() -> None:
    block = page("rehearsal").split("```yaml\n")[1].split("```")[0]
    path = SCENARIOS / "climbing-hall" / "plan.yaml"
    plan = read_text(f"{path.read_text()}\n{block}")
    run = Run(plan, 1, played=(), watched=True)
    cameras = planned(plan, run.world)
    steps, assumed = steps_of(plan, cameras)
    assert rehearse(plan, run.world, cameras, steps, assumed).ok
    assert len(steps) == 9


def test_every_key_that_a_kind_of_step_takes_is_a_key_of_a_step() -> None:
    keys = {info.alias or name for name, info in StepShape.model_fields.items()}
    for name, kind in KINDS.items():
        assert {kind.to, *kind.may, *kind.needs} - {""} <= keys, name


def test_every_kind_of_step_is_in_the_form_and_the_other_way_round() -> None:
    assert set(json_schema()["$defs"]["StepShape"]["properties"]["do"]["enum"]) == set(KINDS)
