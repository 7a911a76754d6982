"""New cameras as they come: at factory baud and format, on a supply with others, set in the order that costs least.

That a new camera talks at its factory settings, that one supply feeds several cameras, and that nothing is plugged
onto a live pair, is common practice, no source.
"""

from __future__ import annotations

import pytest

from busim.analysis.check import check
from busim.commissioning.rehearse import (
    CAUTIONS,
    OK,
    Assumed,
    Rehearsal,
    crews,
    generated,
    line_for,
    planned,
    rehearse,
    settings_for,
    what_ifs,
)
from busim.commissioning.sheet import Document, Value, html, sheet
from busim.plan import Plan, read_text
from busim.runtime.session import Run

MIXED = """
busim: 1
name: mixed hall
lines:
  - name: wall
    baud: 38400 Bd
    format: 8E1
    protocol: modbus-rtu
    cable: {supply_gauge: AWG 16}
    order:
      - terminator
      - converter: box
      - {camera: zoom one, after: 5 m}
      - {camera: small one, after: 5 m}
      - {camera: small two, after: 5 m}
      - {camera: slow one, after: 5 m, supply_pair: past}
      - terminator
converters:
  - {name: box, endpoint: "198.51.100.49:15001", packing: {idle: 4 ms}, network: 198.51.100.0/24}
cameras:
  - {name: zoom one, bus_id: 2, serial: 4101, place: ledge}
  - {name: small one, model: minicam, bus_id: 3, serial: 4102}
  - {name: small two, model: minicam, bus_id: 4, serial: 4103}
  - {name: slow one, model: slow-motion-camera, bus_id: 5, serial: 4104}
places:
  - {name: ledge, note: harness and a second person}
masters:
  - name: controller
    through: [box]
    groups: [{name: fast, values: [gain], every: 0}]
supplies:
  - {name: wall supply, voltage: 13.8 V, limit: 60 W, fuse: 5 A, at: box, feeds: [zoom one, small one, small two]}
  - {name: slow supply, voltage: 13.8 V, limit: 60 W, fuse: 5 A, at: slow one, feeds: [slow one]}
"""


@pytest.fixture(scope="module")
def mixed() -> Plan:
    return read_text(MIXED, "mixed.yaml")


@pytest.fixture(scope="module")
def done(mixed: Plan) -> Rehearsal:
    return rehearsed(mixed)


@pytest.fixture(scope="module")
def printed(mixed: Plan) -> Document:
    return sheet(mixed, version="0", date="2030-01-02", rehearsed=True, revision="C", author="A. Planner")


def rehearsed(plan: Plan, what_if: str = "") -> Rehearsal:
    run = Run(plan, 1, played=(), watched=True)
    cameras = planned(plan, run.world)
    steps = generated(plan, cameras, Assumed())
    if what_if:
        settings = settings_for(plan, run.world.protocols, cameras, Assumed())
        _, steps, why_not = line_for(what_ifs()[what_if], settings)
        assert not why_not
    return rehearse(plan, run.world, cameras, steps, Assumed(), what_if=what_if)


def test_check_names_the_cameras_that_are_deaf_on_their_line_until_they_are_set(mixed: Plan) -> None:
    (deaf,) = [one for one in check(mixed).findings if one.code == "deaf-until-set"]
    assert deaf.what.startswith("3 of 4 cameras are deaf on line 'wall'")
    assert "9600 Bd 8N1 and 115200 Bd 8N1" in (deaf.found or "")


def test_each_camera_is_set_at_its_factory_settings_and_all_answer_at_those_of_the_line(done: Rehearsal) -> None:
    assert done.ok
    assert {one.outcome for one in done.done} == {OK}
    assert next(one.seen for one in done.done if one.step.do == "round").startswith("all 4 answer")


def test_the_converter_is_changed_once_for_each_factory_setting_and_once_back(done: Rehearsal) -> None:
    tuned = [one.seen for one in done.done if one.step.do == "tune"]
    assert tuned == [
        "the converter runs at 9600 Bd 8N1", "the converter runs at 115200 Bd 8N1",
        "the converter runs at 38400 Bd 8E1",
    ]  # fmt: skip
    assert [one.step.camera for one in done.done if one.step.do == "set-port"] == ["small one", "small two", "slow one"]


def test_nothing_is_plugged_while_a_supply_of_its_cable_is_on(done: Rehearsal) -> None:
    on: set[str] = set()
    for one in done.done:
        if one.step.do == "supply":
            (on.add if one.step.on else on.discard)(one.step.supply)
        if one.step.do == "connect":
            assert "wall supply" not in on
            assert one.step.camera != "slow one" or not on


