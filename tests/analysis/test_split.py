"""A plan split over its converters: the result holds by budget and check, or gives the reason."""

from __future__ import annotations

import io
import json
import sys
import time
from collections import Counter
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from drawn_plans import drawn
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from places import SCENARIOS
from ruamel.yaml import YAML
from split_plans import hall
from typer.testing import CliRunner

from busim.analysis.budget import PollSchedule, cases
from busim.analysis.check import Survey, check
from busim.analysis.diff import diff
from busim.analysis.split import More, Split, Wishes, split, written
from busim.analysis.split.asking import asked
from busim.cli.app import app
from busim.foundation.errors import UserError
from busim.foundation.yaml_source import Blocks, parse
from busim.installation import resolve
from busim.plan import Plan, read, read_text

HALL = SCENARIOS / "climbing-hall" / "plan.yaml"
TEXT = HALL.read_text(encoding="utf-8")


def block_style(text: str) -> str:
    """YAML as people write it, from JSON."""
    stream = io.StringIO()
    YAML(typ="safe", pure=True).dump(json.loads(text), stream)
    return stream.getvalue()


def check_holds(plan: Plan, found: Split, wishes: Wishes) -> None:
    """Every camera once, and what budget and checks say of the new plan is within what was wished."""
    new = found.new_plan
    assert new is not None
    names = [stop.name for line in found.lines for stop in line.stops if stop.kind == "camera"]
    assert len(names) == len(set(names))
    assert set(names) <= {camera.name for camera in plan.cameras}
    on = Counter(at.name for line in new.lines for at in line.order if at.kind == "camera")
    assert on == Counter(camera.name for camera in plan.cameras)
    for line in found.lines:
        assert line.headroom >= wishes.headroom - 1e-9
        assert line.unit_loads <= 32
        assert line.metres <= line.reach
        assert line.metres == pytest.approx(sum(stop.after for stop in line.stops))
        if line.limit is not None and line.watts is not None:
            assert line.watts <= line.limit
        if line.lowest is not None and line.needed is not None:
            assert line.lowest >= line.needed
    survey = Survey(resolve(new))
    for wire in survey.wires:
        ids = [one.camera.bus_id for one in wire.cameras]
        assert len(ids) == len(set(ids)) or wire.line.name in found.alone
    was, now = ({one.code for one in check(whole).findings if one.severity == "error"} for whole in (plan, new))
    assert now <= was


# -- the climbing hall ------------------------------------------


def test_the_climbing_hall_is_split_over_the_fewest_converters_and_what_is_well_stays_as_it_is() -> None:
    plan = read(HALL)
    found = split(plan)
    check_holds(plan, found, Wishes())
    assert [line.name for line in found.lines] == ["boulder line", "rope line"]
    assert found.unused == ("speed box",)
    assert found.lines[0].unchanged
    assert [stop.planned for stop in found.lines[0].stops] == [True] * 5
    assert found.proven


def test_with_the_rates_that_it_cannot_do_the_hall_says_how_many_lines_it_needs() -> None:
    found = split(read(HALL), Wishes(targets={"fast": 100_000_000}))
    assert found.new_plan is None
    assert found.left_over
    assert found.why.startswith("not enough ports: at least")
    assert "load of" in found.why


def test_the_written_hall_keeps_its_comments_and_says_of_each_camera_what_it_took_along() -> None:
    plan = read(HALL)
    text = written(plan, split(plan))
    new = read_text(text, str(HALL))
    gone = {line.strip() for line in TEXT.splitlines()} - {line.strip() for line in text.splitlines()}
    comments = {line.partition("# ")[2] for line in gone if "# " in line}
    assert {line for line in comments if line and line not in text} == {
        "one short cable and one camera allow the higher baud",  # its line is gone
        "the installed cable of the building, thinner than ours",  # its piece of cable is gone
    }
    texts = [one.text for one in diff(plan, new).said]
    assert "camera 'speed finish' is fed by rope supply (was speed supply)" in texts
    moves = "camera 'speed finish' moves from 'speed line' position 2 to 'rope line'"
    assert any(text.startswith(moves) for text in texts)
    assert [one.code for one in check(new).findings if one.severity == "error"] == []


