"""Camera models: what the shipped one holds, and that a model file's mistakes are said at their place."""

from __future__ import annotations

import contextlib
import json
import time
from pathlib import Path

import pytest
from bad_plans import unmarked
from hypothesis import given, settings
from hypothesis import strategies as st

import busim.models
from busim.declared import parse
from busim.errors import UserError
from busim.models import Lock, load, names, read_text

SHIPPED = Path(busim.models.__file__).parent
ZOOM = (SHIPPED / "zoom-camera.yaml").read_text(encoding="utf-8")

SMALL = """\
busim-model: 1
name: small
title: a small camera
parameters:
  iris: {group: exposure, kind: range, low: 10, high: 90, default: 50, unit: "%", scale: 0.5}
  mode: {group: exposure, kind: choice, choices: [by hand, by itself]}
  light: {group: signal, kind: switch, default: 1, meaning: tally}
  heat: {group: service, kind: reading}
locks:
  - {when: mode, equals: 1, locks: [iris], reason: the camera sets it itself}
keys:
  modbus-rtu: {iris: 0, mode: 1, light: 2, heat: 100}
"""


def test_every_shipped_model_is_called_as_its_file_and_reads() -> None:
    assert "zoom-camera" in names()
    for name in names():
        assert load(name).name == name


def test_a_parameter_has_its_range_and_what_is_left_out_follows_its_kind() -> None:
    model = read_text(SMALL)
    iris, mode, light, heat = model.parameters
    assert (iris.low, iris.high, iris.default, iris.unit, iris.scale) == (10, 90, 50, "%", 0.5)
    assert (mode.low, mode.high, mode.default, mode.choices) == (0, 1, 0, ("by hand", "by itself"))
    assert (light.low, light.high, light.default, light.meaning) == (0, 1, 1, "tally")
    assert (heat.high, heat.writable, iris.writable) == (65535, False, True)
    assert model.locks == (Lock("mode", 1, ("iris",), "the camera sets it itself"),)
    assert model.keys == {"modbus-rtu": {"iris": 0, "mode": 1, "light": 2, "heat": 100}}


def test_the_zoom_camera_locks_what_its_automatics_set() -> None:
    # common practice, no source
    locks = {lock.when: (lock.equals, set(lock.locks)) for lock in load("zoom-camera").locks}
    assert locks == {
        "auto_exposure": (1, {"iris", "gain", "shutter"}),
        "auto_white": (1, {"red_gain", "blue_gain"}),
    }


def test_the_zoom_camera_has_one_run_of_registers_to_set_and_one_to_read() -> None:
    model = load("zoom-camera")
    registers = model.keys["modbus-rtu"]
    settable = [registers[parameter.name] for parameter in model.parameters if parameter.writable]
    readings = [registers[parameter.name] for parameter in model.parameters if not parameter.writable]
    assert sorted(settable) == list(range(15))
    assert sorted(readings) == [100, 101, 102, 103]
    assert {"bus_id", "serial", "requests", "temperature"} <= set(registers)


def test_every_value_of_a_shipped_model_fits_a_register() -> None:
    # a register holds 16 bits: MODBUS Application Protocol V1.1b3, 4.3
    for name in names():
        for parameter in load(name).parameters:
            assert 0 <= parameter.low <= parameter.default <= parameter.high <= 65535


def test_a_model_loads_in_a_moment() -> None:
    read_text(ZOOM)
    times = []
    for _ in range(15):
        started = time.process_time()
        read_text(ZOOM)
        times.append(time.process_time() - started)
    assert min(times) < 0.02


def test_an_unknown_model_is_an_error_that_suggests_the_nearest() -> None:
    with pytest.raises(UserError, match="no camera model") as caught:
        load("zoom_camera")
    assert caught.value.mend == "did you mean `zoom-camera`?"


@pytest.mark.parametrize("name", ["../zoom-camera", "", "zoom-camera.yaml", "a\0b", "x" * 10_000])
def test_a_name_is_never_taken_for_a_path(name: str) -> None:
    with pytest.raises(UserError, match="no camera model"):
        load(name)


# old text, new text with « before the place that must be named, a word of the message
MISTAKES = [
    ("busim-model: 1", "busim-model: «2", "not known"),
    ("busim-model: 1\nname: small\n", "«busim-model: 1\n", "`name` is missing"),
    ("name: small", "name: «5", "not a text"),
    ("title: a", "«titel: a", "unknown key"),
    ("kind: range", "kind: «rang", "not a kind"),
    ("{group: exposure, kind: range", "«{group: exposure", "`kind` is missing"),
    ("default: 50", "default: «9", "not a count"),
    ("high: 90", "high: «9", "not a count"),
    ("high: 90", "high: «65536", "not a count"),
    ("high: 90", "high: «8E1", "not a count"),
    ("scale: 0.5", "scale: «0", "not a scale"),
    ('unit: "%"', "unit: «[m]", "not a text"),
    ("[by hand, by itself]", "«[by hand, by hand]", "not a set of choices"),
    ("[by hand, by itself]", "«by hand", "not a list"),
    ("kind: switch, ", "kind: switch, high: «2, ", "not a count"),
    ("kind: reading", "kind: reading, choices: «[a, b]", "only a choice"),
    ("when: mode", "when: «mod", "no parameter"),
    ("equals: 1", "equals: «2", "not a count"),
    ("locks: [iris]", "locks: «[iris, mode]", "can lock"),
    ("locks: [iris]", "locks: [«isir]", "no parameter"),
    ("heat: 100}", "heat: «2}", "is light's"),
    ("{iris: 0, mode: 1, light: 2, heat: 100}", "«{iris: 0, mode: 1, light: 2}", "`heat` has no register"),
    ("heat: 100}", "heat: «65536}", "not a count"),
    ("heat: 100}", "heat: 100, «heta: 3}", "no parameter"),
    ("  heat: {", "  «iris: {", "given twice"),
    ("locks:\n  - {", "locks: []\n«licks:\n  - {", "unknown key"),
    ("locks:\n  - {", "locks:\n  «{", "not a list"),
]


@pytest.mark.parametrize(("old", "new", "what"), MISTAKES, ids=[repr(mistake[1]) for mistake in MISTAKES])
def test_a_mistake_in_a_model_is_said_at_its_place(old: str, new: str, what: str) -> None:
    assert SMALL.count(old) == 1
    text, places = unmarked(SMALL.replace(old, new))
    with pytest.raises(UserError, match=what) as caught:
        read_text(text, "small.yaml")
    assert caught.value.file == "small.yaml"
    assert [(caught.value.line, caught.value.column)] == places


VALUES = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-(10**20), 10**20),
    st.text(max_size=5),
    st.lists(st.integers(0, 3), max_size=3),
    st.dictionaries(st.sampled_from(["when", "kind", "iris"]), st.integers(0, 3), max_size=2),
)


@settings(max_examples=200, deadline=None)
@given(st.data())
def test_any_odd_value_anywhere_is_a_model_or_a_user_error(data: st.DataObject) -> None:
    tree = json.loads(json.dumps(parse(SMALL).value))
    holder, key = tree, data.draw(st.sampled_from(sorted(tree)))
    while data.draw(st.booleans()) and isinstance(holder[key], (dict, list)) and holder[key]:
        holder = holder[key]
        key = data.draw(st.sampled_from(sorted(holder) if isinstance(holder, dict) else list(range(len(holder)))))
    holder[key] = data.draw(VALUES)
    with contextlib.suppress(UserError):
        read_text(json.dumps(tree))
