"""Finding the cameras of an emulated line with a laptop at its converter: answers, refusals, results, times."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from places import SCENARIOS

from busim.commissioning.bus_scan import SCAN, SERIALS, SLOTS, BusScan, Ground, follow, scan_bus
from busim.commissioning.scan_methods import Found, by_serial, duplicates, give_ids, most_slotted, scan, slotted
from busim.foundation.errors import UserError
from busim.plan import Plan, read, read_text
from busim.simulator.world import Tool, World, build

FRESH = SCENARIOS / "factory-fresh" / "plan.yaml"
ALL_FRESH = [(1, 4301), (1, 4302), (1, 4303), (1, 4304)]


def scenario(name: str) -> Plan:
    return read(SCENARIOS / name / "plan.yaml")


def line(cameras: list[tuple[int, int]], *, contention: str = "space-wins", turnaround: str = "3..5 ms") -> Plan:
    """Cameras (ID, serial) on one line, five metres apart, behind a converter, without a master."""
    order = "".join(f"      - {{camera: c{n}, after: 5 m}}\n" for n in range(len(cameras)))
    declared = "".join(
        f"  - {{name: c{n}, bus_id: {id}, serial: {serial}, turnaround: {turnaround}}}\n"
        for n, (id, serial) in enumerate(cameras)
    )
    return read_text(f"""
busim: 1
name: one line
lines:
  - name: wall
    baud: 38400 Bd
    format: 8E1
    protocol: modbus-rtu
    contention: {contention}
    order:
      - terminator
      - converter: box
{order}      - terminator
converters:
  - {{name: box, endpoint: "198.51.100.49:15001", packing: {{idle: 4 ms}}, latency: 1 ms}}
