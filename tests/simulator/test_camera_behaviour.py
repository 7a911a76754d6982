"""The behaviour of the four shipped cameras. The rules of the trade are common practice, no source, unless one is
named.
"""

from __future__ import annotations

from fractions import Fraction
from functools import cache

import pytest
from held_cameras import SECOND, Held
from hypothesis import given, settings
from hypothesis import strategies as st

from busim.plan.models import load, names, read_text
from busim.protocols import (
    BUSY,
    CHANGE_ID,
    FAILED,
    IDENTIFY,
    ILLEGAL_KEY,
    ILLEGAL_VALUE,
    PRESET,
    READ,
    SAVE,
    START,
    STATUS,
    STEP,
    STOP,
    WRITE,
    Request,
    assignment,
    find,
    search,
)
from busim.simulator.cameras import Changed, Deaf, Did, NewId, NewPort, Refused, Restart, Wake

# -- locks ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("model", ["zoom-camera", "minicam", "slow-motion-camera"])
def test_with_auto_white_balance_on_a_red_gain_write_is_refused_as_locked(model: str) -> None:
    camera = Held(model)
    before = camera.read("red_gain")
    assert camera.write("auto_white", 1) == 0
    assert camera.write("red_gain", 7) == ILLEGAL_VALUE
    reason = "red_gain 7: automatic white balance sets the colour gains itself"
    assert camera.actions == [Refused("write", reason)]
    assert camera.read("red_gain") == before


def test_a_control_is_locked_with_what_it_moves() -> None:
    camera = Held("minicam")
    camera.write("auto_white", 1)
    assert camera.write("colour_temperature", 140) == ILLEGAL_VALUE
    assert (camera.read("red_gain"), camera.read("colour_temperature")) == (128, 128)


def test_a_lock_holds_against_steps_and_motions_and_presets_as_against_writes() -> None:
    camera = Held("slow-motion-camera")
    camera.write("store_preset", 1)
    camera.write("iris", 100)
    camera.at(2).write("auto_exposure", 1)
    assert camera.step("iris", 1) == ILLEGAL_VALUE
    assert camera.start("iris", 100) == ILLEGAL_VALUE
    camera.write("auto_exposure", 0)
    camera.write("auto_exposure", 1)
    assert camera.read("iris") == 100


def test_a_recalled_scene_that_turns_an_automatic_on_leaves_alone_what_that_locks() -> None:
    camera = Held("slow-motion-camera")
    camera.write("auto_exposure", 1)
    camera.write("store_preset", 3)
    camera.write("auto_exposure", 0)
    camera.write("gain", 30)
    assert camera.recall(3) == 0
    assert camera.read("auto_exposure") == 1
    assert camera.read("gain") == 30


def test_a_lock_that_closes_stops_a_motor_on_its_way() -> None:
    camera = Held("pan-tilt-head")
    camera.write("pan", 3600)
    camera.at(1).write("brake", 1)
    assert camera.read("pan") == 2400  # 1800 and one second at 600 /s
    assert camera.at(9).read("pan") == 2400


# -- limits that depend on others -------------------------------------------------------------------------------

SHUTTER = {"25p": Fraction(1, 25), "50i": Fraction(1, 50), "50p": Fraction(1, 50)}


@pytest.mark.parametrize("rate", SHUTTER)
def test_a_shutter_is_never_longer_than_its_frame_or_field(rate: str) -> None:
    """Frame times: ITU-R BT.709 (from memory): 25p 40 ms, 50p and the field of 50i 20 ms."""
    camera = Held("minicam")
    parameters = {one.name: one for one in camera.model.parameters}
    times = [Fraction(word.split()[0]) for word in parameters["shutter"].choices]
    camera.write("frame_rate", parameters["frame_rate"].choices.index(rate))
    allowed = [time for count, time in enumerate(times) if camera.write("shutter", count) == 0]
    assert allowed == [time for time in times if time <= SHUTTER[rate]]


