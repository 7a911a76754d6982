"""Rules about cables and supplies: their numbers against other computations, and on plans of every shape."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from places import SCENARIOS, TOP

from busim.analysis.check import SOUND, all_rules, check, edited
from busim.analysis.check.figures import beyond
from busim.foundation.diagnostics import Finding
from busim.physics.electric import WARM, chain, copper
from busim.plan import read_text

LINE = "    baud: 38400 Bd\n"


def findings(*edits: tuple[str, str], rule: str = "") -> list[Finding]:
    found = check(read_text(edited(edits), "plan.yaml")).findings
    return [one for one in found if not rule or one.code == rule]


def only(*edits: tuple[str, str], rule: str) -> Finding:
    (found,) = findings(*edits, rule=rule)
    return found


def both_terminators(told: str) -> list[tuple[str, str]]:
    end = f"{{terminator: true, {told}}}"
    return [
        ("      - terminator\n      - converter: boulder", f"      - {end}\n      - converter: boulder"),
        ("mats, after: 14 m}\n      - terminator", f"mats, after: 14 m}}\n      - {end}"),
    ]


# -- two published figures -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("edits", "rule", "sources"),
    [
        ([("finish, after: 12 m", "finish, after: 900 m, gauge: AWG 16")], "length-times-rate", ("widely", "sec. 9")),
        ([("finish, after: 12 m", "finish, after: 100 m")], "length-times-rate-cautious", ("widely", "sec. 9")),
        ([("mats, bus_id: 4", "mats, unit_load: 14, bus_id: 4")], "unit-loads-beside-bias", ("sec. 8", "V1.02, 3.4.6")),
        ([("mats, bus_id: 4", "mats, unit_load: 29, bus_id: 4")], "unit-loads-beside-bias", ("sec. 8", "V1.02, 3.4.6")),
        ([("18 m, stub: 0.3 m", "18 m, stub: 5 m")], "stub-too-long", ("SLLA272", "V1.02, 3.4.3")),
        ([("mats, after: 14 m", "mats, after: 200 m, gauge: AWG 30")], "wire-thin-for-length", ("SLLA272", "V1.02")),
        (both_terminators("ohms: 60 ohm")[1:], "terminator-ohms", ("SLLA272", "V1.02, 3.4.5")),
    ],
)
def test_figures_that_disagree_are_both_shown_with_their_sources(
    edits: list[tuple[str, str]], rule: str, sources: tuple[str, str]
) -> None:
    expected = only(*edits, rule=rule).expected or ""
    assert [source for source in sources if source not in expected] == []


def test_which_of_the_two_figures_a_line_keeps_is_said() -> None:
    between = only(("mats, bus_id: 4", "mats, unit_load: 14, bus_id: 4"), rule="unit-loads-beside-bias").expected or ""
    beyond = only(("mats, bus_id: 4", "mats, unit_load: 29, bus_id: 4"), rule="unit-loads-beside-bias").expected or ""
    assert (between.count(": kept"), between.count(": not kept")) == (1, 1)
    assert beyond.count(": not kept") == 2


# -- terminators ---------------------------------------------------------------------------------------------


def test_exactly_two_at_the_two_ends_as_the_line_are_right_and_nothing_else_is() -> None:
    """Exactly two, at the two ends, each equal to the line's impedance.

    TI SLLA272 sec. 6; AN-960; MODBUS V1.02, 3.4.5.
    """
    last = "mats, after: 14 m}\n      - terminator"
    middle = ("9 m, stub: 0.3 m}\n", "9 m, stub: 0.3 m}\n      - terminator\n")
    for edits, rules in (
        ([], []),
        ([(last, "mats, after: 14 m}")], ["terminators-not-two"]),
        ([(last, f"{last}\n      - terminator")], ["terminators-not-two"]),
        ([(last, "mats, after: 14 m}"), middle], ["terminator-in-mid-line"]),
        ([middle], ["terminator-in-mid-line", "terminators-not-two"]),
        ([("mats, bus_id: 4", "mats, terminator: true, bus_id: 4")], ["built-in-terminator"]),
        (both_terminators("ohms: 119 ohm"), []),
        (both_terminators("ohms: 75 ohm"), ["terminator-ohms"] * 2),
    ):
        assert sorted(one.code for one in findings(*edits)) == rules


def test_terminators_of_150_ohm_suit_a_modbus_line_and_no_other() -> None:
    """MODBUS over Serial Line V1.02, 3.4.5: 150 ohm."""
    both = both_terminators("ohms: 150 ohm")
    assert findings(*both, rule="terminator-ohms") == []
    assert len(findings(both[0], rule="terminator-ohms")) == 1  # 150 and 120: one of them is wrong
    text = edited(tuple(both)).replace("protocol: modbus-rtu", "protocol: tagged")
    found = [one for one in check(read_text(text)).findings if one.code == "terminator-ohms"]
    assert len(found) == 2


def test_a_built_in_terminator_beside_another_at_the_same_end_is_one_too_many() -> None:
    found = only(("mats, bus_id: 4", "mats, terminator: true, bus_id: 4"), rule="built-in-terminator")
    assert "at an end that has a terminator" in found.what


def test_an_end_without_a_terminator_is_named_by_its_metres() -> None:
    found = only(("mats, after: 14 m}\n      - terminator", "mats, after: 14 m}"), rule="terminators-not-two")
    assert "none at 41 m" in (found.found or "")


# -- bias ----------------------------------------------------------------------------------------------------


def test_the_undriven_voltage_is_that_of_the_network() -> None:
    """Without copper the closed form holds (derived from TI SLLA272 sec. 7): 1 + 3/8 unit loads, two 120 ohm."""
    edits = [(LINE, LINE + "    bias: {at: [boulder box], ohms: 2 kohm}\n"), *WITHOUT_CABLE]
    found = only(*edits, rule="bias-too-weak").found or ""
    volts = 5 / (1 + 2000 * ((1 + 3 / 8) / 12_000 + 4 / 120))
    assert f"{volts * 1000:.0f} mV" in found


WITHOUT_CABLE = [
    ("boulder left, after: 18 m, stub: 0.3 m", "boulder left, after: 0"),
    ("boulder right, after: 9 m, stub: 0.3 m", "boulder right, after: 0"),
    ("boulder mats, after: 14 m", "boulder mats, after: 0"),
]


def test_a_long_thin_cable_takes_the_bias_away_at_its_far_end() -> None:
    bias = (LINE, LINE + "    bias: {at: [boulder box], ohms: 560 ohm}\n")
    assert findings(bias, rule="bias-too-weak") == []
    found = only(bias, ("mats, after: 14 m", "mats, after: 200 m, gauge: AWG 28"), rule="bias-too-weak")
    assert "'boulder mats'" in found.what


def test_terminators_with_a_capacitor_carry_no_bias() -> None:
    """120 ohm + 1 nF beside a bias: MODBUS over Serial Line V1.02, 3.4.5."""
    weak = (LINE, LINE + "    bias: {at: [boulder box], ohms: 2 kohm}\n")
    assert len(findings(weak, rule="bias-too-weak")) == 1
    assert findings(weak, *both_terminators("capacitor: 1 nF"), rule="bias-too-weak") == []


# -- supplies ------------------------------------------------------------------------------------------------


def fed_along_the_line(at: str, gauge: int) -> list[tuple[str, str]]:
    return [
        (LINE, f"{LINE}    cable: {{supply_gauge: AWG {gauge}}}\n"),
        ("    fuse: 5 A\n    cable: {length: 2 m, gauge: AWG 14}\n", f"    fuse: 5 A\n    at: {at}\n"),
    ]


def test_a_supply_at_the_converter_feeds_down_the_line() -> None:
    """The voltages are those of a chain with 18, 9 and 14 m of the supply pair at 75 C, stranded copper by ASTM B258
    and B8 (from memory)."""
    found = findings(*fed_along_the_line("boulder box", 16), rule="voltage-below-minimum")
    loops = [0.0, *(2 * metres * copper(16, conductor="stranded") * 1.2162 for metres in (18, 9, 14))]
    volts = chain(13.8, loops, [5, 8, 8, 8]).volts  # type: ignore[union-attr]
    below = [f"{each:.1f} V" for each in volts[1:] if each < 10.5]
    assert [(one.found or "").split(" with")[0] for one in found] == below
    expected = {name for name, each in zip(("left", "right", "mats"), volts[1:], strict=True) if each < 10.5}
    assert {one.what.split("'")[1].removeprefix("boulder ") for one in found} == expected


def test_a_flexible_supply_pair_drops_more_than_a_stranded_one() -> None:
    """13.3 and 12.1 ohm/km at 1.5 mm2: IEC 60228, maxima of classes 5 and 2 (from memory)."""
    _, feed = fed_along_the_line("boulder right", 16)
    dropped = []
    for conductor in ("stranded", "flexible"):
        cable = f"    cable: {{supply_gauge: 1.5 mm2, conductor: {conductor}}}\n"
        found = findings((LINE, LINE + cable), feed, rule="voltage-drop")
        dropped.append(float((found[0].found or "").split()[0]))
    assert dropped[1] > dropped[0]


def test_a_supply_in_mid_line_feeds_both_ways_and_drops_less() -> None:
    end = findings(*fed_along_the_line("boulder box", 16), rule="voltage-drop")
    middle = findings(*fed_along_the_line("boulder right", 16), rule="voltage-drop")
    down = chain(13.8, [0.0, 2 * 14 * copper(16, WARM, "stranded")], [8, 8]).volts  # type: ignore[union-attr]
    up = chain(13.8, [2 * 9 * copper(16, WARM, "stranded"), 2 * 18 * copper(16, WARM, "stranded")], [8, 5]).volts  # type: ignore[union-attr]
    lost = 13.8 - min(*down, *up)
    assert f"{lost:.2g} V of 13.8 V" in (middle[0].found or "")
    assert float((end[0].found or "").split()[0]) > lost


def test_a_supply_at_a_box_of_several_ports_feeds_the_lines_of_all_of_them() -> None:
    edits = [
        ("    endpoint: 198.51.100.44:15001", "    endpoint: 198.51.100.44:15001\n    box: hall rack\n    box_port: 1"),
        ("    endpoint: 198.51.100.45:15001", "    endpoint: 198.51.100.45:15001\n    box: hall rack\n    box_port: 2"),
        ("  - name: speed supply\n", "  - name: speed supply\n    at: hall rack\n"),
    ]
    found = [one.code for one in findings(*edits)]
    assert "feed-way-unknown" not in found
    assert "supply-collapses" in found  # 36 m of AWG 24, which is what the line has, from the rack's port on


def test_what_the_plan_says_of_power_counts_more_than_the_model() -> None:
    thirsty = ("mats, bus_id: 4", "mats, power: {peak: 60 W}, bus_id: 4")
    assert [one.code for one in findings(thirsty)] != []
    assert findings(("mats, bus_id: 4", "mats, power: {idle: 4..5 W, peak: 6..8 W}, bus_id: 4")) == []


def test_a_plan_without_supplies_is_not_asked_for_any() -> None:
    text = SOUND[: SOUND.index("supplies:")]
    assert [one.code for one in check(read_text(text)).findings] == []


def test_a_check_says_that_a_turnaround_is_the_model_s() -> None:
    mixed = SOUND.replace(", turnaround: 2..6 ms", "").replace("mats, bus_id: 4", "mats, model: minicam, bus_id: 4")
    said = " | ".join(check(read_text(mixed)).assumed)
    assert "a turnaround of 5 ms to 9 ms for 5 of 5 cameras: not written, from their models" in said


def test_a_check_says_what_its_cables_and_supplies_stand_on() -> None:
    said = " | ".join(check(read_text(SOUND, "plan.yaml")).assumed)
    assert "wires of AWG 24 for 2 of 2 lines: not written" in said
    assert "a bias strong enough on 2 of 2 lines" in said
    assert "5 W for 2 of 2 converters: not written" in said
    assert "copper at 75 C" in said
    written = edited(((LINE, f"{LINE}    cable: {{gauge: AWG 22}}\n    bias: {{at: [boulder box], ohms: 560 ohm}}\n"),))
    said = " | ".join(check(read_text(written, "plan.yaml")).assumed)
    assert "wires of AWG 24 for 1 of 2 lines" in said
    assert "strong enough on 1 of 2 lines" in said


# -- an opened chain -----------------------------------------------------------------------------------------


def test_the_note_on_an_opened_chain_says_who_goes_with_whom() -> None:
    found = only(
        ("boulder left, after: 18 m, stub: 0.3 m", "boulder left, after: 18 m"),
        ("boulder right, after: 9 m, stub: 0.3 m", "boulder right, after: 9 m"),
        rule="opened-chain",
    ).found
    assert "'boulder left' disconnects 'boulder right', 'boulder mats'; 'boulder right' disconnects 'boulder mats'" in (
        found or ""
    )


def test_cameras_that_stay_on_the_pair_may_lose_their_supply() -> None:
    found = only(
        *fed_along_the_line("boulder mats", 4),
        ("boulder right, after: 9 m, stub: 0.3 m", "boulder right, after: 9 m"),
        rule="opened-chain",
    ).found
    assert found is not None
    assert "'boulder right' disconnects 'boulder mats' and cuts the supply of 'boulder box', 'boulder left'" in found


def test_of_a_long_chain_only_the_first_cameras_are_told_one_by_one() -> None:
    lines = (SCENARIOS / "climbing-hall" / "plan.yaml").read_text(encoding="utf-8")
    more = "".join(f"      - {{camera: more {number}, after: 9 m}}\n" for number in range(9))
    cameras = "".join(f"  - {{name: more {number}, bus_id: {30 + number}}}\n" for number in range(9))
    text = lines.replace("      - camera: boulder centre\n", f"{more}      - camera: boulder centre\n", 1)
    plan = read_text(text.replace("\nmasters:\n", f"{cameras}\nmasters:\n"), "plan.yaml")
    found = next(one.found or "" for one in check(plan).findings if one.code == "opened-chain")
    assert len(found) < 500
    assert found.endswith("; 9 more alike; the open end reflects")


def test_between_two_masters_a_camera_unplugged_leaves_two_lines() -> None:
    text = (SCENARIOS / "two-masters" / "plan.yaml").read_text(encoding="utf-8")
    found = next(one.found for one in check(read_text(text)).findings if one.code == "opened-chain")
    assert "'wall low' splits the line in two, each with a master;" in (found or "")


# -- lengths and rates in the words of the site --------------------------------------------------------------


@pytest.mark.parametrize(("metres", "silent"), [(1.5, True), (12, False)])
def test_a_cable_on_the_table_needs_no_terminators(metres: float, silent: bool) -> None:
    bare = (
        ("      - terminator\n      - converter: speed", "      - converter: speed"),
        ("start, after: 24 m, stub: 0.3 m", f"start, after: {metres} m"),
        ("finish, after: 12 m}\n      - terminator", "finish, after: 0.3 m}"),
    )
    assert (findings(*bare, rule="terminators-not-two") == []) is silent


def test_lengths_and_bauds_are_written_without_powers_of_ten() -> None:
    slow = findings(
        (LINE, "    baud: 9600 Bd\n"), ("mats, after: 14 m", "mats, after: 1100 m"), rule="length-times-rate-cautious"
    )
    assert "at most 1042 m by" in (slow[0].expected or "")
    fast = findings((LINE, "    baud: 1500 kBd\n"), rule="length-times-rate") or findings(
        (LINE, "    baud: 1500 kBd\n"), rule="length-times-rate-cautious"
    )
    assert "1500000 Bd" in (fast[0].found or "")


@pytest.mark.parametrize(
    ("value", "bound", "said"),
    [(10.46, 10.5, "10.46"), (12.0004, 12, "12.0004"), (8.9, 10.5, "8.9"), (1234.5, 30, "1230")],
)
def test_what_breaks_a_bound_is_written_with_the_digits_that_show_it(value: float, bound: float, said: str) -> None:
    assert beyond(value, bound) == said


def test_a_fuse_is_held_against_the_wire_as_the_plan_has_it() -> None:
    fuse = ("fuse: 5 A\n    cable: {length: 2 m, gauge: AWG 14}", "fuse: 25 A\n    cable: {length: 2 m, gauge: WIRE}")
    for gauge, said in (
        ("0.75 mm2", "25 A, the thinnest wire is 0.75 mm2"),
        ("AWG 18", "25 A, the thinnest wire is AWG 18"),
    ):
        found = findings((fuse[0], fuse[1].replace("WIRE", gauge)), rule="fuse-over-gauge")
        assert said in (found[0].found or "")


def test_of_one_camera_that_cannot_start_it_is_not_said_that_it_is_the_lowest_of_one() -> None:
    text = (TOP / "busim" / "plan" / "starter.yaml").read_text(encoding="utf-8")
    text = text.replace("NAME", "thin").replace("supply_gauge: AWG 16", "supply_gauge: AWG 20")
    text = text.replace("serial: 4102", "serial: 4102\n    power: {idle: 3 W, peak: 6 W, start_up: 20 W}")
    found = [one for one in check(read_text(text)).findings if one.code == "start-up-below-minimum"]
    assert "lowest of" not in (found[0].found or "")


# -- rates of pictures ---------------------------------------------------------------------------------------


def test_where_no_frame_rate_is_the_usual_one_each_is_held_against_the_first() -> None:
    rates = {"boulder left, bus_id: 2": "50p", "boulder right, bus_id: 3": "25p", "boulder mats, bus_id: 4": "60p"}
    found = findings(
        *((told, told.replace(", bus_id", f", frame_rate: {rate}, bus_id")) for told, rate in rates.items()),
        rule="frame-rates-differ",
    )
    assert {(one.found, one.expected) for one in found} == {
        ("25p (planned)", "50p, as 'boulder left'"),
        ("60p (planned)", "50p, as 'boulder left'"),
    }


def test_a_camera_alone_on_its_line_needs_no_broadcast() -> None:
    assert findings(("every: 250 ms", "every: 100 ms"), rule="broadcast-breaks-pace")
    text = (TOP / "busim" / "plan" / "starter.yaml").read_text(encoding="utf-8")
    one = text.replace("NAME", "alone").replace("      - camera: right camera\n        after: 10 m\n", "")
    one = one[: one.index("  - name: right camera")] + one[one.index("masters:") :]
    one = one.replace(", right camera]", "]").replace("every: 200 ms", "every: 100 ms")
    assert "broadcast-breaks-pace" not in {found.code for found in check(read_text(one)).findings}


# -- every rule ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", [name for name, rule in all_rules().items() if rule.area == "cautions"])
def test_a_caution_says_so_and_defers_to_the_local_code(name: str) -> None:
    rule = all_rules()[name]
    assert rule.explanation.startswith("Caution.")
    assert "local code" in rule.source + rule.advice
    assert any(word in rule.source + rule.advice for word in ("licensed", "qualified", "responsible"))


@pytest.mark.parametrize("name", ["fuse-below-peak", "fuse-over-gauge", "voltage-drop", "supply-limit-exceeded"])
def test_what_touches_fuses_and_cables_defers_to_whoever_is_licensed(name: str) -> None:
    advice = all_rules()[name].advice
    assert "local code" in advice
    assert "licensed electrician" in advice


metres = st.sampled_from(["0", "0.000000000001 m", "3 m", "45 m", "900 m", "10 km"])
gauges = st.sampled_from(["AWG 0", "AWG 24", "AWG 40"])
ohms = st.sampled_from(["0.001 ohm", "60 ohm", "120 ohm", "1000 kohm"])
volts = st.sampled_from(["0.001 V", "5 V", "13.8 V", "44..57 V", "1000 V"])
weak = st.sampled_from(["0.1 V", "5 V"])
watts = st.sampled_from(["0", "0.001 W", "8 W", "100..1000 W", "1000 kW"])


@st.composite
def plans(draw: st.DrawFn) -> str:
    """The sound plan with lengths, resistors, switches and supplies turned to anything that a plan may say."""
    text = SOUND
    for length in ("18 m", "9 m", "14 m", "24 m", "12 m"):
        text = text.replace(f"after: {length}", f"after: {draw(metres)}, gauge: {draw(gauges)}")
    text = text.replace("stub: 0.3 m", f"stub: {draw(metres)}")
    ends = ["      - terminator\n", f"      - {{terminator: true, ohms: {draw(ohms)}}}\n", ""]
    text = text.replace("      - terminator\n", draw(st.sampled_from(ends)))
    bias = draw(st.sampled_from(["true", "false", f"{{at: [boulder box], ohms: {draw(ohms)}, volts: {draw(weak)}}}"]))
    cable = f"{{impedance: {draw(ohms)}, supply_gauge: {draw(gauges)}}}"
    text = text.replace(LINE, f"{LINE}    bias: {bias}\n    cable: {cable}\n")
    state = draw(st.sampled_from(["passes", "loads", "cuts"]))
    switch = draw(st.sampled_from(["true", "false"]))
    text = text.replace(
        "right, bus_id: 3",
        f"right, unpowered: {state}, terminator: {switch}, bias: {switch}, power: {draw(watts)}, bus_id: 3",
    )
    at = draw(st.sampled_from(["", "    at: boulder right\n", "    at: speed box\n"]))
    return text.replace("voltage: 13.8 V\n", f"voltage: {draw(volts)}\n{at}")


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(plans())
def test_rules_have_an_answer_to_every_plan_that_can_be_read(text: str) -> None:
    for finding in check(read_text(text, "plan.yaml")).findings:
        assert finding.found
        assert finding.expected
        assert "nan" not in finding.found.split()


@pytest.mark.parametrize(("baud", "arbitrary"), [("57600 Bd", True), ("28800 Bd", True), ("38400 Bd", False)])
def test_at_an_exact_even_ratio_of_bauds_what_a_camera_hears_is_called_arbitrary(baud: str, arbitrary: bool) -> None:
    """A sample in the middle of a bit twice or four times as long lies on an edge of the others' bits (by counting)."""
    camera = "speed finish, bus_id: 22, serial: 4105, turnaround: 2..6 ms"
    found = only((camera, f"{camera}, driver: {{baud: {baud}}}"), rule="camera-baud-differs")
    assert ("arbitrary" in found.found) is arbitrary


