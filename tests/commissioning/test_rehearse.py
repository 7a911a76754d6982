"""Commissioning, rehearsed: the right order passes, and every what-if fails where and why it should.

That IDs are set with one camera connected at a time, that a factory ID is shared by all units of a kind, and that
"acknowledged" is not "kept", is common practice, no source. The frames compared with are MODBUS RTU as the standard
prints them (MODBUS Application Protocol V1.1b3, 6.3 and 6.6), their CRC by crccheck.
"""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from places import SCENARIOS
from small_plans import sealed

from busim.commissioning.rehearse import (
    FAILED,
    OK,
    SKIPPED,
    Assumed,
    Done,
    Rehearsal,
    Step,
    generated,
    planned,
    rehearse,
    setting_for,
    what_if_steps,
    what_ifs,
)
from busim.commissioning.rehearse.binding import move
from busim.commissioning.rehearse.emulated import EmulatedSite as Site
from busim.plan import Plan, read, read_text
from busim.recording.trace import INPUT, open_trace
from busim.runtime.session import Run, replay

FRESH = SCENARIOS / "factory-fresh" / "plan.yaml"
HALL = SCENARIOS / "climbing-hall" / "plan.yaml"
S = 10**9


def rehearsed(plan: Plan, steps: tuple[Step, ...] | None = None, trace: Path | None = None) -> Rehearsal:
    run = Run(plan, 1, trace=trace, played=(), watched=True)
    cameras = planned(plan, run.world)
    done = rehearse(plan, run.world, cameras, steps or generated(plan, cameras, Assumed()), Assumed())
    run.finish()
    return done


def with_what_if(plan: Plan, name: str, line: str | None = None) -> Rehearsal:
    run = Run(plan, 1, played=(), watched=True)
    cameras = planned(plan, run.world)
    setting = setting_for(plan, run.world.protocols, cameras, Assumed(), line)
    steps, why_not = what_if_steps(what_ifs()[name], setting)
    assert not why_not
    return rehearse(plan, run.world, cameras, steps, Assumed(), what_if=name)


def first(rehearsal: Rehearsal) -> Done:
    return rehearsal.failed[0]


def code(done: Done) -> str:
    assert done.reason is not None
    return done.reason.code


@pytest.fixture(scope="module")
def fresh() -> Plan:
    return read(FRESH)


@pytest.fixture(scope="module")
def hall() -> Plan:
    return read(HALL)


# -- the right order ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("path", [FRESH, HALL], ids=["factory-fresh", "climbing-hall"])
def test_in_the_right_order_everything_passes(path: Path) -> None:
    rehearsal = rehearsed(read(path))
    assert rehearsal.ok
    assert {one.outcome for one in rehearsal.done} == {OK}


def test_a_camera_that_keeps_the_factory_id_is_connected_last_on_its_line(hall: Plan) -> None:
    run = Run(hall, 1, played=(), watched=True)
    steps = generated(hall, planned(hall, run.world), Assumed())
    plugged = [step.camera for step in steps if step.do == "connect" and step.line == "boulder line"]
    assert plugged == ["boulder centre", "boulder right", "boulder mats", "boulder left"]


def test_from_a_converter_in_mid_cable_the_nearest_camera_comes_first(hall: Plan) -> None:
    run = Run(hall, 1, played=(), watched=True)
    steps = generated(hall, planned(hall, run.world), Assumed())
    plugged = [step.camera for step in steps if step.do == "connect" and step.line == "rope line"]
    assert plugged == ["rope overhang", "rope right", "rope left", "warm-up wall"]  # 7, 11, 23 and 33 m away


def test_where_the_plan_has_one_id_four_times_free_ones_are_proposed(fresh: Plan) -> None:
    rehearsal = rehearsed(fresh)
    assert list(rehearsal.bus_ids.values()) == [2, 3, 4, 5]  # 1 is what every spare comes with
    assert rehearsal.proposed == tuple(rehearsal.bus_ids)


def test_never_do_two_cameras_hear_at_the_factory_id(fresh: Plan) -> None:
    run = Run(fresh, 1, played=(), watched=True)
    cameras = planned(fresh, run.world)
    most = 0

    def look(*_: int) -> None:
        nonlocal most
        ports = [port for name, port in run.world.cameras.items() if port.hears and port.camera.bus_id == 1]
        most = max(most, len(ports))

    rehearse(fresh, run.world, cameras, generated(fresh, cameras, Assumed()), Assumed(), advanced=look)
    assert most == 1


