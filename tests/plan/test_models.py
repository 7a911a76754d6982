"""Camera models: the contents of the shipped ones, and mistakes of a model file at their places."""

from __future__ import annotations

import contextlib
import json
import time
from dataclasses import replace
from pathlib import Path

import pytest
from bad_plans import unmarked
from hypothesis import given, settings
from hypothesis import strategies as st
from ruamel.yaml import YAML
from small_plans import wall

import busim.plan.models
from busim.foundation.diagnostics import Findings
from busim.foundation.errors import UserError
from busim.foundation.units import Spread
from busim.foundation.yaml_source import parse
from busim.plan.models import Control, Lock, Motor, Presets, find, json_schema, load, names, read_text, starter
from busim.runtime.session import Run

SHIPPED = Path(busim.plan.models.__file__).parent / "shipped"
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
  rate: {group: picture, kind: choice, choices: [25p, 50p]}
  shutter: {group: exposure, kind: range, high: 40, default: 5}
  zoom: {group: lens, kind: range, high: 100}
  black: {group: black, kind: range, high: 20}
  red: {group: black, kind: range, high: 20}
  blue: {group: black, kind: range, high: 20}
locks:
  - {when: mode, equals: 1, locks: [iris], reason: the camera sets it itself}
limits:
  - {limits: shutter, by: rate, highest: {25p: 40, 50p: 20}, reason: no longer than a frame}
controls: {black: {moves: [red], against: [blue]}}
motors: {zoom: {speed: 20 /s, dead_man: 1 s}}
presets: {number: 4, holds: [iris, zoom]}
orders:
  go: {does: recall}
  drive: {does: move, motor: zoom}
  do: {codes: {save: 1, reboot: 2}}
timing: {turnaround: 2..6 ms, save: 300 ms, boot: 2 s}
supply: {voltage: 9..16 V, idle: 2 W, peak: 3 W}
bus: {unit_load: 0.25, unpowered: cuts, bauds: [9600 Bd, 19200 Bd], formats: [8E1], factory_baud: 19200 Bd}
keys:
  modbus-rtu: {iris: 0, mode: 1, light: 2, heat: 100, rate: 3, shutter: 4, zoom: 5, black: 6, red: 7, blue: 8, go: 9}
