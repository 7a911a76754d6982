"""The plan reader: the result of a good plan; and every mistake at once, each at its place."""

from __future__ import annotations

import contextlib
import json
import os
import pickle
import subprocess
import sys
import time
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from bad_plans import BAD, BAD_SITES, GOOD, SITE, Bad
from hypothesis import given, settings
from hypothesis import strategies as st
from places import TOP

from busim.foundation.diagnostics import Findings
from busim.foundation.errors import UserError
from busim.foundation.units import CharFormat, FrameRate, Range, Spread
from busim.foundation.yaml_source import parse
from busim.plan import (
    BiasPlan,
    CablePlan,
    DriverPlan,
    FeedPlan,
    Place,
    PlacePlan,
    PollGroup,
    PowerPlan,
    SilencedPlan,
    SparePlan,
    SupplyPlan,
    defaults,
    json_schema,
    locate,
    read,
    read_text,
)

MINIMAL = "busim: 1\nname: hall\nlines:\n  - {name: wall, baud: 9600, format: 8N1, protocol: modbus-rtu}\n"


def found_in(text: str) -> Findings:
    with pytest.raises(Findings) as caught:
        read_text(text, "plan.yaml")
    return caught.value


# what a good plan becomes


def test_a_line_has_its_places_in_order_with_metres_from_the_first() -> None:
    plan = read_text(GOOD)
    assert plan.lines[0].order == (
        Place("terminator", "", 0.0, ohms=120.0),
        Place("converter", "boulder box", 0.0),
        Place("camera", "left mat", 12.0),
        Place("camera", "right mat", 21.0),
        Place("terminator", "", 21.0, ohms=120.0),
    )
    assert plan.lines[1].order[2] == Place("master", "laptop", 30.0)


def test_quantities_are_exact_numbers_in_base_units() -> None:
    plan = read_text(GOOD)
    assert (plan.lines[0].baud, plan.lines[0].format) == (Fraction(38400), CharFormat.parse("8E1"))
    assert plan.cameras[0].turnaround == Spread(2_000_000, 6_000_000)
    assert plan.cameras[1].driver == DriverPlan(baud=Fraction(9600), clock_ppm=-200.0, hold=-20_000)
    assert (plan.converters[0].host, plan.converters[0].port) == ("198.51.100.44", 15001)
    assert plan.masters[0].groups == (
        PollGroup("fast", ("iris", "gain"), 0),
        PollGroup("slow", ("tally",), 1_000_000_000),
    )
    assert (plan.masters[0].time_out, plan.masters[1].time_out) == (None, 250_000_000)
    assert plan.panels[0].moves == 0.5


def test_what_is_left_out_has_the_documented_default() -> None:
    plan = read_text(GOOD)
    line, camera, converter, master = plan.lines[1], plan.cameras[0], plan.converters[1], plan.masters[1]
    assert (line.contention, line.biased, line.velocity, line.bit_error_rate) == ("space-wins", True, 0.66, 0.0)
    assert (camera.model, camera.serial, camera.present, camera.driver) == ("zoom-camera", 0, True, DriverPlan())
    assert plan.cameras[1].turnaround == Spread(5_000_000, 5_000_000)
    assert (converter.packing_idle, converter.packing_length, converter.clients.most) == (4_000_000, 0, 4)
    assert converter.latency == Spread(1_000_000, 1_000_000)
    assert (master.retries, master.gap, master.listen, master.offline_after, master.starts_at) == (2, 0, 0, 3, 0)


@pytest.mark.parametrize("text", ["5E1", "8E1", "7E2", "5E1.5", "8O1", "8N2"])
def test_a_format_that_yaml_takes_for_a_number_is_still_a_format(text: str) -> None:
    plan = read_text(MINIMAL.replace("8N1", text))
    assert str(plan.lines[0].format) == text


def test_a_baud_may_have_more_digits_than_a_float_holds() -> None:
    plan = read_text(MINIMAL.replace("9600", "9615.384615384615384615 Bd"))
    assert plan.lines[0].baud == Fraction("9615.384615384615384615")
    assert read_text(MINIMAL.replace("9600", "9615.384615384615384615")).lines[0].baud == plan.lines[0].baud


def test_two_cameras_of_one_id_are_what_gets_rehearsed_and_no_error() -> None:
    plan = read_text(GOOD)
    assert [camera.bus_id for camera in plan.cameras] == [1, 1, 300]