def test_a_power_cycle_of_one_camera_starts_the_others_on_its_supply_again(done: Rehearsal) -> None:
    cycles = {one.step.camera: one for one in done.done if one.step.do == "cycle"}
    assert "started again with it: small one" in cycles["small two"].seen
    assert cycles["small two"].step.along == ("zoom one", "small one")
    assert cycles["slow one"].seen == "slow supply off for 5 s, then on"


@pytest.mark.parametrize("name", ["settings-forgotten", "spare-in-show", "wrong-baud", "everything-first"])
def test_mishaps_show_as_told_where_cameras_come_with_other_settings(mixed: Plan, name: str) -> None:
    assert what_ifs()[name].as_told(rehearsed(mixed, name))


def test_lines_that_share_no_supply_can_be_done_by_crews_side_by_side(mixed: Plan) -> None:
    text = MIXED.replace("    order:\n", "    order:\n", 1)
    second = text[text.index("  - name: wall\n") : text.index("converters:")]
    second = second.replace("name: wall", "name: roof").replace("converter: box", "converter: top")
    second = second.replace(" one", " three").replace(" two", " four")
    cameras = text[text.index("  - {name: zoom one") : text.index("places:")]
    more = cameras.replace(" one", " three").replace(" two", " four").replace("serial: 41", "serial: 51")
    text = text.replace("converters:\n", f"{second}converters:\n").replace("places:\n", f"{more}places:\n", 1)
    box = '  - {name: top, endpoint: "198.51.100.50:15001"}\n'
    text = text.replace("cameras:\n", f"{box}cameras:\n", 1).replace("through: [box]", "through: [box, top]")
    assert crews(read_text(text)) == (("wall",), ("roof",))
    shared = text.replace("feeds: [slow one]", "feeds: [slow one, slow three]")
    assert crews(read_text(shared)) == (("wall", "roof"),)
    assert crews(mixed) == (("wall",),)


# -- the same steps on paper --------------------------------------------------------------------------------------


def test_the_sheet_has_the_steps_that_were_rehearsed_one_for_one(printed: Document, done: Rehearsal) -> None:
    assert [task.line for task in printed.tasks] == [one.step.line for one in done.done]
    assert "passed in a rehearsal" in printed.tasks_note
    assert not any(task.result for task in printed.tasks)


def test_a_step_says_when_an_id_takes_effect_where_to_save_and_who_goes_along(printed: Document) -> None:
    said = {(task.what, task.look) for task in printed.tasks}
    assert ("Set small one to bus ID 3", "acknowledged; it has this ID only after save, and answers at its old one "
            "until then") in said  # fmt: skip
    what = " ".join(task.what for task in printed.tasks)
    assert "Save in slow one, at bus ID 247; wait 1.5 s" in what
    assert "Switch wall supply off for 5 s and on again. This takes along: zoom one, small one." in what
    assert "Plug in zoom one (ledge); harness and a second person" in what


def test_a_step_that_fails_in_the_rehearsal_is_printed_as_failed() -> None:
    plan = read_text(MIXED.replace("serial: 4103}", "serial: 4103, driver: {swapped: true}}"), "mixed.yaml")
    document = sheet(plan, version="0", date="2030-01-02", rehearsed=True)
    (failed,) = [task for task in document.tasks if task.result.startswith("FAILED")]
    assert "swapped at 'small two'" in failed.result
    assert "FAILED in the rehearsal" in document.tasks_note


def test_a_camera_without_a_test_picture_gets_none() -> None:
    plan = read_text(MIXED.replace("model: slow-motion-camera", "model: pan-tilt-head"), "mixed.yaml")
    what = " ".join(task.what for task in sheet(plan, version="0", date="2030-01-02").tasks)
    assert "Look at the picture of slow one: it has no test picture" in what
    assert "Test picture of slow one" not in what


def test_the_settings_list_what_each_camera_is_to_be_set_to(printed: Document) -> None:
    ports = next(one for one in printed.settings if one.title == "Camera ports to set")
    rows = {str(row[1]): [one.text if isinstance(one, Value) else one for one in row[2:]] for row in ports.rows}
    assert rows["small one"] == ["9600 Bd 8N1", "38400 Bd", "8E1", "3 to 9 ms", "DEAF UNTIL SET"]
    assert rows["zoom one"][-1] == "as delivered"


@pytest.mark.parametrize("part", ["lines", "settings", "bill", "steps", "silent"])
def test_every_part_printed_alone_has_its_caution(printed: Document, part: str) -> None:
    text = html(printed, parts=[part])
    assert "Caution" in text
    assert "revision C" in text
    assert "A. Planner" in text


def test_the_head_of_the_steps_that_a_browser_repeats_on_each_page_has_the_cautions(printed: Document) -> None:
    text = html(printed, parts=["steps"])
    head = text[text.index("<thead>") : text.index("</thead>")]
    assert "licensed people" in head
    assert CAUTIONS["connect"] in head