def test_a_plan_that_needs_no_change_is_written_letter_for_letter() -> None:
    for name in ("lines-of-text", "escaped-frames"):
        plan = read(HALL.parent.parent / name / "plan.yaml")
        found = split(plan)
        assert all(line.unchanged for line in found.lines)
        assert written(plan, found) == plan.source


# -- drawn halls ------------------------------------------------


def split_holds(cameras: int, converters: int, seed: int, supplied: bool, block: bool, every: str, ids: int) -> None:
    text = hall(cameras, min(cameras, converters), seed=seed, supplied=supplied, every=every, ids=ids)
    plan = read_text(block_style(text) if block else text)
    wishes = Wishes(renumber=ids < 10)
    quick, best = split(plan, wishes), split(plan, wishes, best=True)
    for found in (quick, best):
        if found.new_plan is None:
            assert found.why
            assert all(one.reasons for one in found.left_over)
        else:
            check_holds(plan, found, wishes)
            again = read_text(written(plan, found))
            assert len(again.lines) == len(found.lines)
    assert quick.new_plan is None or len(best.lines) <= len(quick.lines)
    assert best.least == quick.least <= max(1, len(best.lines)) or best.new_plan is None


halls = st.tuples(
    st.integers(1, 14), st.integers(1, 5), st.integers(1, 1000), st.booleans(), st.booleans(),
    st.sampled_from(["100 ms", "300 ms", "1 s"]), st.sampled_from([3, 247]),
)  # fmt: skip


@given(halls)
@settings(max_examples=6, deadline=None)
def test_a_drawn_hall_is_split_so_that_it_holds_or_says_why_not(hall_of: Any) -> None:
    split_holds(*hall_of)


@pytest.mark.long
@given(halls)
@settings(max_examples=200, deadline=None)
def test_many_drawn_halls_are_split_so_that_they_hold_or_say_why_not(hall_of: Any) -> None:
    split_holds(*hall_of)


@given(st.integers(2, 12), st.integers(1, 1000), st.sampled_from(["0 /s", "2 /s", "20 /s"]))
@settings(max_examples=15, deadline=None)
def test_the_shares_of_cameras_add_up_to_the_load_that_the_budget_computes(cameras: int, seed: int, moves: str) -> None:
    plan = read_text(hall(cameras, 1, seed=seed, moves=moves, every="1 s"))
    question = asked(plan, Wishes(headroom=0.0))
    shares = question.problem.needs[0, :, 0]
    (case,) = cases(plan)
    assert float(shares.sum()) == pytest.approx(PollSchedule(case, exact=False).demand, rel=2e-3)
    # moves that replace others make it less, never more; the propagation is counted at the longest cable
    assert PollSchedule(case).demand <= float(shares.sum()) * (1 + 1e-6)


def test_a_hundred_cameras_are_split_in_a_few_seconds() -> None:
    """Measured on two busy cores: 2.5 s; with supplies 7 to 12 s, and to prove it 4 s, with supplies 8 to 17 s."""
    plan = read_text(hall(100, 14))
    began = time.process_time()
    found = split(plan)
    assert time.process_time() - began < 20
    check_holds(plan, found, Wishes())
    assert len(found.lines) <= found.least + 1


def test_a_hundred_cameras_are_proven_to_need_that_many_lines() -> None:
    plan = read_text(hall(100, 14))
    found = split(plan, best=True)
    check_holds(plan, found, Wishes())
    assert found.proven


@given(drawn())
@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_whatever_a_plan_says_it_is_split_or_refused_with_one_clear_error(text: str) -> None:
    try:
        plan = read_text(text)
        for best in (False, True):
            found = split(plan, Wishes(renumber=True), best=best)
            assert found.why if found.new_plan is None else read_text(written(plan, found))
    except UserError:
        return


# -- more converters --------------------------------------------


def test_as_many_boxes_as_needed_are_added_where_they_may_stand_each_with_its_ports_and_addresses() -> None:
    plan = read_text(block_style(hall(40, 2, supplied=True)))
    wishes = Wishes(more=More("box 1", ("rack 1", "rack 2"), ports=2))
    found = split(plan, wishes)
    check_holds(plan, found, wishes)
    new = read_text(written(plan, found))
    added = [one for one in new.converters if one.name not in {old.name for old in plan.converters}]
    assert len(added) == len(found.lines) - 2
    assert {one.place for one in added} <= {"rack 1", "rack 2"}
    assert len({(one.host, one.port) for one in new.converters}) == len(new.converters)
    assert max(Counter(one.box for one in added).values()) <= 2
    assert all(one.box_port in (1, 2) for one in added)
    assert set(new.masters[0].through) == {one.name for one in new.converters}
    assert {camera.supply for camera in new.cameras} == {one.name for one in new.supplies}