def test_a_line_alone_is_a_plan() -> None:
    assert read_text(MINIMAL).cameras == ()


@pytest.mark.parametrize("written", ["terminator", "terminator: ", "terminator: true"])
def test_a_terminator_may_be_written_as_a_word_or_a_key(written: str) -> None:
    text = MINIMAL.replace(", protocol: modbus-rtu}", f", protocol: modbus-rtu, order: [{{{written}}}]}}")
    text = text.replace("[{terminator}]", "[terminator]")
    assert read_text(text).lines[0].order == (Place("terminator", "", 0.0, ohms=120.0),)


# the site


def test_a_plan_says_what_stands_where_and_what_feeds_it() -> None:
    plan = read_text(GOOD + SITE)
    assert plan.places == (PlacePlan("wall", (12.0, -4.0), "lift needed"),)
    assert plan.supplies == (
        SupplyPlan(
            "wall supply",
            Range(47, 49),
            limit=120,
            fuse=3.15,
            place="wall",
            at="boulder box",
            feeds=("left mat",),
            cable=FeedPlan(30, 14),
        ),
        SupplyPlan("switch port", Range(44, 57), kind="poe", poe_class=4),
    )
    assert plan.spares == (SparePlan("spare camera", "zoom-camera", 1, 0, 2, "wall"),)
    assert plan.silenced == (SilencedPlan("supply-fuse", "wall supply", "the house fuses it"),)


def test_what_feeds_a_camera_may_be_said_at_either_and_comes_out_the_same() -> None:
    at_supply = read_text(GOOD + SITE)
    at_camera = read_text(
        (GOOD + SITE)
        .replace("feeds: [left mat]", "feeds: []")
        .replace("- name: left mat\n", "- name: left mat\n    supply: wall supply\n")
    )
    assert at_camera.cameras[0].supply == at_supply.cameras[0].supply == "wall supply"
    assert at_camera.supplies == at_supply.supplies


def test_a_camera_may_say_what_it_needs_and_what_is_switched_in_it() -> None:
    written = (
        "bus_id: 300\n    place: wall\n    factory_id: 1\n    firmware: 2.4-b\n    power: {idle: 4 W, peak: 6..8 W}\n"
        "    unpowered: cuts\n    unit_load: 0.25\n    terminator: true\n    bias: true\n    frame_rate: 50p\n"
        "    shutter: 1/100 s\n"
    )
    camera = read_text((GOOD + SITE).replace("bus_id: 300\n", written)).cameras[2]
    assert (camera.place, camera.factory_id, camera.firmware) == ("wall", 1, "2.4-b")
    assert camera.power == PowerPlan(Range(4, 4), Range(6, 8), None)
    assert (camera.unpowered, camera.unit_load, camera.terminator, camera.bias) == ("cuts", 0.25, True, True)
    assert (camera.frame_rate, camera.shutter) == (FrameRate(Fraction(50)), Fraction(1, 100))


def test_one_power_stands_for_rest_most_and_start() -> None:
    camera = read_text(GOOD.replace("bus_id: 300\n", "bus_id: 300\n    power: 6 W\n")).cameras[2]
    assert camera.power == PowerPlan(Range(6, 6), Range(6, 6), Range(6, 6))


def test_a_converter_says_how_it_is_delivered_set_and_switched() -> None:
    written = (
        "clients: 4\n    factory_address: 192.0.2.10\n    network: 198.51.100.44/24\n    gateway: 198.51.100.1\n"
        "    box: hall rack\n    box_port: 2\n    wires: 4\n    terminator: true\n    power: 3 W\n"
    )
    converter = read_text(GOOD.replace("clients: 4\n", written)).converters[0]
    assert (converter.factory_address, converter.network, converter.gateway) == (
        "192.0.2.10",
        "198.51.100.0/24",
        "198.51.100.1",
    )
    assert (converter.box, converter.box_port, converter.wires) == ("hall rack", 2, 4)
    assert (converter.terminator, converter.bias, converter.unit_load) == (True, False, 1.0)