@pytest.mark.parametrize(("baud", "arbitrary"), [("230400 Bd", True), ("57600 Bd", False), ("76800 Bd", False)])
def test_at_an_exact_even_ratio_what_cameras_hear_of_their_asker_is_called_arbitrary(
    baud: str, arbitrary: bool
) -> None:
    """The cameras at 115200 Bd listen; at half that baud it is the asker whose samples lie on edges, and none answers
    it.
    """
    box = "    packing: {idle: 2 ms, length: 0}\n    latency: 1 ms\n    clients: {most: 4}"
    found = only((box, f"{box}\n    driver: {{baud: {baud}}}"), rule="asker-set-otherwise")
    assert ("each of the cameras' samples" in found.found) is arbitrary


# -- advice that leads somewhere ------------------------------------------------------------------------------


def test_no_resistor_is_said_to_mend_a_third_terminator() -> None:
    bias = ("    baud: 38400 Bd\n", "    baud: 38400 Bd\n    bias: {at: [boulder box], ohms: 560 ohm}\n")
    third = ("      - {camera: boulder right", "      - terminator\n      - {camera: boulder right")
    found = {one.code for one in findings(bias, third) if one.severity != "note"}
    assert found == {"terminators-not-two", "terminator-in-mid-line"}


def test_a_supply_below_the_least_voltage_is_not_answered_with_a_thicker_cable() -> None:
    low = [one for one in findings(("voltage: 13.8 V", "voltage: 9 V")) if one.code == "voltage-below-minimum"]
    assert low
    assert all("No cable mends this" in (one.mend or "") for one in low)


def test_an_unknown_model_is_one_mistake() -> None:
    unknown = ("boulder mats, bus_id: 4", "boulder mats, model: zoomcamera, bus_id: 4")
    assert [one.code for one in findings(unknown)] == ["unknown-model"]


def test_a_panel_camera_with_none_of_the_polled_values_is_told() -> None:
    head = ("speed start, bus_id: 21", "speed start, model: pan-tilt-head, bus_id: 21")
    slow = ("values: [tally, temperature]", "values: [gain]")
    assert len(findings(head, slow, rule="panel-camera-not-polled")) == 1
    misspelt = ("values: [tally, temperature]", "values: [pann]")
    assert findings(head, misspelt, rule="panel-camera-not-polled") == []


def test_bauds_that_every_model_on_the_line_has_are_named() -> None:
    mixed = ("boulder mats, bus_id: 4", "boulder mats, model: minicam, bus_id: 4")
    mend = only(mixed, ("    baud: 38400 Bd", "    baud: 57600 Bd"), rule="baud-not-of-model").mend or ""
    assert "9600 or 38400 or 115200 Bd" in mend