def test_a_camera_is_identified_by_readings_and_a_search_that_finds_nobody_else(fresh: Plan) -> None:
    identified = [one for one in rehearsed(fresh).done if one.step.do == "identify"]
    assert [one.seen for one in identified] == [
        f"serial {serial} at bus ID 1, 5 times of 5, as planned; a search by serial number finds no other camera there"
        for serial in (4301, 4302, 4303, 4304)
    ]


def test_each_camera_keeps_its_id_in_the_end(fresh: Plan) -> None:
    run = Run(fresh, 1, played=(), watched=True)
    cameras = planned(fresh, run.world)
    rehearse(fresh, run.world, cameras, generated(fresh, cameras, Assumed()), Assumed())
    for name in cameras:
        run.world.wiring.power(name, False)
        run.world.kernel.advance(run.world.kernel.now + S)
        run.world.wiring.power(name, True)
    run.world.kernel.advance(run.world.kernel.now + 10 * S)
    assert {name: port.camera.bus_id for name, port in run.world.cameras.items()} == {
        name: camera.bus_id for name, camera in cameras.items()
    }


def test_the_id_is_set_by_the_frame_that_the_standard_has_for_it(fresh: Plan, tmp_path: Path) -> None:
    """Write single register, register 201 (0x00C9) of the model, from factory ID 1 to ID 2."""
    path = tmp_path / "r.busim"
    rehearsed(fresh, trace=path)
    with open_trace(path) as trace:
        sent = [record[5] for record in trace.records(INPUT) if record[4] == "bytes"]
    assert sealed("01 06 00 C9 00 02") in sent
    assert sealed("02 06 00 C8 00 01") in sent  # save, at the new ID


def test_durations_are_simulated_for_wire_and_cameras_and_assumed_for_hands(fresh: Plan) -> None:
    rehearsal = rehearsed(fresh)
    power = next(one for one in rehearsal.done if one.step.do == "power")
    assert 6 * S <= power.simulated <= 7 * S  # the model starts in 6 s
    assert rehearsal.handling == 4 * (180 + 30 + 15 + 20 + 15) * S
    assert rehearsal.simulated == rehearsal.done[-1].at + rehearsal.done[-1].simulated


def test_a_recorded_rehearsal_is_replayed_to_the_same_trace(fresh: Plan, tmp_path: Path) -> None:
    path = tmp_path / "r.busim"
    rehearsed(fresh, trace=path)
    assert replay(path).difference is None


def test_every_binding_of_a_panel_moves_its_camera_and_leaves_it_as_it_was(hall: Plan) -> None:
    run = Run(hall, 1, played=(), watched=True)
    cameras = planned(hall, run.world)
    controls = ["iris", "master_black", "red_gain", "blue_gain", "zoom", "focus"]
    before = {name: [port.camera.values[one] for one in controls] for name, port in run.world.cameras.items()}
    rehearsal = rehearse(hall, run.world, cameras, generated(hall, cameras, Assumed()), Assumed())
    bound = [one for one in rehearsal.done if one.step.do == "bindings"]
    assert len(bound) == 9
    assert "zoom, focus" in next(one.seen for one in bound if one.step.camera == "speed finish")
    assert before == {name: [port.camera.values[one] for one in controls] for name, port in run.world.cameras.items()}


def test_a_camera_that_is_not_present_has_no_steps() -> None:
    text = FRESH.read_text().replace("serial: 4302,", "serial: 4302, present: false,")
    rehearsal = rehearsed(read_text(text))
    assert rehearsal.ok
    assert "second out of the box" not in rehearsal.bus_ids


def test_on_a_line_without_a_converter_every_step_is_skipped_and_says_why() -> None:
    text = FRESH.read_text().replace("through: [new box]", "on: [new chain]")
    text = text.replace("      - converter: new box\n", "      - master: controller\n")
    text = text.replace(text[text.index("converters:") : text.index("cameras:\n")], "")
    rehearsal = rehearsed(read_text(text))
    assert {one.outcome for one in rehearsal.done} == {SKIPPED}
    assert not rehearsal.ok
    assert "no converter on this line" in rehearsal.done[0].seen