def test_a_line_says_its_cable_its_bias_and_where_they_differ() -> None:
    text = GOOD.replace(
        "    baud: 38400 Bd\n",
        "    baud: 38400 Bd\n    cable: {gauge: AWG 22, supply_gauge: AWG 18}\n"
        "    bias: {at: [boulder box], ohms: 560 ohm}\n",
    ).replace(
        "        after: 9 m\n      - terminator\n",
        "        after: 9 m\n        gauge: AWG 26\n        stub: 30 cm\n"
        "      - {terminator: true, ohms: 150 ohm, capacitor: 1 nF}\n",
    )
    line = read_text(text).lines[0]
    assert line.cable == CablePlan(22, 120, 18)
    assert (line.biased, line.bias) == (True, BiasPlan(("boulder box",), 560, 5))
    assert line.order[3] == Place("camera", "right mat", 21.0, gauge=26, stub=0.3)
    assert line.order[4] == Place("terminator", "", 21.0, ohms=150, capacitor=1e-9)


@pytest.mark.parametrize("written", ["bias: false", "bias: {present: false}"])
def test_a_line_may_say_that_nothing_biases_it(written: str) -> None:
    assert not read_text(MINIMAL.replace("format:", f"{written}, format:")).lines[0].biased


def test_what_a_plan_does_not_say_of_the_site_is_left_to_the_model_or_has_its_default() -> None:
    plan = read_text(GOOD)
    line, camera, converter = plan.lines[0], plan.cameras[0], plan.converters[0]
    assert (plan.places, plan.supplies, plan.spares, plan.silenced) == ((), (), (), ())
    assert (line.cable, line.biased, line.bias) == (CablePlan(24, 120, None), True, BiasPlan())
    assert (camera.power, camera.unpowered, camera.unit_load, camera.factory_id) == (PowerPlan(), None, None, None)
    assert (camera.terminator, camera.bias, camera.supply, camera.place) == (False, False, None, None)
    assert (converter.wires, converter.network, converter.box, converter.power) == (2, None, None, PowerPlan())


def test_the_plan_keeps_its_text_its_path_and_the_place_of_every_value(tmp_path: Path) -> None:
    path = tmp_path / "plan.yaml"
    path.write_text(GOOD, encoding="utf-8")
    plan = read(path)
    assert (plan.source, plan.path) == (GOOD, str(path))
    assert locate(plan, "cameras[2].bus_id") == (40, 13)
    assert locate(plan, "cameras[2].model") == (39, 5)  # not written: the camera
    assert plan == read_text(GOOD, str(path))


def test_a_plan_goes_to_another_process_and_comes_back_equal() -> None:
    plan = read_text(GOOD, "plan.yaml")
    assert pickle.loads(pickle.dumps(plan)) == plan


# the resolved plan


def test_the_resolved_plan_is_the_same_after_a_round_through_json() -> None:
    resolved = defaults(read_text(GOOD))
    assert json.loads(json.dumps(resolved, allow_nan=False)) == resolved


def test_the_resolved_plan_says_what_the_file_left_out() -> None:
    resolved = defaults(read_text(GOOD, "plan.yaml"))
    assert resolved["busim"] == 1
    assert resolved["lines"][0]["baud"] == "38400"
    assert resolved["lines"][0]["format"] == "8E1"
    assert resolved["cameras"][1]["turnaround"] == {"low": 5_000_000, "high": 5_000_000}
    assert resolved["cameras"][1]["driver"]["hold"] == -20_000
    assert resolved["masters"][0]["time_out"] is None
    assert not {"source", "path", "positions"} & set(resolved)


# the schema for editors


def refers(schema: Any) -> list[str]:
    if isinstance(schema, dict):
        own = [schema["$ref"]] if isinstance(schema.get("$ref"), str) else []
        return own + [ref for value in schema.values() for ref in refers(value)]
    return [ref for value in schema for ref in refers(value)] if isinstance(schema, list) else []


@pytest.mark.filterwarnings("error")
def test_the_schema_describes_every_key_and_all_its_references_resolve() -> None:
    schema = json.loads(json.dumps(json_schema(), allow_nan=False))
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    assert {ref.removeprefix("#/$defs/") for ref in refers(schema)} == set(schema["$defs"])
    for name, shape in {"": schema, **schema["$defs"]}.items():
        shape = shape.get("anyOf", [{}, shape])[1]
        parameters = {"type": ["string", "number", "boolean"]}  # of a fault, which a plan does not know
        assert shape["additionalProperties"] == (parameters if name == "FaultShape" else False)
        assert all(entry.get("description") for entry in shape["properties"].values())


