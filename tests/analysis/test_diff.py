"""Two plans compared: the tasks on site."""

from __future__ import annotations

import dataclasses
import json
import types
import typing
from fractions import Fraction
from pathlib import Path

import pytest
from drawn_plans import drawn
from hypothesis import given, settings
from hypothesis import strategies as st
from places import SCENARIOS
from typer.testing import CliRunner

from busim.analysis.diff import TASKS, diff
from busim.cli.app import app
from busim.foundation.errors import UserError
from busim.foundation.units import CharFormat, FrameRate, Range, Spread
from busim.plan import FaultPlan, JoystickPlan, MeasuredPlan, Plan, read, read_text

HALL = SCENARIOS / "climbing-hall" / "plan.yaml"
TEXT = HALL.read_text(encoding="utf-8")


def said(before: str, after: str) -> list[str]:
    found = diff(read_text(before), read_text(after))
    assert bool(found.said) == bool(found.fields)
    assert {one.task for one in found.said} <= set(TASKS)
    return [one.text for one in found.said]


def edited(*edits: tuple[str, str], text: str = TEXT) -> str:
    for old, new in edits:
        assert old in text, old
        text = text.replace(old, new)
    return text


def test_a_plan_does_not_differ_from_itself() -> None:
    assert diff(read(HALL), read(HALL)).equal


@given(drawn())
@settings(max_examples=30, deadline=None)
def test_no_drawn_plan_differs_from_itself(text: str) -> None:
    try:
        plan = read_text(text)
    except UserError:
        return
    assert diff(plan, plan).equal


def test_comments_and_the_order_of_keys_and_entries_are_no_difference() -> None:
    other = edited(
        ("    bus_id: 1\n    serial: 4101\n", "    serial: 4101 # on the label\n    bus_id: 1\n"),
        ("  - {name: first spare, model: zoom-camera, bus_id: 1, serial: 4190, place: truck}\n", ""),
        (
            "serial: 4191, place: truck}\n",
            "serial: 4191, place: truck}\n"
            "  - {name: first spare, model: zoom-camera, bus_id: 1, serial: 4190, place: truck}\n",
        ),
    )
    assert other != TEXT
    assert said(TEXT, other) == []


def test_another_id_is_to_be_set_before_the_camera_is_connected() -> None:
    assert said(TEXT, edited(("    bus_id: 3\n", "    bus_id: 5\n"))) == [
        "camera 'boulder right' gets ID 5 (was 3): set it before it is connected"
    ]


def test_packing_is_to_be_set_in_the_box() -> None:
    assert said(TEXT, edited(("packing: {idle: 2 ms, length: 0}", "packing: {idle: 8 ms, length: 0}"))) == [
        "converter 'speed box': packing, idle 2 ms -> 8 ms: set in the box"
    ]


def test_another_baud_is_to_be_set_on_every_station_of_the_line_at_once() -> None:
    (text,) = said(TEXT, edited(("115200 Bd", "57600 Bd")))
    assert text.startswith("line 'speed line': baud 115200 Bd -> 57600 Bd: change all its stations at the same time")
    assert "'speed box'" in text
    assert "'speed finish'" in text


def test_a_camera_that_moves_says_from_where_to_where_and_which_cable_that_takes() -> None:
    mats = "      - camera: boulder mats\n        after: 14 m\n"
    left = "      - camera: rope left\n"
    texts = said(TEXT, edited((mats, ""), (left, f"{left}{mats}")))
    where = "from 'boulder line' position 5 to 'rope line' position 2, 14 m behind 'rope left'"
    assert f"camera 'boulder mats' moves {where}" in texts
    assert "line 'rope line' has 14 m more cable: 70 m (was 56 m)" in texts
    assert "line 'boulder line' has 14 m less cable: 36 m (was 50 m)" in texts
    assert "line 'rope line': new cable from 'rope left' to 'boulder mats': 14 m" in texts
    assert "line 'boulder line': take the terminator off 'boulder mats'" in texts
    assert "line 'boulder line': put a terminator on 'boulder right'" in texts
    assert not any("moves" in text and "boulder mats" not in text for text in texts)  # no other station has moved


def test_of_an_order_as_few_stations_as_can_be_have_moved() -> None:
    first, last = "      - camera: boulder left\n        after: 18 m", "boulder mats\n        after: 14 m\n"
    start = TEXT.index(first)
    whole = TEXT[start : TEXT.index("\n", start + len(first)) + 1]
    texts = said(TEXT, edited((whole, ""), (last, f"{last}{whole}")))
    assert [text.split(" moves ")[0] for text in texts if " moves " in text] == ["camera 'boulder left'"]