cameras:
{declared}""")


def tool_on(plan: Plan, seed: int = 1) -> tuple[World, Tool, Ground]:
    world = build(plan, seed, lambda _: None, played=())
    world.start()
    ground = Ground(plan)
    return world, Tool(world, ground.line.name), ground


def pairs(call: BusScan) -> list[tuple[int, int | None]]:
    return [(row.bus_id, row.serial) for row in call.rows]


# -- listening ---------------------------------------------------------------------------------------------------------


def test_nothing_is_sent_where_a_controller_polls_through_the_same_converter() -> None:
    call = scan_bus(scenario("two-masters"))
    assert not call.ok
    assert not call.quiet.safe
    assert call.quiet.at is not None
    assert call.quiet.at < 100_000_000
    assert call.polled == (1, 2, 3)
    assert (call.rows, call.ways, call.way) == ((), (), "")


def test_a_forgotten_laptop_that_begins_later_is_heard_by_who_listens_as_long_as_the_slowest_poll() -> None:
    plan = scenario("two-masters")
    call = scan_bus(plan, stopped=["controller"])
    assert not call.quiet.safe
    assert call.quiet.at is not None
    assert 5_000_000_000 < call.quiet.at < call.listening  # it starts at 5 s
    assert {request.address for request in call.quiet.requests} == set(call.polled) == {1, 2}


def test_who_listened_too_briefly_stops_when_somebody_begins_to_ask() -> None:
    call = scan_bus(scenario("two-masters"), stopped=["controller"], listening=1_000_000_000, way=SCAN)
    assert call.quiet.safe
    assert call.others is not None
    assert call.others.at > 4_900_000_000
    assert call.others.requests
    assert not call.ok


def test_the_slowest_poll_of_the_plan_says_how_long_is_listened() -> None:
    plan = scenario("climbing-hall")
    assert Ground(plan).listening == 6_250_000_000  # a master offline probes every 5 s; a quarter more
    slow = replace(plan.masters[0], groups=(replace(plan.masters[0].groups[0], every=20_000_000_000),))
    ground = Ground(replace(plan, masters=(slow,)))
    assert ground.listening == 25_000_000_000
    assert "slowest poll" in ground.why


# -- finding -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("way", [SLOTS, SERIALS])
def test_factory_fresh_all_are_found_although_all_share_one_id(way: str) -> None:
    call = scan_bus(read(FRESH), stopped=["controller"], way=way)
    assert pairs(call) == ALL_FRESH
    assert all(row.sure and row.model == "zoom-camera" for row in call.rows)
    assert [row.where.split("'")[1] for row in call.rows] == [
        "first out of the box", "second out of the box", "third out of the box", "fourth out of the box",
    ]  # fmt: skip
    assert not call.ok


def test_factory_fresh_a_scan_finds_one_id_and_the_closer_look_all_serials_at_it() -> None:
    call = scan_bus(read(FRESH), stopped=["controller"], way=SCAN)
    assert pairs(call) == ALL_FRESH
    (look,) = call.looks
    assert look.proven
    assert "4 serial numbers answer under it, each asked alone" in look.seen
    assert len(next(way for way in call.ways if way.name == SCAN).hidden) == 4  # the scan alone told none apart


def test_factory_fresh_ids_are_given_by_serial_one_after_the_other() -> None:
    world, tool, ground = tool_on(read(FRESH))
    wanted = [(4301, 11), (4302, 12), (4303, 13), (4304, 14)]
    given_ = follow(tool, give_ids(ground.protocol, ground.pace, wanted)).result
    assert given_ is not None
    assert all(one.done for one in given_)
    assert [port.camera.bus_id for port in world.cameras.values()] == [11, 12, 13, 14]
    again = follow(tool, scan(range(1, 20), 101, ground.pace, counter=102)).result
    assert again is not None
    assert again.found == tuple(Found(id, serial) for serial, id in wanted)
    assert not any(doubt.sure for doubt in again.doubts)


def test_two_cameras_with_one_id_whose_replies_collide_and_still_decode_cleanly_are_flagged() -> None:
    """The nearer driver wins and both answer at the same instant: each reading is sound, and of the nearer one."""
    plan = line([(5, 4301), (5, 4302)], contention="nearer-wins", turnaround="4 ms")
    _, tool, ground = tool_on(plan)
    scanned = follow(tool, scan([5], 101, ground.pace, counter=102)).result
    assert scanned is not None
    assert [(doubt.sure, doubt.seen) for doubt in scanned.doubts] == [
        (False, "one serial each time: a second camera may be hidden behind it")
    ]
    look = follow(tool, duplicates(5, 101, ground.pace, ground.protocol, counter=102)).result
    assert look is not None
    assert (look.serials, look.proven) == ((4301, 4302), True)
    assert look.seen == ("2 serial numbers answer under it, each asked alone",)
    for way in (SCAN, SLOTS, SERIALS):
        call = scan_bus(plan, way=way)
        assert pairs(call) == [(5, 4301), (5, 4302)]
        assert all(row.sure for row in call.rows)


def test_where_a_protocol_has_no_searches_a_scan_says_that_cameras_may_be_hidden() -> None:
    call = scan_bus(scenario("lines-of-text"), stopped=["controller"])
    assert call.way == SCAN
    assert call.ok
    assert all("may be hidden" in row.doubt and not row.sure for row in call.rows)
    assert [way.name for way in call.ways if way.missing] == [SLOTS, SERIALS]
    with pytest.raises(UserError, match="no such way"):
        scan_bus(scenario("lines-of-text"), stopped=["controller"], way=SERIALS)


def test_a_model_that_answers_no_search_is_named_as_one_for_the_scan() -> None:
    text = line([(1, 4301), (2, 4302)]).source.replace("name: c1, ", "name: c1, model: slow-motion-camera, ")
    call = scan_bus(read_text(text))
    assert "add a scan" in call.advice
    assert "c1" in call.advice
    assert [(row.doubt, row.sure) for row in call.rows] == [
        ("a camera that answers no search may share this ID", False)
    ]
    assert next(way for way in call.ways if way.name == SERIALS).hidden == ("c1",)


def test_an_arbitrating_converter_brings_no_answers_to_searches() -> None:
    text = FRESH.read_text().replace("clients: 4", "clients: {most: 4, sharing: arbitrated}")
    ground = Ground(read_text(text))
    assert ground.ways == (SCAN,)
    assert "arbitrates" in ground.missing[SERIALS]


def test_where_replies_need_longer_slots_than_a_search_can_ask_for_the_serials_are_halved_instead() -> None:
    plan = line([(5, 4190), (6, 4191)], turnaround="0..7 s")  # a slot is 16 bits of 0.1 ms: at most 6.5535 s
    told = scan_bus(plan)
    assert told.way == SERIALS
    assert pairs(told) == [(5, 4190), (6, 4191)]
    (slots,) = [way for way in told.ways if way.name == SLOTS]
    assert "longer than a search of modbus-rtu allows" in slots.missing


def test_a_line_without_a_converter_has_no_place_for_a_laptop() -> None:
    text = FRESH.read_text().replace("      - converter: new box\n", "      - {master: controller, after: 1 m}\n")
    text = text.replace("    through: [new box]\n", "    on: [new chain]\n")
    text = text[: text.index("converters:")] + text[text.index("cameras:\n  #") :]
    with pytest.raises(UserError, match="no converter"):
        Ground(read_text(text))
    with pytest.raises(UserError, match="no such line"):
        Ground(read(FRESH), "nowhere")


# -- computed beside simulated -----------------------------------------------------------------------------------------


def test_computed_and_simulated_times_are_those_of_the_same_questions() -> None:
    call = scan_bus(scenario("climbing-hall"), stopped=["controller"])
    for way in call.ways:
        assert way.took is not None
        assert way.best <= way.took <= way.most
        if way.name == SCAN:
            assert way.took == way.mean


def test_the_mean_of_slots_is_met_on_the_line() -> None:
    """Equal turnarounds, so all collisions are garbled, as the computation assumes."""
    took, computed = [], 0.0
    for serial in range(1000, 1100):
        plan = line([(1, serial * 1000 + 77 * n) for n in range(4)], turnaround="4 ms")
        _, tool, ground = tool_on(plan, serial)
        done = follow(tool, slotted(ground.protocol, ground.pace, ground.slots))
        took.append(done.length)
        call = next(way for way in scan_bus(plan).ways if way.name == SLOTS) if not computed else None
        computed = call.mean if call is not None else computed
        assert done.length <= most_slotted(4, ground.slots, ground.pace)
    # 100 draws; the standard deviation of one is a third of the mean, so 3 standard errors are 0.1 of it
    assert sum(took) / len(took) == pytest.approx(computed, rel=0.1)


sites = st.dictionaries(st.one_of(st.integers(4300, 4312), st.integers(0, 2**32 - 1)), st.integers(1, 4), min_size=1,
                        max_size=6)  # fmt: skip


contentions = st.sampled_from(["space-wins", "random", "nearer-wins"])


@given(sites, contentions, st.sampled_from(["4 ms", "3..5 ms", "0..40 ms"]))
@settings(max_examples=20, deadline=None)
def test_on_the_line_every_camera_is_found_by_serials_and_in_slots(
    cameras: dict[int, int], contention: str, turnaround: str
) -> None:
    plan = line([(id, serial) for serial, id in cameras.items()], contention=contention, turnaround=turnaround)
    there = tuple(Found(id, serial) for serial, id in sorted(cameras.items()))
    _, tool, ground = tool_on(plan)
    for procedure in (by_serial(ground.protocol, ground.pace), slotted(ground.protocol, ground.pace, ground.slots)):
        result = follow(tool, procedure).result
        assert result is not None
        assert result.found == there


def test_planned_cameras_that_were_not_found_are_named_and_are_a_fault_unless_planned_as_absent() -> None:
    wall = line([(1, 4301), (2, 4302), (3, 4303)])
    for way in (SCAN, SERIALS):
        assert scan_bus(wall, way=way).unseen == ()
        lost = scan_bus(replace_camera(wall, "serial: 4302", "serial: 4302, present: false"), way=way)
        assert [(one.name, one.bus_id, one.metres, one.present) for one in lost.unseen] == [("c1", 2, 10.0, False)]
        assert lost.ok
    deaf = scan_bus(replace_camera(wall, "serial: 4302", "serial: 4302, driver: {baud: 9600 Bd}"), way=SERIALS)
    assert [one.name for one in deaf.unseen] == ["c1"]
    assert not deaf.ok
    assert deaf.as_json()["not_found"][0]["camera"] == "c1"


def replace_camera(plan: Plan, old: str, new: str) -> Plan:
    assert plan.source.count(old) == 1
    return read_text(plan.source.replace(old, new))