def test_at_more_frames_a_second_the_shutter_gets_shorter_by_itself_and_is_told() -> None:
    """59.94p and its 16.683 ms are between these: ITU-R BT.709 (from memory) gives frames; a frame is 1 / frames."""
    camera = Held("slow-motion-camera")
    assert camera.write("shutter", 2000) == 0  # 20 ms at 50 frames a second
    assert camera.write("shutter", 2001) == ILLEGAL_VALUE
    assert camera.actions == [Refused("write", "shutter 2001: a shutter is never longer than its frame or field")]
    assert camera.write("frames", 200) == 0
    assert camera.camera.changes == [("frames", 200), ("shutter", 500)]
    assert camera.read("shutter") == 500  # 5 ms
    camera.write("frames", 25)
    assert camera.read("shutter") == 500
    assert camera.write("shutter", 4000) == 0  # 40 ms at 25


def test_a_limit_by_the_frame_time_of_59_94p_is_16_68_ms() -> None:
    """1001/60 ms = 16.683 ms: ITU-R BT.709 (from memory)."""
    text = load("slow-motion-camera").source
    table = "highest: {25p: 4000, 50p: 2000, 59.94p: 1668}"
    text = text.replace("product: 100000", table).replace(
        "frames: {group: picture, kind: range, low: 25, high: 400, default: 50, unit: /s, step: 25}",
        "frames: {group: picture, kind: choice, choices: [25p, 50p, 59.94p]}",
    )
    camera = Held(model=read_text(text))
    camera.write("frames", 2)
    longest = max(count for count in range(1660, 1675) if camera.write("shutter", count) == 0)
    assert longest * 10 <= Fraction(1001, 60) * 1000 < (longest + 1) * 10


# -- derived controls -------------------------------------------------------------------------------------------

BLACKS = ("red_black", "green_black", "blue_black")


def test_master_black_moves_the_three_blacks_together_and_keeps_their_differences() -> None:
    camera = Held("zoom-camera")
    camera.write("red_black", 60, 64, 70)
    camera.write("master_black", 84)
    assert [camera.read(name) for name in BLACKS] == [80, 84, 90]
    camera.write("master_black", 64)
    assert [camera.read(name) for name in BLACKS] == [60, 64, 70]


def test_master_black_stops_where_the_first_of_the_three_reaches_its_end() -> None:
    camera = Held("zoom-camera")
    camera.write("red_black", 10, 64, 250)
    assert camera.write("master_black", 200) == 0
    assert [camera.read(name) for name in BLACKS] == [15, 69, 255]
    assert camera.read("master_black") == 69
    camera.write("master_black", 0)
    assert [camera.read(name) for name in BLACKS] == [0, 54, 240]
    assert camera.read("master_black") == 54


def test_a_control_may_move_one_value_up_and_another_down() -> None:
    camera = Held("minicam")
    camera.write("colour_temperature", 150)
    assert (camera.read("red_gain"), camera.read("blue_gain")) == (150, 106)
    camera.write("blue_gain", 3)
    camera.write("colour_temperature", 255)
    assert (camera.read("red_gain"), camera.read("blue_gain"), camera.read("colour_temperature")) == (153, 0, 153)


def test_what_a_control_moved_is_told_with_it() -> None:
    camera = Held("zoom-camera")
    camera.write("master_black", 65)
    assert camera.camera.changes == [("master_black", 65), *((name, 65) for name in BLACKS)]


# -- hue sectors, tally, test picture, telemetry -----------------------------------------------------------------


def test_each_hue_sector_is_corrected_by_itself() -> None:
    camera = Held("slow-motion-camera")
    assert camera.write("sector_3_hue", 48) == 0
    hues = [camera.read(f"sector_{number}_hue") for number in range(1, 9)]
    assert hues == [32, 32, 48, *[32] * 5]


