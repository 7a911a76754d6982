"""Faults in general: scheduled by a plan, absent without one, each with its own random stream, replayed from inputs."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest
from fault_halls import HALL, MS, Broken, S, hall
from fuzzed_halls import HALLS, behind_a_box

from busim.foundation.diagnostics import Findings
from busim.foundation.errors import UserError
from busim.plan import read_text
from busim.recording.trace import BURST, CHANGE, EFFECT, INPUT, open_trace
from busim.runtime.session import Run, replay
from busim.simulator.faults import all_faults, all_presets

LATE = "{fault: late-reply, on: rope left, at: 1 s, for: 2 s, by: 300 ms}"


def test_a_fault_of_the_plan_is_on_from_its_instant_for_as_long_as_it_says() -> None:
    run = Broken(LATE)
    changes = [(record[1], record[4]) for record in run.of(CHANGE) if record[3] == "fault late-reply"]
    assert changes == [(S, "on: by 300 ms, spread 0 ns, share 1, in_a_row 1"), (3 * S, "off")]
    assert run.count("late-reply") > 0
    assert all(S <= at <= 3 * S for at, _ in run.effects("late-reply"))


def test_a_fault_begins_again_as_often_as_its_plan_says() -> None:
    run = Broken("{fault: late-reply, on: rope left, at: 1 s, for: 500 ms, every: 1 s}", length=4 * S)
    changes = [record[1] for record in run.of(CHANGE) if record[4] == "off"]
    assert changes == [1500 * MS, 2500 * MS, 3500 * MS]


def test_the_count_is_the_number_of_effect_records_and_the_report_says_it() -> None:
    run = Broken(LATE)
    effects = run.effects("late-reply")
    (count,) = run.run.report().faults
    assert (count.fault, count.at, count.count) == ("late-reply", "rope left", len(effects))
    assert (count.first, count.last) == (effects[0][0], effects[-1][0])
    assert run.run.report().as_json()["faults"][0]["count"] == len(effects)


def test_a_fault_that_never_took_effect_says_so() -> None:
    (count,) = Broken("{fault: late-reply, on: rope left, share: 0}").run.report().faults
    assert count.sentence == "late-reply at rope left was on and never took effect"


def test_what_was_switched_on_by_hand_is_replayed_to_the_same_trace(tmp_path: Path) -> None:
    run = Run(hall(), 3, trace=tmp_path / "a.trace", played=None, watched=True)
    run.advance(S)
    run.fault("late-reply", "rope left", by="250 ms", share=0.5)
    run.advance(2 * S)
    run.do("fault late-reply on rope-right by=300ms for=700ms")
    run.do("power off rope-top")
    run.advance(3 * S)
    run.no_fault("late-reply", "rope left")
    run.do("reboot wall-box down=500ms")
    run.advance(5 * S)
    run.finish()
    played = replay(tmp_path / "a.trace")
    assert played.difference is None
    assert {(one.fault, one.at): one.count for one in played.report.faults} == {
        (one.fault.name, one.at): one.count for one in run.faults
    }
    with open_trace(tmp_path / "a.trace") as trace:
        assert [record[4] for record in trace.records(INPUT)] == ["fault", "fault", "no power", "no fault", "reboot"]


@pytest.mark.parametrize("fault", all_faults())
def test_switched_off_again_before_anything_happens_a_fault_changes_nothing_on_the_line(fault: str) -> None:
    """A fault left behind would disturb the next test suite in the same session."""
    clean = Broken(length=2 * S)
    run = Run(hall(), 1, also=(records := []).append)
    at = {"camera": "rope left", "converter": "wall box", "line": "wall line"}[all_faults()[fault].on]
    run.fault(fault, at)
    run.no_fault(fault, at)
    run.advance(2 * S)
    run.finish()
    if any(record[0] == EFFECT and record[3] == fault for record in records):
        return  # it took effect at once
    assert [r for r in records if r[0] == BURST][5:] == clean.of(BURST)[5:]


def test_a_world_in_which_no_fault_is_on_is_the_one_built_without_any(tmp_path: Path) -> None:
    """Every fault is declared in the plan and none of them begins."""
    never = "\n".join(f"{{fault: {name}, on: 'every {fault.on}', at: 23 h}}" for name, fault in all_faults().items())
    prints = []
    for number, faults in enumerate(("", never)):
        Broken(faults, trace=tmp_path / f"{number}.trace")
        with open_trace(tmp_path / f"{number}.trace") as trace:
            prints.append({kind: list(trace.records(kind)) for kind in range(10)})
    assert prints[0] == prints[1]


def test_another_fault_and_another_camera_do_not_shift_the_draws_of_a_fault() -> None:
    share = "{fault: late-reply, on: rope top, by: 20 ms, share: 0.3}"
    alone = [text for _, text in Broken(share).effects("late-reply")]
    both = Broken(share + "\n{fault: late-reply, on: rope left, by: 1 ms, spread: 1 ms, share: 0.5}")
    top = both.number("rope top")
    with_others = [record[4] for record in both.of(EFFECT) if record[2] == top]
    assert len(alone) > 3
    assert with_others[:3] == alone[:3]


@pytest.mark.parametrize(
    ("entry", "code", "field", "word"),
    [
        ("{fault: late-repli, on: rope left}", "no-such-fault", "faults[0].fault", "late-reply"),
        ("{fault: late-reply, on: rope lift}", "no-such-place", "faults[0].on", "rope left"),
        ("{fault: late-reply, on: wall line}", "no-such-place", "faults[0].on", "camera"),
        ("{fault: late-reply, on: rope left, by: 2 h}", "bad-fault", "faults[0].by", "1 ms to 60 s"),
        ("{fault: late-reply, on: rope left, bye: 2 s}", "bad-fault", "faults[0].bye", "by"),
        ("{fault: late-reply, on: rope left, by: [1, 2]}", "bad-value", "faults[0]", "explain"),
        ("{fault: late-reply, on: rope left, for: 2 s, every: 1 s}", "bad-value", "faults[0]", "shorter"),
        ("{fault: late-reply, on: []}", "wrong-kind", "faults[0].on", "entry"),
        ("{on: rope left}", "missing-key", "faults[0]", "fault"),
    ],
)
def test_what_is_wrong_with_a_fault_of_a_plan_is_said_at_its_place(
    entry: str, code: str, field: str, word: str
) -> None:
    with pytest.raises(Findings) as caught:
        Run(hall(entry), 1)
    (finding,) = caught.value.findings
    assert (finding.code, finding.field) == (code, field) or (finding.code, finding.field) == (code, f"{field}.fault")
    assert finding.line is not None
    assert word in f"{finding.what} {finding.expected} {finding.mend}"


@pytest.mark.parametrize(
    ("fault", "place", "behind"),
    [("unsolicited-message", "c2", False), ("second-master", "box", True), ("second-client", "box", True)],
    ids=str,
)
def test_what_a_protocol_has_no_message_for_is_refused_in_a_plan_and_by_hand(
    fault: str, place: str, behind: bool
) -> None:
    """The protocol of this hall has keys of three digits."""
    plan = behind_a_box(HALLS["steps"]) if behind else HALLS["steps"]
    written = plan.source + f"faults: [{{fault: {fault}, on: {place}, at: 1 s, key: 65535}}]\n"
    with pytest.raises(Findings) as told:
        Run(read_text(written, files=dict(plan.files)), 1)
    (finding,) = told.value.findings
    assert (finding.field, "has no message for fault" in finding.what) == ("faults[0].key", True)
    run = Run(plan, 1)
    with pytest.raises(UserError, match="has no message for fault"):
        run.fault(fault, place, key=65535)
    run.fault(fault, place, key=102)
    run.advance(S)


@pytest.mark.parametrize("fault", all_faults().values(), ids=lambda fault: fault.name)
def test_every_fault_declares_itself_whole(fault: object) -> None:
    from busim.simulator.faults import Fault

    assert isinstance(fault, Fault)
    assert len(fault.wire) > 40
    assert len(fault.seen) > 20
    assert fault.code[0] in "PDLBCM"
    values = fault.read({})
    assert fault.read(fault.written(values)) == values, "what it writes it must read"
    for parameter in fault.parameters:
        assert parameter.what
        assert parameter.name not in ("fault", "on", "at", "for", "every", "after"), "a key of the plan"
        if parameter.low:
            with pytest.raises(UserError):
                parameter.read("1e15")
        if parameter.words:
            with pytest.raises(UserError):
                parameter.read("none of these")
    page = fault.page()
    assert all(f"`{parameter.name}`" in page for parameter in fault.parameters)


@pytest.mark.parametrize("preset", all_presets())
def test_every_preset_can_be_switched_on_and_off(preset: str) -> None:
    run = Run(hall(), 1)
    at = {"camera": "rope left", "converter": "wall box", "line": "wall line"}[all_presets()[preset].on]
    run.advance(200 * MS)
    assert run.do(f"fault {preset} on {at}").startswith(preset)
    run.advance(2 * S)
    run.do(f"fault {preset} off")
    run.advance(3 * S)
    assert not any(one.on for one in run.faults)


def test_check_tells_what_is_wrong_with_the_faults_of_a_plan(tmp_path: Path) -> None:
    (tmp_path / "plan.yaml").write_text(HALL + "faults:\n  - {fault: late-repli, on: rope left}\n")
    command = [sys.executable, "-m", "busim", "check", "plan.yaml"]
    checked = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, check=False)
    assert checked.returncode == 1
    assert "late-reply" in checked.stdout


def test_the_form_of_a_plan_has_the_bounds_of_each_fault() -> None:
    command = [sys.executable, "-m", "busim", "plan", "schema"]
    form = json.loads(subprocess.run(command, capture_output=True, text=True, check=True).stdout)
    shape = form["$defs"]["FaultShape"]
    assert {*all_faults(), *all_presets()} == set(shape["properties"]["fault"]["enum"])
    late = next(one for one in shape["allOf"] if one["if"]["properties"]["fault"]["const"] == "late-reply")
    assert "1 ms to 60 s" in late["then"]["properties"]["by"]["description"]


def test_a_fault_waits_for_its_event_and_comes_again_with_the_next_one(tmp_path: Path) -> None:
    entry = "{fault: late-reply, on: rope left, after: {mark: doors open}, at: 200 ms, for: 300 ms}"
    run = Run(hall(entry), 1, trace=tmp_path / "a.trace", watched=True)
    for second in (1, 2):
        run.advance(second * S)
        run.do("mark doors open")
        run.do("mark lights down")
    run.advance(4 * S)
    run.finish()
    with open_trace(tmp_path / "a.trace") as trace:
        said = [(record[1], record[4][:3]) for record in trace.records(CHANGE) if record[3] == "fault late-reply"]
    assert said == [(1200 * MS, "on:"), (1500 * MS, "off"), (2200 * MS, "on:"), (2500 * MS, "off")]
    assert replay(tmp_path / "a.trace").difference is None


def test_a_fault_follows_another_and_only_of_whom_it_says() -> None:
    faults = """
        {fault: dead-camera, on: rope left, at: 1 s, for: 1 s}
        {fault: late-reply, on: rope right, after: {effect: dead-camera, of: rope left}, at: 10 ms}
        {fault: late-reply, on: rope top, after: {effect: dead-camera, of: rope top}}
    """
    run = Broken(faults, length=2 * S)
    assert [(one.fault.name, one.at, one.on) for one in run.run.faults] == [
        ("dead-camera", "rope left", False), ("late-reply", "rope right", True),
    ]  # fmt: skip


@pytest.mark.parametrize("after", ["{}", "{mark: a, effect: b}", "{mark: a, of: rope left}", "{mork: a}"])
def test_what_is_no_one_event_is_refused(after: str) -> None:
    with pytest.raises(Findings):
        hall(f"{{fault: late-reply, on: rope left, after: {after}}}")


def test_a_fault_that_waits_for_itself_does_not_stop_time() -> None:
    faults = """
        {fault: dead-camera, on: rope left, at: 1 s}
        {fault: dead-camera, on: rope right, after: {effect: dead-camera}}
        {fault: dead-camera, on: rope left, after: {effect: dead-camera}}
    """
    assert Broken(faults, length=2 * S).count("dead-camera") == 2