keys_as: {text: modbus-rtu}
"""


def test_every_shipped_model_is_called_as_its_file_and_reads() -> None:
    assert "zoom-camera" in names()
    for name in names():
        assert load(name).name == name


def test_a_parameter_has_its_range_and_what_is_left_out_follows_its_kind() -> None:
    model = read_text(SMALL)
    iris, mode, light, heat, *_ = model.parameters
    assert (iris.low, iris.high, iris.default, iris.unit, iris.scale) == (10, 90, 50, "%", 0.5)
    assert (mode.low, mode.high, mode.default, mode.choices) == (0, 1, 0, ("by hand", "by itself"))
    assert (light.low, light.high, light.default, light.meaning) == (0, 1, 1, "tally")
    assert (heat.high, heat.writable, iris.writable, heat.saved) == (65535, False, True, False)
    assert model.locks == (Lock("mode", 1, ("iris",), "the camera sets it itself"),)
    assert model.keys["modbus-rtu"]["heat"] == 100
    assert model.keys["text"] == model.keys["modbus-rtu"]
    assert model.order_keys["modbus-rtu"] == {"go": 9}


def test_what_a_model_says_besides_its_parameters_is_there_as_data() -> None:
    model = read_text(SMALL)
    assert model.controls == (Control("black", ("red",), ("blue",)),)
    assert model.motors == (Motor("zoom", 20.0, 10**9),)
    assert model.presets == Presets(4, ("iris", "zoom"))
    assert (model.timing.turnaround, model.timing.save, model.timing.boot) == (
        Spread(2_000_000, 6_000_000),
        300_000_000,
        2 * 10**9,
    )
    assert (model.supply.voltage.low, model.supply.idle, model.supply.peak) == (9.0, 2.0, 3.0)
    assert (model.bus.unit_load, model.bus.unpowered, model.bus.bauds) == (0.25, "cuts", (9600, 19200))
    assert (model.bus.factory_baud, str(model.bus.factory_format), model.bus.factory_id) == (19200, "8E1", 1)
    (limit,) = model.limits
    assert [limit.ceiling(count) for count in (0, 1)] == [40, 20]


def test_the_same_values_for_each_hue_sector_are_parameters_of_their_own() -> None:
    model = load("slow-motion-camera")
    hues = [one for one in model.parameters if one.meaning == "sector_hue"]
    assert model.sectors == 8 == len(hues)
    assert hues[0].name == "sector_1_hue"
    assert [model.keys["modbus-rtu"][one.name] for one in hues] == list(range(40, 48))


def test_without_its_lens_a_camera_has_nothing_of_it_and_nothing_that_names_it() -> None:
    text = (SHIPPED / "slow-motion-camera.yaml").read_text(encoding="utf-8")
    bare = read_text(text.replace("lens: fitted", "lens: none"))
    gone = {"iris", "zoom", "focus"}
    assert {one.name for one in load("slow-motion-camera").parameters} - {one.name for one in bare.parameters} == gone
    assert not bare.motors
    assert not gone & set(bare.presets.holds)
    assert not any(gone & set(lock.locks) for lock in bare.locks)
    assert not any(gone & set(table) for table in bare.keys.values())
    assert "drive_zoom" not in {order.name for order in bare.orders}


def test_the_four_models_differ_in_what_a_rehearsal_must_cope_with() -> None:
    models = [load(name) for name in names()]
    assert len(models) == 4
    assert {model.bus.unpowered for model in models} == {"passes", "loads", "cuts"}
    assert {model.bus.id_takes_effect for model in models} == {"at-once", "after-save", "after-reboot"}
    assert {model.timing.while_saving for model in models} == {"refuses", "deaf"}
    assert len({model.bus.unit_load for model in models}) == 4
    assert "lens" not in {one.group for one in load("minicam").parameters}


def test_the_form_of_a_model_is_there_as_json_schema() -> None:
    schema = json_schema()
    assert schema["$schema"].startswith("https://json-schema.org/draft/2020-12")
    assert {"busim-model", "parameters", "locks", "limits", "motors", "keys"} <= set(schema["properties"])
    assert json.loads(json.dumps(schema)) == schema


def test_the_starter_is_sound_as_it_stands_and_a_plan_can_use_it(tmp_path: Path) -> None:
    (tmp_path / "wall-camera.yaml").write_text(starter("wall-camera"))
    assert find("./wall-camera.yaml", tmp_path).name == "wall-camera"
    plan = replace(wall(values="[iris]", turnaround="1 ms"), path=str(tmp_path / "plan.yaml"))
    plan = replace(plan, cameras=(replace(plan.cameras[0], model="./wall-camera.yaml"),))
    run = Run(plan, 1)
    run.advance(10**9)
    run.finish()
    (line,) = run.report().as_json()["lines"]
    assert line["figures"]["exchanges"]["value"] > 10
    assert line["figures"]["refused"]["value"] == 0


def test_a_wrong_word_for_a_deed_is_told_at_its_place_with_the_word_that_was_meant() -> None:
    text = starter("wall-camera").replace("codes: {save: 1", "codes: {sve: 1")
    with pytest.raises(Findings) as caught:
        read_text(text, "wall-camera.yaml")
    (finding,) = caught.value.findings
    assert finding.field == "orders.command.codes.sve"
    assert text.splitlines()[(finding.line or 0) - 1][(finding.column or 0) - 1 :].startswith("sve: 1")
    assert finding.mend == "did you mean `save`?"


@pytest.mark.parametrize("name", ["Wall", "", "a/b", "x" * 41, "-a"])
def test_a_starter_wants_a_name_that_does(name: str) -> None:
    with pytest.raises(UserError, match="not a name"):
        starter(name)


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
    """20 ms, or where the machine is slow three times what the YAML parser alone takes for the text."""
    read_text(ZOOM)
    times, bare = [], []
    for _ in range(15):
        started = time.process_time()
        read_text(ZOOM)
        between = time.process_time()
        list(YAML(typ="rt", pure=True).parse(ZOOM))
        times.append(between - started)
        bare.append(time.process_time() - between)
    assert min(times) < 0.02 or min(times) < 3 * min(bare)


def test_an_unknown_model_is_an_error_that_suggests_the_nearest() -> None:
    with pytest.raises(UserError, match="no camera model") as caught:
        load("zoom_camera")
    assert caught.value.mend == "did you mean `zoom-camera`?"


@pytest.mark.parametrize("name", ["../zoom-camera", "", "a\0b", "x" * 10_000])
def test_a_name_is_never_taken_for_a_path(name: str) -> None:
    with pytest.raises(UserError, match="no camera model"):
        load(name)


# old text, new text with « before the place that must be named, the code of the finding
MISTAKES = [
    ("busim-model: 1", "busim-model: «2", "bad-value"),
    ("busim-model: 1\nname: small\n", "«busim-model: 1\n", "missing-key"),
    ("name: small", "name: «5", "bad-value"),
    ("presets:", "«preset:", "unknown-key"),
    ("kind: range, low", "kind: «rang, low", "bad-value"),
    ("{group: exposure, kind: range, low", "«{group: exposure, low", "missing-key"),
    ("default: 50", "default: «9", "out-of-bounds"),
    ("low: 10, high: 90, default: 50", "low: 10, high: «9, default: 10", "out-of-bounds,out-of-bounds"),
    ("high: 90", "high: «65536", "out-of-bounds"),
    ("high: 90", "high: «8E1", "wrong-kind"),
    ("scale: 0.5", "scale: «0", "out-of-bounds"),
    ('unit: "%"', "unit: «[m]", "bad-value"),
    ("[by hand, by itself]", "«[by hand, by hand]", "bad-choices"),
    ("[by hand, by itself]", "«by hand", "wrong-kind"),
    ("kind: switch, ", "kind: switch, high: «2, ", "out-of-bounds"),
    ("kind: reading", "kind: reading, choices: «[a, b]", "bad-choices"),
    ("when: mode", "when: «mod", "no-such-parameter"),
    ("equals: 1", "equals: «2", "out-of-bounds"),
    ("locks: [iris]", "locks: «[iris, mode]", "locks-itself"),
    ("locks: [iris]", "locks: [«isir]", "no-such-parameter"),
    ("locks: [iris]", "locks: [«heat]", "wrong-kind"),
    ("locks: [iris]", "locks: [iris, «iris]", "named-twice"),
    ("limits: shutter", "limits: «heat", "wrong-kind"),
    ("by: rate", "by: «rat", "no-such-parameter"),
    ("50p: 20}", "«60p: 20}", "out-of-bounds"),
    ("highest: {25p: 40, 50p: 20}, ", "highest: {}, ", "missing-key@limits[0]"),
    ("highest: {25p: 40, 50p: 20}, ", "product: 10, lowest: {50p: 30}, ", "no-room@limits[0]"),
    ("highest: {25p: 40, 50p: 20}", "highest: {25p: 4}", "out-of-bounds@limits[0]"),
    ("limits: shutter", "limits: «zoom", "in-a-circle"),
    ("moves: [red]", "moves: [«heat]", "wrong-kind"),
    ("moves: [red]", "moves: [zoom]", "bad-control@controls.black"),
    ("against: [blue]", "against: [red]", "bad-control@controls.black"),
    ("motors: {zoom", "motors: {«light", "wrong-kind,bad-order"),
    ("speed: 20 /s", "speed: «0", "bad-value"),
    ("dead_man: 1 s", "dead_man: «2 h", "bad-value"),
    ("holds: [iris, zoom]", "holds: [iris, «zom]", "no-such-parameter"),
    ("holds: [iris, zoom]", "holds: «[iris, black]", "bad-preset"),
    ("{does: recall}", "«{}", "bad-order"),
    ("{does: recall}", "{does: «recal}", "bad-value"),
    ("motor: zoom", "motor: «iris", "bad-order"),
    ("{save: 1, reboot: 2}", "«{save: 1, reboot: 1}", "bad-order"),
    ("{save: 1, reboot: 2}", "{save: 1, «melt: 2}", "bad-value"),
    ("boot: 2 s", "boot: «2", "bad-value"),
    ("peak: 3 W", "peak: 1 W", "out-of-bounds@supply"),
    ("voltage: 9..16 V", "voltage: «16..9 V", "bad-value"),
    ("factory_baud: 19200 Bd", "factory_baud: «38400 Bd", "out-of-bounds"),
    ("unpowered: cuts", "unpowered: «cut", "bad-value"),
    ("heat: 100", "heat: «2", "key-twice"),
    ("heat: 100, ", "", "missing-key@keys.modbus-rtu"),
    ("heat: 100", "heat: «65536", "out-of-bounds"),
    ("heat: 100", "heat: 100, «heta: 33", "no-such-parameter"),
    ("text: modbus-rtu", "text: «modbus", "no-such-protocol"),
    ("  heat: {", "  «iris: {", "duplicate-key"),
    ("locks:\n  - {", "locks:\n  «{", "wrong-kind"),
]


@pytest.mark.parametrize(("old", "new", "code"), MISTAKES, ids=[repr(mistake[1]) for mistake in MISTAKES])
def test_a_mistake_in_a_model_is_said_at_its_place(old: str, new: str, code: str) -> None:
    assert SMALL.count(old) == 1
    text, places = unmarked(SMALL.replace(old, new))
    with pytest.raises(Findings) as caught:
        read_text(text, "small.yaml")
    codes, _, field = code.partition("@")
    findings = caught.value.findings
    assert [finding.code for finding in findings][:2] == codes.split(",")
    assert {finding.file for finding in findings} == {"small.yaml"}
    assert findings[0].expected or findings[0].code == "duplicate-key"
    if field:
        assert findings[0].field == field
    else:
        assert [(findings[0].line, findings[0].column)] == places


def test_all_mistakes_of_a_model_are_told_at_once() -> None:
    text = SMALL.replace("equals: 1", "equals: 9").replace("moves: [red]", "moves: [rde]").replace("go: 9", "og: 9")
    with pytest.raises(Findings) as caught:
        read_text(text)
    assert {finding.field.split("[")[0].split(".")[0] for finding in caught.value.findings if finding.field} == {
        "locks", "controls", "keys",
    }  # fmt: skip


@pytest.mark.parametrize(
    "text",
    [
        "busim-model: 1\nname: a\ntitle: b\nparameters:\n"
        + "".join(f"  p{n}: {{group: g, kind: switch}}\n" for n in range(1100)),
        SMALL.replace("high: 90", "high: " + "9" * 5000),
        SMALL.replace("{when: mode", "&a {x: *a, when: mode"),
        SMALL.replace("title: a small camera", "title: " + "[" * 10_000),
        SMALL.replace("number: 4", "number: 1000000000"),
        SMALL + "hue_sectors: {number: 30000, each: {hue: {group: g, kind: range}}}\n",
        "a: !!python/object/apply:os.system ['true']\n",
    ],
    ids=["parameters", "digits", "anchors", "depth", "presets", "sectors", "tags"],
)
def test_a_hostile_model_is_refused_in_a_moment(text: str) -> None:
    started = time.process_time()
    with pytest.raises(UserError):
        read_text(text)
    assert time.process_time() - started < 2


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


def test_the_file_of_a_plan_that_is_loaded_is_read_once_however_often_its_model_is_asked_for() -> None:
    first = find("./ours.yaml", "plans", {"./ours.yaml": ZOOM})
    assert find("./ours.yaml", "plans", {"./ours.yaml": ZOOM}) is first
    other = find("./ours.yaml", "plans", {"./ours.yaml": ZOOM.replace("name: zoom-camera", "name: other", 1)})
    assert (first.name, other.name) == ("zoom-camera", "other")