def test_a_laptop_at_a_real_port_of_the_line_does_the_steps_too() -> None:
    text = FRESH.read_text().replace("through: [new box]", "on: [new chain]")
    text = text.replace("      - converter: new box\n", "      - port: /dev/ttyUSB0\n      - master: controller\n")
    text = text.replace(text[text.index("converters:") : text.index("cameras:\n")], "")
    rehearsal = rehearsed(read_text(text))
    assert rehearsal.ok
    assert {one.outcome for one in rehearsal.done} == {OK}


@pytest.mark.parametrize("model", ["minicam", "slow-motion-camera", "pan-tilt-head"])
def test_the_other_models_that_come_with_busim_pass_too(model: str) -> None:
    text = FRESH.read_text().replace("turnaround:", f"model: {model}, turnaround:")
    text = text.replace("values: [iris, gain, serial]", "values: [serial]")
    rehearsal = rehearsed(read_text(text))
    assert [(one.number, one.seen, one.reason) for one in rehearsal.failed] == []
    assert rehearsal.ok


# -- what goes wrong ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("path", [FRESH, HALL], ids=["factory-fresh", "climbing-hall"])
@pytest.mark.parametrize("name", what_ifs())
def test_every_what_if_fails_at_the_step_and_with_the_reason_it_tells_beforehand(name: str, path: Path) -> None:
    if name == "settings-forgotten":  # one line of the hall has a camera that comes set otherwise
        assert what_ifs()[name].as_told(with_what_if(read(HALL), name, "speed line"))
    else:
        assert what_ifs()[name].as_told(with_what_if(read(path), name))


def test_connected_all_at_once_the_first_camera_cannot_be_identified_for_four_answer(fresh: Plan) -> None:
    failed = first(with_what_if(fresh, "everything-first"))
    assert (failed.step.do, failed.step.camera, code(failed)) == ("identify", "first out of the box", "two-answered")
    assert failed.reason is not None
    assert failed.reason.why.startswith("4 cameras answered at bus ID 1")


def test_a_spare_at_the_factory_id_takes_a_camera_down_that_nobody_touched(hall: Plan) -> None:
    failed = first(with_what_if(hall, "spare-in-show"))
    assert (failed.step.do, code(failed)) == ("round", "two-answered")
    assert failed.reason is not None
    assert "'boulder left'" in failed.reason.why  # bus ID 1, as the spare has
    assert "serial number 4190" in failed.reason.why  # the first spare of the plan


def test_where_nobody_keeps_the_factory_id_a_spare_is_missed_and_hurts_nobody_else(fresh: Plan) -> None:
    failed = first(with_what_if(fresh, "spare-in-show"))
    assert (failed.step.do, code(failed)) == ("round", "other-unit")
    assert failed.seen.count("at bus ID") == 1


def test_after_a_power_cut_before_the_save_the_camera_is_back_at_the_factory_id(fresh: Plan) -> None:
    rehearsal = with_what_if(fresh, "cut-before-save")
    failed = first(rehearsal)
    assert (failed.step.do, failed.step.camera, code(failed)) == ("save", "second out of the box", "not-saved")
    assert failed.seen.startswith("nothing within")
    following = rehearsal.failed[1]
    assert (following.step.do, following.step.camera) == ("identify", "third out of the box")
    assert following.reason is not None
    assert "'second out of the box'" in following.reason.why  # it meets the one that lost its ID


def test_a_new_id_sent_as_a_broadcast_is_taken_by_those_that_were_done_too(fresh: Plan) -> None:
    rehearsal = with_what_if(fresh, "broadcast-id")
    failed = first(rehearsal)
    assert (failed.step.do, failed.step.bus_id, code(failed)) == ("assign", 3, "two-answered")
    assert "'first out of the box' at bus ID 2: nothing" in rehearsal.failed[-1].seen