def test_the_schema_lets_a_position_be_the_word_terminator() -> None:
    assert {"const": "terminator"} in json_schema()["$defs"]["StandShape"]["anyOf"]


# mistakes


def test_the_plan_that_the_mistakes_are_made_in_is_good() -> None:
    read_text(GOOD)


@pytest.mark.parametrize("mistake", [*BAD, *BAD_SITES], ids=lambda mistake: mistake.what.replace(" ", "-"))
def test_a_mistake_is_said_once_at_its_place_with_what_was_found_and_what_was_expected(mistake: Bad) -> None:
    assert mistake.old in GOOD
    findings = found_in(mistake.text).findings
    assert [(finding.code, finding.field) for finding in findings] == list(mistake.expected)
    assert [(finding.line, finding.column) for finding in findings] == mistake.places
    for finding in findings:
        assert finding.file == "plan.yaml"
        assert finding.severity == "error"
        assert finding.found
        assert finding.expected
        assert finding.mend


@pytest.mark.parametrize(
    ("old", "new", "mend"),
    [
        ("    clients: 4", "    client: 4", "did you mean `clients`?"),
        ("master: controller", "master: Controler", "did you mean `controller`?"),
        ("    bus_id: 300\n", "    bus_id: 300\n    id: 300\n", "did you mean `bus_id`?"),
        ("  - name: left mat\n    bus_id: 1", "  - name: left mat", "add `bus_id:` with its bus ID as found on site"),
        (
            "  - name: left mat\n    bus_id: 1",
            "  - name: left mat\n    bus_id: one",
            "write its bus ID as found on site after `bus_id:`",
        ),
        ("through: [boulder box, speed box]", "through: boulder box", "write for example `through: [boulder box]`"),
        ("  - {name: desk", "  - {name: 5", 'put it in quotes: "5"'),
        ("    format: 8N1", "    format: 8N1\n    contention: Random", "did you mean `random`?"),
    ],
)
def test_a_finding_says_how_to_mend_it(old: str, new: str, mend: str) -> None:
    assert GOOD.count(old) >= 1
    assert [finding.mend for finding in found_in(GOOD.replace(old, new, 1)).findings] == [mend]


def test_a_name_declared_twice_is_one_finding_that_names_what_it_may_be() -> None:
    (twice,) = found_in(GOOD.replace("  - name: right mat\n", "  - name: left mat\n", 1)).findings
    assert twice.code == "duplicate-name"
    assert twice.mend == "rename one of the two; line 13 names 'right mat', which is not declared"


def test_many_mistakes_are_all_said_at_once_in_the_order_of_the_file() -> None:
    chosen = ["no baud", "ID not whole", "two at one endpoint", "two groups of one name", "neither on nor through"]
    mistakes = [mistake for mistake in BAD if mistake.what in chosen]
    text = GOOD
    for mistake in mistakes:
        text = text.replace(mistake.old, mistake.new.replace("«", ""), 1)
    findings = found_in(text).findings
    expected = {code for mistake in mistakes for code in mistake.expected}
    assert len(mistakes) == len(chosen)
    assert {(finding.code, finding.field) for finding in findings} == expected
    assert [finding.line for finding in findings] == sorted(finding.line or 0 for finding in findings)


def test_one_wrong_value_does_not_hide_a_misspelt_name_elsewhere() -> None:
    text = GOOD.replace("bus_id: 300", "bus_id: many").replace("master: controller", "master: controler")
    assert [finding.code for finding in found_in(text).findings] == ["wrong-kind", "no-such-master"]


def test_a_misspelt_name_is_not_blamed_on_others() -> None:
    text = GOOD.replace("      - camera: left mat\n", "      - camera: left matt\n")
    assert [finding.code for finding in found_in(text).findings] == ["no-such-camera"]


def test_what_is_no_yaml_is_one_finding() -> None:
    (finding,) = found_in("busim: 1\nname: [\n").findings
    assert (finding.code, finding.file, finding.line) == ("unreadable", "plan.yaml", 3)


def test_a_missing_file_is_one_finding(tmp_path: Path) -> None:
    with pytest.raises(Findings, match="cannot be read"):
        read(tmp_path / "none.yaml")


def test_a_file_of_nothing_but_mistakes_ends_at_a_bound() -> None:
    text = MINIMAL + "cameras: [" + ", ".join("{nmae: x}" for _ in range(3000)) + "]\n"
    assert len(found_in(text).findings) == 500