def test_a_camera_with_another_name_is_known_by_its_serial_number() -> None:
    assert said(TEXT, edited(("rope overhang", "the nose"))) == [
        "camera 'the nose' was called 'rope overhang' (serial 4111): give it the new label"
    ]


def test_cameras_that_changed_places_are_known_by_their_serial_numbers() -> None:
    other = edited(("serial: 4101", "serial: 1"), ("serial: 4102", "serial: 4101"), ("serial: 1\n", "serial: 4102\n"))
    texts = said(TEXT, other)
    assert "camera 'boulder left' was called 'boulder centre' (serial 4102): give it the new label" in texts
    assert "camera 'boulder centre' was called 'boulder left' (serial 4101): give it the new label" in texts


def test_another_unit_under_the_old_name_is_said() -> None:
    texts = said(TEXT, edited(("serial: 4123", "serial: 4190"), ("bus_id: 1, serial: 4190", "bus_id: 1, serial: 4123")))
    assert texts[0] == (
        "camera 'speed finish' is replaced by another unit: serial 4190 (was 4123); "
        "give it ID 21 before it is connected"
    )


def test_a_new_camera_and_one_that_is_gone_are_said_with_what_to_know_of_them() -> None:
    texts = said(TEXT, edited(("rope left", "moss wall"), ("serial: 4110", "serial: 4777")))
    new = "camera 'moss wall' is new on 'rope line' position 1: a zoom-camera, serial 4777; give it ID 11 before it is"
    assert f"{new} connected" in texts
    assert "camera 'rope left' is gone" in texts


def test_a_line_with_another_name_is_known_by_its_converter() -> None:
    assert said(TEXT, edited(("name: rope line", "name: long line"))) == [
        "line 'long line' was called 'rope line': give it the new label"
    ]


def test_times_that_would_look_the_same_rounded_are_written_out() -> None:
    (text,) = said(TEXT, edited(("latency: 1..3 ms", "latency: 1..3.0001 ms")))
    before, after = text.split(": ")[1].removeprefix("latency ").split(" -> ")
    assert before != after


# -- no field in silence ------------------------------------------------------------------------------------------

_OTHERWISE: dict[object, object] = {
    str: "another", int: 7, float: 7.5, bool: True, Fraction: Fraction(1, 77), CharFormat: CharFormat(7, "O", 2),
    MeasuredPlan: MeasuredPlan(Spread(7, 8), 7, 7, "2026-11-29", "echo"), FrameRate: FrameRate(30, "p"),
    Range: Range(7.25, 7.5), Spread: Spread(7, 8), bytes: b"\x07",
    JoystickPlan: JoystickPlan("another", ("iris",), 7.5),
}  # fmt: skip


def _other(value: object, hint: object) -> object:
    """Another value that the field's type allows."""
    if isinstance(value, bool):
        return not value
    if isinstance(value, (Range, Spread)):
        return type(value)(value.low, value.high + 1)
    if isinstance(value, (str, bytes, int, float, Fraction)):
        return value + type(value)(_OTHERWISE[type(value)])  # type: ignore[operator,call-arg]
    if isinstance(value, (CharFormat, FrameRate)):
        return _OTHERWISE[type(value)]
    if isinstance(value, tuple) and value:
        return value[:-1]
    if isinstance(value, dict):
        return {}
    options = typing.get_args(hint) if isinstance(hint, types.UnionType) else (hint,)
    wanted = next(option for option in options if option is not type(None))
    if typing.get_origin(wanted) is tuple:
        parts = typing.get_args(wanted)
        one = parts[0] if parts[-1] is Ellipsis else None
        return (_built(one),) if one else tuple(map(_built, parts))
    return _built(wanted)


def _built(wanted: object) -> object:
    if wanted in _OTHERWISE:
        return _OTHERWISE[wanted]
    if typing.get_origin(wanted) is tuple:
        return tuple(map(_built, typing.get_args(wanted)))
    raise AssertionError(f"no other value of {wanted}")