@pytest.mark.parametrize(
    ("name", "reason"), [("swapped-pair", "swapped"), ("wrong-baud", "wrong-baud"), ("wrong-parity", "wrong-format")]
)
def test_a_camera_wired_or_set_otherwise_is_silent_and_the_others_are_as_they_were(
    fresh: Plan, name: str, reason: str
) -> None:
    rehearsal = with_what_if(fresh, name)
    failed = first(rehearsal)
    assert (failed.step.do, failed.step.camera, code(failed)) == ("identify", "second out of the box", reason)
    assert failed.seen.startswith("nothing within")
    assert len(rehearsal.failed) == 1
    rest = [one for one in rehearsal.done if one.step.camera not in ("", "second out of the box")]
    assert {one.outcome for one in rest} == {OK}


def test_a_camera_unplugged_in_mid_chain_takes_everybody_behind_it_along_and_nobody_before(hall: Plan) -> None:
    failed = first(with_what_if(hall, "unplugged-mid-chain"))
    assert failed.step.do == "round"
    for name in ("boulder centre", "boulder right", "boulder mats"):
        assert f"'{name}' at bus ID" in failed.seen
    assert "boulder left" not in failed.seen


def test_steps_of_a_camera_after_its_failure_are_skipped_and_name_it(fresh: Plan) -> None:
    rehearsal = with_what_if(fresh, "swapped-pair")
    failed = first(rehearsal)
    later = [one for one in rehearsal.done if one.step.camera == failed.step.camera and one.number > failed.number]
    assert later
    assert {(one.outcome, one.seen) for one in later} == {(SKIPPED, f"step {failed.number} failed")}


def test_on_a_line_with_one_camera_what_needs_two_cannot_happen(hall: Plan) -> None:
    run = Run(hall, 1, played=(), watched=True)
    setting = setting_for(hall, run.world.protocols, planned(hall, run.world), Assumed(), "speed line")
    for name in ("everything-first", "broadcast-id", "unplugged-mid-chain"):
        assert what_if_steps(what_ifs()[name], setting) == ((), "it needs two cameras on one line")


def test_every_what_if_says_what_it_looks_like_and_how_to_find_and_mend_it() -> None:
    for one in what_ifs().values():
        assert all(len(text) > 40 for text in (one.wrong, one.looks, one.find, one.mend))


def test_the_json_carries_its_schema_and_says_what_is_simulated_and_what_assumed(fresh: Plan) -> None:
    data = json.loads(json.dumps(with_what_if(fresh, "wrong-baud").as_json()))
    assert data["schema"] == 1
    assert (data["wire_s"]["kind"], data["handling_s"]["kind"]) == ("simulated", "assumed")
    failed = next(one for one in data["steps"] if one["outcome"] == FAILED)
    assert set(failed["reason"]) == {"code", "why", "mend"}


# -- what keeps it from going on ------------------------------------------------------------------------------------


def test_where_somebody_asks_already_nothing_is_sent(fresh: Plan) -> None:
    """A camera hangs there, and the plan's own controller polls it: a laptop hears its replies."""
    run = Run(fresh, 1, watched=True)
    cameras = planned(fresh, run.world)
    name = next(iter(cameras))
    before = [Step("connect", "new chain", name), Step("power", "new chain", name)]
    rehearsal = rehearse(fresh, run.world, cameras, [*before, *generated(fresh, cameras, Assumed())], Assumed())
    listened, *later = rehearsal.done[2:]
    assert (listened.step.do, listened.outcome, code(listened)) == ("listen", FAILED, "foreign")
    assert {one.outcome for one in later} == {SKIPPED}
    assert {one.simulated for one in later} == {0}


def noisy(rate: str) -> Plan:
    line = "    contention: space-wins\n"
    return read_text(FRESH.read_text().replace(line, f"{line}    bit_error_rate: {rate}\n"))


def test_characters_out_of_noise_are_told_from_somebody_who_asks() -> None:
    rehearsal = rehearsed(noisy("0.002"))
    assert code(first(rehearsal)) == "noise"
    assert {one.outcome for one in rehearsal.done[1:]} == {SKIPPED}


def test_damage_by_noise_is_told_from_two_that_collide() -> None:
    """One camera alone: its reply is damaged, or the request is, and there is no reply."""
    plan, name, reasons = noisy("0.002"), "first out of the box", set()
    for seed in range(1, 7):
        run = Run(plan, seed, played=(), watched=True)
        alone = [Step(do, "new chain", name, 1 if do == "read-back" else None, times=100)
                 for do in ("connect", "power", "read-back")]  # fmt: skip
        reasons |= {code(one) for one in rehearse(plan, run.world, planned(plan, run.world), alone, Assumed()).failed}
    assert reasons == {"damaged", "silent"}