def test_the_page_for_a_silent_camera_says_volts_factory_settings_and_who_must_answer(printed: Document) -> None:
    (one,) = printed.silent
    rows = {str(row[0]): [value.text if isinstance(value, Value) else value for value in row] for row in one.table.rows}
    assert rows["small two"][2:6] == ["ID 1, 9600 Bd 8N1", "13.6 V", "13.6 V", "9.0 V"]
    assert rows["small two"][7] == "zoom one, small one"


def test_the_netmask_stands_beside_the_network(printed: Document) -> None:
    assert "255.255.255.0" in html(printed, parts=["settings"])
    assert "255.255.255.0" in html(printed, parts=["lines"])


def test_what_changed_since_the_last_print_comes_first(mixed: Plan) -> None:
    new = read_text(MIXED.replace("bus_id: 5, serial: 4104", "bus_id: 6, serial: 4104"), "mixed.yaml")
    text = html(sheet(new, version="0", date="2030-01-02", since=mixed), parts=["summary"])
    assert "Changed since the print of plan" in text
    assert "&#39;slow one&#39;" in text or "slow one" in text


def test_labels_stand_at_the_places_of_a_pre_cut_sheet(printed: Document) -> None:
    text = html(printed, parts=["labels"], label_sheet="a4-3x8")
    assert text.count('class="place"') == len(printed.labels)
    assert "left: 70mm; top: 0.5mm; width: 70mm; height: 37mm" in text
    assert 'class="precut" style="height: 296.5mm"' in text  # a page of its own for each sheet


def test_a_part_without_content_makes_no_empty_page() -> None:
    bare = read_text("busim: 1\nname: bare\nlines: [{name: a, baud: 9600 Bd, format: 8N1, protocol: modbus-rtu}]\n")
    text = html(sheet(bare, version="0", date="x"), parts=["settings", "bill", "labels"])
    assert "<section" not in text


BOX_FED = MIXED.replace("feeds: [zoom one, small one, small two]", "feeds: [box, zoom one, small one, small two]")


def test_a_supply_that_feeds_the_converter_names_it_where_it_is_switched() -> None:
    steps = rehearsed(read_text(BOX_FED, "mixed.yaml")).done
    switched = [one.seen for one in steps if one.step.do == "supply" and one.step.supply == "wall supply"]
    assert switched
    assert all("box" in seen for seen in switched)
    cycled = [one.seen for one in steps if one.step.do == "cycle" and one.step.supply == "wall supply"]
    assert cycled
    assert all("started again with it: box" in seen for seen in cycled)


def test_forgotten_settings_name_baud_and_format_and_what_the_camera_is_delivered_with(mixed: Plan) -> None:
    reason = rehearsed(mixed, "settings-forgotten").failed[0].reason
    assert reason is not None
    assert "9600 Bd 8N1 and the line runs at 38400 Bd 8E1" in reason.why
    assert "set the camera to 38400 Bd 8E1" in reason.mend
    assert "delivered with" in reason.mend


def test_a_what_if_is_tried_on_a_line_on_which_it_can_happen() -> None:
    sound = """  - name: desk line
    baud: 38400 Bd
    format: 8E1
    protocol: modbus-rtu
    order: [{converter: desk box}, {camera: a, after: 5 m}, {camera: b, after: 5 m}, {camera: c, after: 5 m}]
"""
    text = MIXED.replace("lines:\n", "lines:\n" + sound)
    text = text.replace("converters:\n", 'converters:\n  - {name: desk box, endpoint: "198.51.100.50:15001"}\n')
    more = "".join(f"  - {{name: {name}, bus_id: {9 + n}, serial: {4200 + n}}}\n" for n, name in enumerate("abc"))
    plan = read_text(text.replace("cameras:\n", "cameras:\n" + more), "two.yaml")
    assert rehearsed(plan, "settings-forgotten").failed[0].step.line == "wall"


def test_the_signature_of_a_line_stays_on_a_page_with_its_last_steps(printed: Document) -> None:
    page = html(printed, parts=("steps",))
    together = page.partition('<tbody class="together">')[2].partition("</tbody>")[0]
    assert together.count("<tr>") == 9  # eight steps and the signature
    assert "signature" in together
    assert ".together { break-inside: avoid; }" in page


def test_what_changed_since_the_last_print_comes_with_its_caution(mixed: Plan) -> None:
    other = read_text(MIXED.replace("voltage: 13.8 V, limit: 60 W, fuse: 5 A, at: box", "voltage: 12 V, at: box"))
    since = sheet(other, version="0", date="2030-01-02", since=mixed)
    assert "measure that it is dead" in html(since, parts=("summary",)).partition("Changed since")[2][:400]