def test_no_more_boxes_are_used_than_there_are() -> None:
    plan = read_text(hall(40, 2))
    found = split(plan, Wishes(more=More("box 1", ("rack 1",), ports=1, most=2)))
    assert found.new_plan is None
    assert "there are 4" in found.why


@pytest.mark.parametrize(
    ("more", "what"),
    [
        (More("box 9"), "like one that takes no part"),
        (More("box 1", ("nowhere",)), "cannot stand there"),
    ],
)
def test_more_converters_that_cannot_be_are_refused(more: More, what: str) -> None:
    with pytest.raises(UserError, match=what):
        split(read_text(hall(4, 1)), Wishes(more=more))


# -- why not ----------------------------------------------------


def reasons(text: str, wishes: Wishes | None = None) -> str:
    found = split(read_text(text), wishes)
    assert found.new_plan is None
    return found.why + " " + " ".join(reason for one in found.left_over for reason in one.reasons)


def test_a_camera_that_alone_takes_too_much_is_named_with_by_how_much() -> None:
    said = reasons(hall(2, 1, every="5 ms"))
    assert "2 of 2 cameras fit on no line, even alone" in said
    assert "alone it takes" in said
    assert "over the 70% that may be used" in said


def test_a_camera_too_far_away_is_named_with_by_how_many_metres() -> None:
    text = hall(3, 1).replace('"after": "30 m"', '"after": "0"')
    plan = json.loads(text)
    plan["places"][0]["at"] = ["5000 m", "0 m"]
    said = reasons(json.dumps(plan))
    assert "m of cable, " in said
    assert "over the 1200 m that its baud allows" in said


def test_a_supply_that_gives_too_little_is_named() -> None:
    assert "power" in reasons(hall(3, 1, supplied=True).replace("120 W", "5 W"))


def test_a_camera_that_gets_too_little_voltage_is_named_with_the_volts() -> None:
    text = hall(1, 1, supplied=True).replace('"supply_gauge": "AWG 14"', '"supply_gauge": "AWG 28"')
    text = text.replace('"voltage": "24 V"', '"voltage": "10.8 V"').replace('"after": "30 m"', '"after": "300 m"')
    said = reasons(text)
    assert "1 of 1 cameras fit on no line, even alone" in said
    assert " V on " in said or "the voltage collapses" in said


def test_cameras_with_one_id_are_named_and_may_be_given_others() -> None:
    text = hall(4, 1, ids=1)
    assert "--renumber" in reasons(text)
    plan = read_text(text)
    found = split(plan, Wishes(renumber=True))
    check_holds(plan, found, Wishes(renumber=True))
    stops = [stop for stop in found.lines[0].stops if stop.kind == "camera"]
    assert sorted(stop.bus_id or 0 for stop in stops) == [1, 2, 3, 4]
    assert sorted(stop.was or 0 for stop in stops) == [0, 1, 1, 1]
    assert sorted(camera.bus_id for camera in read_text(written(plan, found)).cameras) == [1, 2, 3, 4]


def test_a_camera_is_not_put_where_other_masters_would_ask_it() -> None:
    plan = json.loads(hall(2, 2))
    plan["masters"].append({**plan["masters"][0], "name": "second", "through": ["box 2"]})
    plan["masters"][0]["through"] = ["box 1"]
    plan["panels"][0]["cameras"] = ["camera 1"]
    found = split(read_text(json.dumps(plan)))
    assert [line.cameras for line in found.lines] == [1, 1]


def test_cameras_without_coordinates_stay_among_those_of_their_line() -> None:
    plan = read_text(hall(4, 2))
    bare = replace(plan, cameras=tuple(replace(camera, place=None) for camera in plan.cameras))
    found = split(bare)
    assert [line.unchanged for line in found.lines] == [True, True]
    assert any("no place with coordinates" in one for one in found.assumptions)