def _variants(whole: object) -> typing.Iterator[tuple[str, object]]:
    """The same with one field changed, for every field of every dataclass within."""
    if isinstance(whole, tuple):
        for index, part in enumerate(whole):
            if dataclasses.is_dataclass(part) and index in (0, len(whole) - 1):
                for name, other in _variants(part):
                    yield f"[{index}].{name}", (*whole[:index], other, *whole[index + 1 :])
    elif dataclasses.is_dataclass(whole) and not isinstance(whole, type):
        hints = typing.get_type_hints(type(whole))
        for field in dataclasses.fields(whole):
            if field.name in ("source", "path", "positions", "as_read"):
                continue
            value = getattr(whole, field.name)
            nested = dataclasses.is_dataclass(value) and not isinstance(value, (CharFormat, FrameRate, Range, Spread))
            if nested or (isinstance(value, tuple) and value and dataclasses.is_dataclass(value[0])):
                for name, other in _variants(value):
                    yield f"{field.name}.{name}", dataclasses.replace(whole, **{field.name: other})
            if not nested:
                other = {"x.yaml": "x"} if field.name == "files" else _other(value, hints[field.name])
                yield field.name, dataclasses.replace(whole, **{field.name: other})


LATE = FaultPlan("late-reply", ("rope left",), 1, 2, 3, ("mark", "doors open", ""), {"by": "300 ms"})
HEARD = MeasuredPlan(Spread(3, 4), 5, 20, "2026-11-28", "bursts")
STEERED = JoystickPlan("rope overhang", ("zoom", "focus"), 25.0, 1)
READ = dataclasses.replace(read(HALL), faults=(LATE,))
READ = dataclasses.replace(
    READ, cameras=(dataclasses.replace(READ.cameras[0], measured=HEARD), *READ.cameras[1:]),
    converters=(dataclasses.replace(READ.converters[0], measured=HEARD), *READ.converters[1:]),
    panels=(dataclasses.replace(READ.panels[0], joysticks=(STEERED,)), *READ.panels[1:]),
)  # fmt: skip
VARIANTS = list(_variants(READ))


@pytest.mark.parametrize(("field", "other"), VARIANTS, ids=[name for name, _ in VARIANTS])
def test_every_field_of_a_plan_that_changes_is_said(field: str, other: Plan) -> None:
    for one, two in ((READ, other), (other, READ)):
        found = diff(one, two)
        assert found.said, field
        assert found.fields, field
        for change in found.fields:
            assert change.before != change.after


@given(st.data())
@settings(max_examples=60, deadline=None)
def test_no_plan_differs_from_itself(data: st.DataObject) -> None:
    plan = data.draw(st.sampled_from([other for _, other in VARIANTS]))
    assert diff(plan, plan).equal
    assert diff(plan, dataclasses.replace(plan, cameras=plan.cameras[::-1], lines=plan.lines[::-1])).equal


def test_the_fields_that_were_changed_are_those_of_every_type_of_the_plan() -> None:
    """Guards the test above against a type without an entry in the hall."""
    from busim import plan as room

    kinds = {kind for kind in vars(room).values() if dataclasses.is_dataclass(kind)} - {room.Spelled}
    seen: set[type] = set()

    def walk(value: object) -> None:
        if isinstance(value, tuple):
            for part in value:
                walk(part)
        elif dataclasses.is_dataclass(value) and not isinstance(value, type):
            seen.add(type(value))
            for field in dataclasses.fields(value):
                walk(getattr(value, field.name))

    walk(READ)
    assert kinds <= seen


# -- the command --------------------------------------------------------------------------------------------------


def run(*arguments: object) -> tuple[int, str]:
    result = CliRunner().invoke(app, ["plan", "diff", *map(str, arguments)], env={"COLUMNS": "1000"})
    return result.exit_code, result.output


def test_the_command_ends_with_0_where_nothing_differs_and_with_1_where_something_does(tmp_path: Path) -> None:
    other = tmp_path / "other.yaml"
    other.write_text(edited(("    bus_id: 3\n", "    bus_id: 5\n")), encoding="utf-8")
    code, text = run(HALL, HALL)
    assert (code, text.split(":")[0]) == (0, "equal")
    code, text = run(HALL, other, "--all")
    assert code == 1
    assert "set in the camera before it is connected:" in text
    assert "camera 'boulder right' bus_id: 3 -> 5" in text


def test_the_command_gives_json_with_a_schema(tmp_path: Path) -> None:
    other = tmp_path / "other.yaml"
    other.write_text(edited(("    bus_id: 3\n", "    bus_id: 5\n")), encoding="utf-8")
    code, text = run(HALL, other, "--json")
    found = json.loads(text)
    assert (code, found["schema"], found["equal"]) == (1, 1, False)
    assert found["fields"] == [
        {"kind": "camera", "name": "boulder right", "field": "bus_id", "before": "3", "after": "5"}
    ]