def test_tally_and_test_picture_are_set_and_read_like_any_value_and_end_with_the_power() -> None:
    camera = Held("zoom-camera")
    camera.write("tally", 1)
    camera.write("test_picture", 2)
    assert (camera.read("tally"), camera.read("test_picture")) == (1, 2)
    camera.save()
    camera.at(1).power_cycle()
    assert (camera.read("tally"), camera.read("test_picture")) == (0, 0)


def test_telemetry_is_read_and_its_clock_runs() -> None:
    camera = Held("minicam")
    assert camera.at(70).read("uptime") == 70
    assert camera.ask(READ, "temperature", size=2).values == (442, 70)
    camera.at(100).power_cycle()
    assert camera.at(112).read("uptime") == 10  # 2 s of booting do not count


# -- steps ------------------------------------------------------------------------------------------------------


def test_a_step_moves_by_the_step_of_the_parameter_and_stops_at_its_end() -> None:
    camera = Held("zoom-camera")
    camera.step("iris", 3)
    assert camera.read("iris") == 530
    camera.step("iris", -100)
    assert camera.read("iris") == 0
    assert camera.step("iris", -1) == 0
    camera.step("tally", 1)
    assert camera.read("tally") == 1
    assert camera.step("temperature", 1) == ILLEGAL_KEY


def test_a_step_goes_no_further_than_a_limit_allows() -> None:
    camera = Held("slow-motion-camera")
    camera.write("shutter", 1995)
    camera.step("shutter", 5)
    assert camera.read("shutter") == 2000


# -- motors -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("model", "name", "speed"),
    [
        ("zoom-camera", "zoom", 250),
        ("zoom-camera", "focus", 500),
        ("slow-motion-camera", "iris", 1000),
        ("pan-tilt-head", "pan", 600),
        ("pan-tilt-head", "tilt", 300),
    ],
)
def test_a_written_position_is_gone_to_at_the_speed_of_the_motor(model: str, name: str, speed: int) -> None:
    camera = Held(model)
    begin = camera.read(name)
    assert camera.write(name, begin + 300 if begin < 900 else begin - 300) == 0
    sign = 1 if begin < 900 else -1
    (wake,) = [action for action in camera.actions if isinstance(action, Wake)]
    assert wake.at == pytest.approx(300 / speed * SECOND, abs=1)
    assert camera.camera.changes == []
    assert camera.at(0.1).read(name) == begin + sign * speed // 10
    camera.at(300 / speed + 1e-6)
    assert camera.camera.changes == [(name, begin + sign * 300)]
    assert camera.read(name) == begin + sign * 300


def test_a_position_that_is_read_on_the_way_is_told_and_the_end_of_it_once() -> None:
    camera = Held("zoom-camera")
    camera.write("zoom", 500)
    camera.now = SECOND
    camera.read("zoom")
    assert camera.camera.changes == [("zoom", 250)]
    camera.read("zoom")
    assert camera.camera.changes == []
    camera.write("zoom", 250)  # where it is: it stands
    assert camera.camera.changes == []
    assert camera.at(9).read("zoom") == 250


def test_a_motion_runs_until_it_is_stopped() -> None:
    camera = Held("zoom-camera")
    assert camera.start("zoom", 100) == 0
    camera.at(0.5)
    assert camera.stop("zoom") == 0
    assert camera.camera.changes == [("zoom", 125)]
    assert camera.at(5).read("zoom") == 125


def test_a_motion_runs_until_the_end_of_its_range() -> None:
    camera = Held("zoom-camera")
    camera.write("zoom", 900)
    camera.at(10).start("zoom", 100)
    assert camera.at(11).read("zoom") == 1000
    assert camera.at(20).read("zoom") == 1000


def test_a_motion_runs_until_nobody_holds_the_dead_man_any_more() -> None:
    camera = Held("pan-tilt-head")  # 500 ms, 600 /s
    camera.start("pan", -100)
    assert camera.at(5).read("pan") == 1500
    camera.start("pan", -100)
    camera.at(5.4).start("pan", -100)  # held
    assert camera.at(9).read("pan") == 1500 - 240 - 300