def test_lines_with_a_master_on_them_are_left_as_they_are_and_a_plan_of_these_alone_is_refused() -> None:
    with pytest.raises(UserError, match="no line of this plan can be split"):
        split(read(HALL.parent.parent / "two-masters" / "plan.yaml"))


def test_a_group_that_never_rests_needs_a_number_and_says_that_it_was_assumed() -> None:
    assert any("'fast' counted as wanted every 500 ms (assumed" in one for one in split(read(HALL)).assumptions)
    with pytest.raises(UserError, match="no poll group"):
        split(read(HALL), Wishes(targets={"quick": 1}))


# -- lists moved as text ----------------------------------------


def test_an_entry_of_a_list_takes_the_comments_above_and_behind_it_along() -> None:
    one, two, three = "  # of one\n  - one # behind\n", "\n  # of two\n  - {two: 2}\n", "  - three:\n      x # deep\n"
    rest = "  # of nobody\nb: 1\n"
    text = f"a:\n{one}{two}{three}{rest}"
    blocks = Blocks(parse(text))
    entries = blocks.entries("a")
    assert entries == ["# of one\n- one # behind", "\n# of two\n- {two: 2}", "- three:\n    x # deep"]
    blocks.replace("a", entries[::-1])
    assert blocks.text() == f"a:\n{three}{two}{one}{rest}"
    assert blocks.entries("b") is None
    assert Blocks(parse("a: [one, two]")).entries("a") is None


@given(st.permutations(range(5)))
@settings(max_examples=30, deadline=None)
def test_a_list_in_another_order_reads_as_its_values_in_that_order(order: list[int]) -> None:
    text = "a:\r\n- 1 # x\r\n- b: 2\r\n  c: 3\r\n-   [4]\r\n# above\r\n- five\r\n- |\r\n  six\r\n  seven\r\nz: 0\r\n"
    document = parse(text)
    blocks = Blocks(document)
    entries = blocks.entries("a") or []
    blocks.replace("a", [entries[at] for at in order])
    assert parse(blocks.text()).value["a"] == [document.value["a"][at] for at in order]
    assert blocks.text().count("\r\n") == text.count("\r\n")


# -- the command ------------------------------------------------


def run(*arguments: object) -> tuple[int, str]:
    result = CliRunner().invoke(app, ["plan", "split", *map(str, arguments)], env={"COLUMNS": "1000"})
    if isinstance(result.exception, UserError):
        return 2, str(result.exception)
    return result.exit_code, result.output


def test_the_command_prints_lines_orders_and_what_it_stands_on(tmp_path: Path) -> None:
    file = tmp_path / "new.yaml"
    code, text = run(HALL, "--every", "fast=500ms", "--write", file)
    assert code == 0
    assert "rope line: rope left (ID 11), 16 m to rope overhang (ID 12), 7 m to rope box" in text
    assert "19 m* to speed finish (ID 21)" in text
    assert "not needed: 'speed box'" in text
    assert len(read(file).lines) == 2
    code, text = run(HALL, "--write", file)
    assert code == 2
    assert "a file is there already" in text


def test_the_command_gives_json_with_a_schema_and_1_where_none_was_found() -> None:
    code, text = run(HALL, "--json", "--every", "fast=100ms")
    found = json.loads(text)
    assert (code, found["schema"], found["way"]) == (1, 1, "greedy")
    assert found["left_over"][0]["reasons"]
    assert "new_plan" not in found


@pytest.mark.parametrize(
    ("arguments", "what"),
    [
        (("--every", "fast"), "not a poll group and its time"),
        (("--every", "fast=0"), "not a poll group and its time"),
        (("--ports", "4"), "the kind of the added converters is missing"),
        (("--like", "no box"), "takes no part"),
    ],
)
def test_wishes_that_make_no_sense_are_refused(arguments: tuple[str, ...], what: str) -> None:
    code, text = run(HALL, *arguments)
    assert code == 2
    assert what in text


def test_without_its_extra_the_optimal_way_says_so_and_the_greedy_one_works(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "scipy.optimize", None)
    code, text = run(HALL, "--optimal")
    assert code == 2
    assert "pip install 'busim[optimal]'" in text
    assert run(HALL)[0] == 0