def test_work_does_not_grow_with_the_square_of_a_large_plan() -> None:
    count = 2500
    cameras = "".join(f"  - {{name: c{n}, bus_id: 1}}\n" for n in range(count))
    order = "".join(f"      - {{camera: c{n}}}\n" for n in range(count))
    masters = "".join(f"  - {{name: m{n}, on: [wall]}}\n" for n in range(count))
    line = "lines:\n  - name: wall\n    baud: 9600\n    format: 8N1\n    protocol: d\n    order:\n" + order
    started = time.process_time()
    findings = found_in(f"busim: 1\nname: x\n{line}cameras:\n{cameras}masters:\n{masters}").findings
    assert len(findings) == 500  # masters that have no position
    assert time.process_time() - started < 20


VALUES = st.recursive(
    st.one_of(
        st.none(),
        st.booleans(),
        st.integers(-(10**30), 10**30),
        st.floats(),
        st.sampled_from(
            ["", " ", "0", "2..0", "2..8 ms", "1e999 ms", "9" * 70 + " Bd", "8E1", "1:1", "::", "terminator", "{x}"]
        ),
        st.sampled_from(
            [
                "AWG 99",
                "1e18 mm2",
                "1/0 s",
                "1/50",
                "٣ W",
                "5..٣ W",
                "..",
                "1 V..",
                "1e9 kΩ",
                "0p",
                "10.0.0.0/33",
                "-1 A",
                "1 µF",
                "\uff11 V",
                "\u202e48 V",
                "1 V\n",
                "192.0.2.٣",
                "1_0_0 ohm",
                "1e-18..1e18 W",
            ]
        ),
        st.text(max_size=8),
    ),
    lambda inner: st.one_of(
        st.lists(inner, max_size=3),
        st.dictionaries(st.sampled_from(["name", "camera", "idle", "driver", "on", "values", "x"]), inner, max_size=3),
    ),
    max_leaves=6,
)


def spots(tree: Any) -> list[tuple[Any, Any]]:
    """Every place of a tree, as its holder and its key."""
    entries = tree.items() if isinstance(tree, dict) else enumerate(tree) if isinstance(tree, list) else ()
    return [spot for key, value in entries for spot in [(tree, key), *spots(value)]]


def tree_of(text: str) -> Any:
    return json.loads(json.dumps(parse(text.replace("8E1", "'8E1'")).value))


@settings(max_examples=250, deadline=None)
@given(st.data())
def test_any_odd_value_anywhere_is_a_plan_or_findings_with_places(data: st.DataObject) -> None:
    tree = tree_of(GOOD + SITE)
    for _ in range(data.draw(st.integers(1, 3))):
        places = spots(tree)
        holder, key = places[data.draw(st.integers(0, len(places) - 1))]
        holder[key] = data.draw(VALUES)
    text = json.dumps(tree).replace("NaN", ".nan").replace("-Infinity", "-.inf").replace("Infinity", ".inf")
    try:
        plan = read_text(text)
    except UserError as error:
        problems = getattr(error, "findings", ())
        complete = all(finding.line and finding.column and finding.what for finding in problems)
    else:
        problems, complete = (), bool(json.dumps(defaults(plan), allow_nan=False))
    assert complete


@settings(max_examples=300, deadline=None)
@given(st.data())
def test_any_damage_to_the_text_is_a_plan_or_findings(data: st.DataObject) -> None:
    text = GOOD + SITE
    for _ in range(data.draw(st.integers(1, 4))):
        start = data.draw(st.integers(0, len(text)))
        length = data.draw(st.integers(0, 12))
        patch = data.draw(
            st.one_of(st.text(max_size=4), st.sampled_from(["\t", "\n", ": ", "- ", "[", "}", "&a", "*a", "!", "'"]))
        )
        text = text[:start] + patch + text[start + length :]
    with contextlib.suppress(Findings):
        read_text(text)


def test_reading_a_plan_loads_neither_numpy_nor_asyncio() -> None:
    program = "import sys, busim.plan; print(sorted({'numpy', 'asyncio', 'matplotlib'} & set(sys.modules)))"
    environment = {**os.environ, "PYTHONPATH": str(TOP)}
    result = subprocess.run(
        [sys.executable, "-c", program], env=environment, capture_output=True, text=True, check=True
    )
    assert result.stdout.strip() == "[]"