def test_a_motion_is_as_fast_as_it_was_asked_to_be() -> None:
    camera = Held("zoom-camera")
    camera.start("zoom", 20)
    assert camera.at(1).read("zoom") == 50
    assert camera.start("zoom", 101) == ILLEGAL_VALUE
    camera.at(1).start("zoom", -20)
    assert camera.at(1.5).read("zoom") == 25


def test_what_has_no_motor_cannot_be_set_going() -> None:
    camera = Held("minicam")
    assert camera.start("gain", 50) == ILLEGAL_KEY
    assert camera.stop("gain") == ILLEGAL_KEY
    assert not camera.model.motors


def test_registers_drive_a_motor_where_a_protocol_has_no_words_for_it() -> None:
    camera = Held("zoom-camera")
    assert camera.write("drive_zoom", 200) == 0
    assert camera.at(1).read("zoom") == 250
    camera.write("drive_zoom", 100)
    assert camera.at(3).read("zoom") == 250
    camera.write("drive_zoom", 50)
    assert camera.at(4).read("zoom") == 125
    camera.write("command", 5)  # stop
    assert camera.at(9).read("zoom") == 125
    assert camera.write("drive_zoom", 201) == ILLEGAL_VALUE


def test_a_motor_that_is_asked_during_its_motion_says_where_it_is_without_being_woken() -> None:
    camera = Held("zoom-camera")
    before = camera.read("zoom")
    assert camera.start("zoom", 100) == 0
    camera.now = SECOND // 2
    halfway = camera.read("zoom")
    camera.now = SECOND
    assert before < halfway < camera.read("zoom")
    camera.at(1.2)  # woken before its end, it goes on
    here = camera.read("zoom")
    camera.now = round(1.6 * SECOND)
    assert here < camera.read("zoom")


def test_a_motor_that_is_sent_to_where_it_is_stops_there_and_one_at_rest_does_nothing() -> None:
    camera = Held("zoom-camera")
    camera.write("zoom", camera.read("zoom"))
    assert camera.actions == []
    twin = Held("zoom-camera")
    twin.start("zoom", 100)
    here = twin.at(1).read("zoom")
    camera.start("zoom", 100)
    camera.at(1).write("zoom", here)
    assert camera.actions == [Changed("zoom", here)]
    assert camera.at(2).read("zoom") == here


# -- presets ----------------------------------------------------------------------------------------------------


def test_a_scene_is_stored_and_recalled_over_the_declared_set_and_nothing_else() -> None:
    camera = Held("zoom-camera")
    camera.write("iris", 111)
    camera.write("master_black", 80)
    camera.write("store_preset", 2)
    camera.write("iris", 999)
    camera.write("master_black", 10)
    camera.write("tally", 2)
    assert camera.write("recall_preset", 2) == 0
    assert [camera.read(name) for name in ("iris", "master_black", *BLACKS)] == [111, 80, 80, 80, 80]
    assert camera.read("tally") == 2


def test_storing_a_scene_is_acknowledged_and_told() -> None:
    camera = Held("zoom-camera")
    assert camera.write("store_preset", 2) == 0
    assert Did("stores preset 2") in camera.actions


def test_a_scene_that_was_never_stored_is_refused() -> None:
    camera = Held("zoom-camera")
    assert camera.recall(3) == FAILED
    assert camera.actions == [Refused("preset", "preset 3 is empty")]
    assert camera.recall(9) == ILLEGAL_VALUE
    assert Held("minicam").recall(1) == ILLEGAL_VALUE


def test_a_head_goes_to_a_recalled_position_at_its_speed() -> None:
    camera = Held("pan-tilt-head")
    camera.write("store_preset", 1)
    camera.write("pan", 3000)
    camera.at(5).recall(1)
    assert camera.at(6).read("pan") == 2400
    assert camera.at(60).read("pan") == 1800