def test_a_binding_that_moves_another_camera_too_is_found(hall: Plan) -> None:
    """A camera of another line moves at the same time. The emulator sees it; on site a person must."""
    run = Run(hall, 1, played=(), watched=True)
    cameras = planned(hall, run.world)
    site = Site(hall, run.world, cameras)
    site.plug("speed finish")
    site.power("speed finish", True)
    run.world.wiring.dial("speed finish", *site.cameras["speed finish"].port)  # it is new, and deaf until it is set
    other = run.world.cameras["rope left"].camera.values
    run.world.kernel.at(run.world.kernel.now + S // 50, lambda _: other.update(iris=other["iris"] + 1))
    moved = move(site, "speed finish", "iris", 1)
    assert moved.reason is not None
    assert (moved.reason.code, "'rope left'" in moved.reason.why) == ("moved-others", True)


def test_a_control_that_is_locked_is_refused_and_says_so(hall: Plan) -> None:
    run = Run(hall, 1, played=(), watched=True)
    site = Site(hall, run.world, planned(hall, run.world))
    site.plug("speed finish")
    site.power("speed finish", True)
    run.world.wiring.dial("speed finish", *site.cameras["speed finish"].port)  # it is new, and deaf until it is set
    run.world.cameras["speed finish"].camera.values["auto_exposure"] = 1
    moved = move(site, "speed finish", "iris", 1)
    assert moved.reason is not None
    assert moved.reason.code == "refused"


def test_a_collision_that_decodes_cleanly_fails_and_says_that_a_laptop_notices_nothing() -> None:
    """Equal replies at the same instant lie on top of each other: two cameras at one place, equally quick."""
    text = re.sub(r"turnaround: [\d.]+ ms", "turnaround: 3 ms", FRESH.read_text())
    plan = read_text(text.replace("after: 6 m", "after: 0 m"))
    run = Run(plan, 1, played=(), watched=True)
    cameras = planned(plan, run.world)
    pair = list(cameras)[:2]
    steps = [Step(do, "new chain", name) for name in pair for do in ("connect", "power")]
    steps.append(Step("test-picture", "new chain", pair[0], 1))
    failed = rehearse(plan, run.world, cameras, steps, Assumed()).failed[0]
    assert failed.seen == "one valid reply (1)"
    assert failed.reason is not None
    assert failed.reason.code == "two-answered"
    assert failed.reason.why.endswith("a laptop notices nothing")


@pytest.mark.parametrize("scenario", ["lines-of-text", "escaped-frames"])
def test_where_no_id_can_be_set_over_the_bus_it_is_set_by_switches_and_said(scenario: str) -> None:
    plan = read(SCENARIOS / scenario / "plan.yaml")
    rehearsal = rehearsed(plan)
    assert rehearsal.ok
    assert any("the switches of" in one.look for one in rehearsal.done if one.step.do == "assign")
    run = Run(plan, 1, played=(), watched=True)
    setting = setting_for(plan, run.world.protocols, planned(plan, run.world), Assumed())
    for name in ("cut-before-save", "broadcast-id"):
        assert what_if_steps(what_ifs()[name], setting)[1].endswith("its ID is set by switches")


def test_a_camera_that_cuts_the_pair_without_power_takes_those_behind_it_along() -> None:
    text = FRESH.read_text().replace("serial: 4302,", "serial: 4302, unpowered: cuts,")
    plan = read_text(text)
    run = Run(plan, 1, played=(), watched=True)
    cameras = planned(plan, run.world)
    right = generated(plan, cameras, Assumed())
    off = Step("power", "new chain", "second out of the box", on=False)
    rehearsal = rehearse(plan, run.world, cameras, [*right, off, Step("round", "new chain")], Assumed())
    failed = first(rehearsal)
    assert (failed.step.do, code(failed), len(rehearsal.failed)) == ("round", "no-power", 1)
    assert "'first out of the box'" not in failed.seen
    assert failed.reason is not None
    assert "at 'second out of the box', which opens the pair while it has no power" in failed.reason.why