def test_a_refused_write_wishes_for_nothing() -> None:
    """A lamp that is asked for in the same write as something that does not exist stays off: no time to wake for."""
    camera = Held("minicam").camera
    state = camera._state
    assert state.write(["identify", "gain"], (1, 10**6), 5 * SECOND) == ILLEGAL_VALUE
    assert (state.actions, state.lamp_until, state.values["identify"]) == ([], 0, 0)


# -- identify ---------------------------------------------------------------------------------------------------


def test_a_camera_makes_itself_known_for_a_while() -> None:
    camera = Held("minicam")
    assert camera.identify().refused == 0
    assert camera.at(9.9).read("identify") == 1
    camera.at(10)
    assert camera.camera.changes == [("identify", 0)]
    assert camera.read("identify") == 0


def test_after_a_boot_the_lamp_is_out_and_does_not_go_out_again() -> None:
    camera = Held("minicam")
    camera.identify()
    camera.power_cycle()
    camera.at(camera.now / SECOND + 1)
    assert [change for change in camera.camera.changes if change[0] == "identify"] == []
    assert camera.read("identify") == 0


def test_an_identify_that_asks_for_values_gets_them() -> None:
    camera = Held("zoom-camera")
    assert camera.ask(IDENTIFY, "bus_id", size=2).values == (5, 4711)


# -- saving, rebooting, factory default ---------------------------------------------------------------------------


def test_unsaved_values_are_lost_by_a_power_cut_and_saved_ones_are_not() -> None:
    camera = Held("minicam")
    camera.write("gain", 12)
    camera.save()
    assert Did("saves") in camera.actions
    camera.at(1).write("gain", 36)
    camera.write("red_gain", 200)
    camera.power_cycle()
    assert camera.camera.changes == [("gain", 12), ("red_gain", 128)]
    assert (camera.read("gain"), camera.read("red_gain")) == (12, 128)


def test_a_head_stands_where_it_was_when_its_power_went() -> None:
    camera = Held("pan-tilt-head")
    camera.write("tilt", 1800)
    camera.at(1).power_cycle()
    assert camera.read("tilt") == 1200
    assert camera.at(30).read("tilt") == 1200


def test_presets_outlast_a_power_cut() -> None:
    camera = Held("zoom-camera")
    camera.write("iris", 77)
    camera.write("store_preset", 1)
    camera.power_cycle()
    assert camera.read("iris") == 500
    camera.recall(1)
    assert camera.read("iris") == 77


def test_a_camera_that_saves_is_busy_for_so_long() -> None:
    camera = Held("zoom-camera")  # 400 ms
    assert camera.save() == 0
    camera.now = 399_999_999
    assert camera.write("iris", 1) == BUSY
    assert camera.ask(READ, "iris", size=1).refused == BUSY
    camera.now = 400_000_000
    assert camera.write("iris", 1) == 0


def test_a_camera_may_be_deaf_while_it_saves() -> None:
    camera = Held("minicam")
    camera.save()
    assert Deaf(250_000_000) in camera.actions


def test_a_reboot_is_a_wish_that_comes_with_the_answer() -> None:
    camera = Held("zoom-camera")
    assert camera.write("command", 2) == 0
    assert camera.actions == [Did("reboots"), Restart()]
    assert camera.write("command", 77) == ILLEGAL_VALUE


def test_a_factory_default_brings_everything_back_as_it_was_delivered_and_keeps_that() -> None:
    camera = Held("minicam", bus_id=9)
    camera.write("gain", 40)
    camera.save()
    camera.at(1).write("command", 3)
    assert camera.read("gain") == 0
    camera.power_cycle()
    assert camera.read("gain") == 0
    assert camera.camera.bus_id == 9  # the new ID takes effect after a save
    camera.write("command", 3)
    camera.save()
    assert camera.camera.bus_id == camera.model.bus.factory_id == 1


def test_a_factory_default_also_resets_baud_and_format_from_the_next_start_on_and_needs_no_save() -> None:
    camera = Held("minicam")
    bus = camera.model.bus
    delivered = NewPort(bus.factory_baud, bus.factory_format)
    camera.write("command", 3)
    assert not [one for one in camera.actions if isinstance(one, NewPort)]
    camera.power_cycle()
    assert [one for one in camera.actions if isinstance(one, NewPort)] == [delivered]


# -- the bus ID ---------------------------------------------------------------------------------------------------


def test_a_new_id_takes_effect_at_once_where_the_model_says_so_and_is_lost_unless_saved() -> None:
    camera = Held("zoom-camera")
    assert camera.change_id(9) == 0
    assert camera.actions == [NewId(9)]
    assert (camera.camera.bus_id, camera.read("bus_id")) == (9, 9)
    camera.power_cycle()
    assert camera.camera.bus_id == 5
    camera.write("new_id", 9)
    camera.save()
    camera.at(camera.now / SECOND + 1).power_cycle()
    assert camera.camera.bus_id == camera.read("bus_id") == 9


def test_a_new_id_may_wait_for_a_save() -> None:
    camera = Held("minicam")
    camera.change_id(9)
    assert camera.camera.bus_id == 5
    camera.power_cycle()
    assert camera.camera.bus_id == 5
    camera.change_id(9)
    camera.save()
    assert camera.camera.bus_id == 9


def test_a_new_id_may_wait_for_a_reboot() -> None:
    camera = Held("slow-motion-camera")
    camera.change_id(9)
    assert camera.camera.bus_id == 5
    camera.power_cycle()
    assert camera.camera.bus_id == 9


def test_a_new_id_may_want_both_a_save_and_a_reboot() -> None:
    camera = Held("pan-tilt-head")
    camera.change_id(9)
    camera.power_cycle()
    assert camera.camera.bus_id == 5
    camera.change_id(9)
    camera.save()
    assert camera.camera.bus_id == 5
    camera.at(camera.now / SECOND + 1).power_cycle()
    assert camera.camera.bus_id == 9


@pytest.mark.parametrize("id", [0, 248, 255])
def test_an_id_that_the_bus_does_not_have_is_refused(id: int) -> None:
    camera = Held("zoom-camera")
    assert camera.change_id(id) == ILLEGAL_VALUE
    assert camera.camera.bus_id == 5


# -- orders -------------------------------------------------------------------------------------------------------


def test_an_order_is_written_alone_and_never_read() -> None:
    camera = Held("zoom-camera")
    assert camera.ask(READ, "command", size=1).refused == ILLEGAL_KEY
    assert camera.write("command", 1, 9) == ILLEGAL_KEY
    assert camera.camera.bus_id == 5


# -- whatever is asked ----------------------------------------------------------------------------------------------

VERBS = [WRITE, WRITE, WRITE, START, START, PRESET, STEP, READ, STOP, IDENTIFY, CHANGE_ID, SAVE, STATUS, "unknown"]
odd = st.one_of(st.integers(0, 65535), st.integers(-120, 300), st.sampled_from([-(2**31), 2**31]))


@cache
def involved(model: str) -> dict[str, list[int]]:
    """Parameters on which others depend, by name, each with its critical values."""
    table = load(model)
    names = {limit.limits for limit in table.limits} | {limit.by for limit in table.limits}
    names |= {motor.moves for motor in table.motors} | {lock.when for lock in table.locks}
    names |= {name for lock in table.locks for name in lock.locks}
    names |= {name for control in table.controls for name in (control.name, *control.moves, *control.against)}
    found = {one.name: [one.low, one.low + 1, one.high] for one in table.parameters if one.name in names}
    return found | {order.name: [0, 1, 3, 5, 200] for order in table.orders}


@st.composite
def requests(draw: st.DrawFn, model: str) -> Request:
    verb = draw(st.sampled_from(VERBS))
    table = load(model)
    keys = {**table.keys["modbus-rtu"], **table.order_keys["modbus-rtu"]}
    if verb in (READ, STATUS, IDENTIFY):
        return Request(5, verb, draw(st.integers(0, 120)), draw(st.integers(0, 20)))
    if draw(st.integers(0, 9)):
        name = draw(st.sampled_from(sorted(involved(model))))
        number = {STOP: 0, SAVE: 0, "unknown": 0}.get(verb, 1)
        likely = {START: [-100, -20, 100], PRESET: [1, 2], STEP: [-1, 1, 100], CHANGE_ID: [7]}
        values = [draw(st.sampled_from(likely.get(verb, involved(model)[name]))) for _ in range(number)]
        return Request(5, verb, keys[name], number, tuple(values))
    number = draw(st.integers(1, 4)) if verb == WRITE else 0 if verb in (STOP, SAVE, "unknown") else 1
    return Request(5, verb, draw(st.integers(0, 250)), number, tuple(draw(odd) for _ in range(number)))


@pytest.mark.parametrize("model", names())
@settings(max_examples=100, deadline=None)
@given(data=st.data())
def test_no_requests_crash_a_camera_or_leave_a_value_outside_its_limits_or_break_a_lock(
    model: str, data: st.DataObject
) -> None:
    camera = Held(model)
    ways = st.one_of(*[requests(model)] * 8, st.sampled_from(["wait", "cut"]))
    for way in data.draw(st.lists(ways, min_size=20, max_size=60)):
        before = dict(camera.camera.values)
        camera.now += data.draw(st.sampled_from([0, 1_000_000, 300_000_000, 3 * SECOND]))
        if way == "wait":
            camera.camera.woken(camera.now)
        elif way == "cut":
            camera.power_cycle()
            before = dict(camera.camera.values)
        else:
            camera.camera.serve(way, camera.now)
        camera.camera.look(camera.now)
        held_to_its_rules(camera, before)


def held_to_its_rules(camera: Held, before: dict[str, int]) -> None:
    """Ranges, limits and locks, computed from the model and not with the camera's own tables."""
    values, model = camera.camera.values, camera.model
    for one in model.parameters:
        assert one.low <= values[one.name] <= one.high, one.name
    for limit in model.limits:
        assert limit.floor(values[limit.by]) <= values[limit.limits] <= limit.ceiling(values[limit.by])
    for lock in model.locks:
        if before[lock.when] == values[lock.when] == lock.equals:
            limited = {limit.limits for limit in model.limits}
            for name in lock.locks:
                assert name in limited or values[name] == before[name], f"{name} is locked"


# -- searches, assignments and port settings -------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("low", "high", "answer"),
    [(4711, 4711, (4711,)), (4711, 9000, (4711,)), (0, 4711, (4711,)), (4712, 9000, ()), (0, 4710, ())],
)
def test_a_search_is_answered_from_the_first_to_the_last_serial_asked_for(
    low: int, high: int, answer: tuple[int, ...]
) -> None:
    assert Held("minicam").camera.serve(search(find("modbus-rtu"), low, high), 0).values == answer


def test_an_assignment_is_answered_and_obeyed_by_the_camera_it_names_and_by_no_other() -> None:
    rtu, named, other = find("modbus-rtu"), Held("minicam"), Held("minicam")
    assert named.camera.serve(assignment(rtu, 4711, 9), 0).values == (4711, 9)
    assert other.camera.serve(assignment(rtu, 4712, 9), 0).values == ()
    for camera in (named, other):
        camera.save()
        camera.power_cycle()
    assert (named.camera.bus_id, other.camera.bus_id) == (9, 5)


@pytest.mark.parametrize("model", ["zoom-camera", "minicam", "slow-motion-camera"])
def test_each_setting_of_the_port_has_a_number_and_the_next_number_is_refused(model: str) -> None:
    camera = Held(model)
    bus = camera.model.bus
    settings = len(bus.bauds) * len(bus.formats)
    assert [camera.write("new_port", number) for number in range(settings + 1)] == [0] * settings + [ILLEGAL_VALUE]
