"""The picture of a line, as shapes in nanoseconds and metres: each level of zoom, and the look of faults."""

from __future__ import annotations

import xml.etree.ElementTree as ElementTree
from itertools import pairwise
from pathlib import Path

import pytest
from fault_halls import MS, S
from line_traces import Shown, faulty_trace, scenario_trace
from places import SCENARIOS

from busim.foundation.units import CharFormat
from busim.plan import read
from busim.recording.trace import BURST, CHANGE, EXCHANGE, Setting, open_trace
from busim.runtime.session import Run
from busim.web.picture import BITS, EXCHANGES, SUMMARY, Story, Sums, decoded, svg
from busim.web.picture.bits import bits


@pytest.fixture(scope="module")
def boulder() -> Shown:
    return Shown(scenario_trace("climbing-hall", 10))


def test_stations_stand_where_the_plan_has_them(boulder: Shown) -> None:
    assert [(one.name, one.kind, one.metres) for one in boulder.line.stands] == [
        ("boulder box", "converter", 0),
        ("boulder left", "camera", 18),
        ("boulder centre", "camera", 27),
        ("boulder right", "camera", 36),
        ("boulder mats", "camera", 50),
    ]


def test_the_way_along_the_cable_is_that_of_two_thirds_of_light(boulder: Shown) -> None:
    """5.05 ns/m at v = 0.66 (derived from the definition of the metre)."""
    assert boulder.line.delay(0, 100) == pytest.approx(505, abs=1)


def test_hours_are_sums_minutes_are_bands_and_milliseconds_are_bits(boulder: Shown) -> None:
    assert boulder.picture(0, 3600 * S).level == SUMMARY
    assert boulder.picture(2 * S, 4 * S).level == EXCHANGES
    assert boulder.picture(2 * S, 2 * S + 5 * MS).level == BITS


def test_sums_of_any_step_are_those_of_the_trace(boulder: Shown) -> None:
    whole = [sum(1 for _ in boulder.trace.records(kind, line=boulder.line.number)) for kind in (BURST, EXCHANGE)]
    for most in (5, 60, 1000):
        step, rows = boulder.sums.steps(boulder.trace, 0, 10 * S, most)
        assert step % (100 * MS) == 0
        assert [int(rows[:, 1].sum()), int(rows[:, 2].sum())] == whole


def test_every_burst_of_a_clean_line_is_the_request_or_the_reply_of_an_exchange(boulder: Shown) -> None:
    picture = boulder.picture(1 * S, 3 * S)
    assert {band.role for band in picture.bands} == {"request", "reply"}
    box = boulder.named("boulder box")
    assert {band.driver == box for band in picture.bands if band.role == "request"} == {True}
    assert not any(band.collides for band in picture.bands)
    assert picture.signs == []


def test_a_turnaround_lies_at_its_camera_between_request_and_reply(boulder: Shown) -> None:
    for one in boulder.picture(1 * S, 2 * S).exchanges:
        stand = boulder.line.stand(one.camera)
        assert stand is not None
        assert one.metres == stand.metres
        if one.sent >= 1 * S:
            assert one.sent < one.asked
        assert one.asked < one.answered < one.ended
        assert 2 * MS <= one.answered - one.asked - boulder.line.delay(0, one.metres) <= 9 * MS  # plan: 2..6, and t3.5


def test_a_band_reaches_each_place_the_later_the_farther(boulder: Shown) -> None:
    band = next(one for one in boulder.picture(1 * S, 2 * S).bands if one.role == "request")
    assert (band.metres, band.top, band.bottom) == (0, 0, 50)
    assert (band.cut_top, band.cut_bottom) == (False, False)


def test_bits_are_those_of_the_byte_and_sampled_in_their_middles() -> None:
    """0x41 in 8E1: start, data from the lowest bit up, even parity of two ones, stop (MODBUS over Serial Line V1.02,
    2.5.1 and 2.6.1)."""
    setting = Setting(baud=38400, format=CharFormat.parse("8E1"), ppm=0.0, inverted=False)  # type: ignore[arg-type]
    found = list(bits(setting, 1000, b"\x41"))
    assert [bit.level for bit in found] == [0, 1, 0, 0, 0, 0, 0, 1, 0, 0, 1]
    assert [bit.part for bit in found] == ["start", *"01234567", "parity", "stop"]
    assert found[-1].end - 1000 == round(11 * 1e9 / 38400)
    assert all(bit.sampled - bit.start == pytest.approx(0.5e9 / 38400, abs=1) for bit in found)
    assert all(one.end == two.start for one, two in pairwise(found))


def test_only_bits_in_the_window_are_listed(boulder: Shown) -> None:
    band = boulder.picture(1 * S, 2 * S).bands[3]
    middle = (band.start + band.end) // 2
    shown = boulder.picture(middle, middle + 200_000)
    assert [len(one.bits) for one in shown.bands] == [pytest.approx(200_000 * 38400 / 1e9, abs=2)]


def test_a_dead_camera_is_a_request_without_an_answer() -> None:
    shown = Shown(faulty_trace("{fault: dead-camera, on: rope right, at: 1 s}"))
    silent = [one for one in shown.picture(2 * S, 3 * S).exchanges if one.camera == shown.named("rope right")]
    assert silent
    assert {(one.outcome, one.answered) for one in silent} == {("time-out", -1)}
    assert {one.metres for one in silent} == {20}


def _cut(run: Run) -> None:
    run.world.wiring.cut("wall line", 3)


@pytest.mark.parametrize("how", ["hand", "fault"])
def test_a_cut_is_where_bands_end(how: str) -> None:
    faults = "{fault: cut-cable, on: wall line, at: 1 s, position: 3}" if how == "fault" else ""
    shown = Shown(faulty_trace(faults, 3, _cut if how == "hand" else None))
    before = shown.picture(0, 500 * MS)
    assert {(band.bottom, band.cut_bottom) for band in before.bands} == {(35, False)}
    after = shown.picture(2 * S, 2500 * MS)
    assert after.cuts == {2 * S: (16.0,)}  # between rope left at 12 m and rope right at 20 m
    assert {(band.bottom, band.cut_bottom) for band in after.bands if band.driver == shown.named("wall box")} == {
        (16, True)
    }


def test_a_second_master_is_bands_from_its_own_place_that_collide() -> None:
    shown = Shown(scenario_trace("two-masters", 8))
    picture = shown.picture(5 * S, 8 * S)
    laptop = shown.named("laptop")
    assert {band.metres for band in picture.bands if band.driver == laptop} == {37}
    hit = [band for band in picture.bands if band.collides]
    assert len({band.driver for band in hit}) > 1
    assert not any(band.collides for band in shown.picture(0, 4 * S).bands)
    assert {"amiss"} <= {sign.what for sign in picture.signs}


def test_requests_that_no_master_reported_are_told_apart() -> None:
    """The fault sends a request at the converter without a client."""
    shown = Shown(faulty_trace("{fault: second-master, on: wall box, at: 1 s, rate: 10 /s}"))
    assert {band.role for band in shown.picture(0, 900 * MS).bands} == {"request", "reply"}
    assert "stray" in {band.role for band in shown.picture(1 * S, 3 * S).bands}


def test_a_burst_is_told_in_fields(boulder: Shown) -> None:
    request, reply = boulder.picture(10 * MS // 10, 20 * MS).bands[:2]
    asked = decoded(boulder.trace, boulder.line, request.driver, request.start)
    said = decoded(boulder.trace, boulder.line, reply.driver, reply.start)
    assert asked is not None
    assert said is not None
    assert ("address", "1 (boulder left in the plan)") in asked["fields"]
    assert ("request", "read") in asked["fields"]
    assert asked["bytes"] == "01 03 00 00 00 03 05 cb"  # CRC by MODBUS over Serial Line V1.02, 2.5.1.2
    assert [name for name, _ in said["fields"]][-3:] == ["iris", "gain", "shutter"]
    assert decoded(boulder.trace, boulder.line, request.driver, request.start + 1) is None


def test_sums_follow_a_trace_that_grows(boulder: Shown) -> None:
    fresh = Sums(boulder.line.number)
    with open_trace(boulder.trace.path) as trace:
        fresh.follow(trace)
        once = fresh.steps(trace, 0, 10 * S, 11)[1].tolist()
        fresh.follow(trace)
        assert fresh.steps(trace, 0, 10 * S, 11)[1].tolist() == once
        assert fresh.next_with(trace, "time_outs", 0) is None


def test_the_nearest_100_ms_with_an_event_is_found_from_any_instant_in_both_directions() -> None:
    shown = Shown(scenario_trace("two-masters", 8))
    sums, trace = shown.sums, shown.trace
    rows = sums.between(trace, 0, None)
    with_some = rows[rows[:, 6] > 0, 0].tolist()  # damaged
    assert with_some
    for at in range(0, 8 * S, 70 * MS):
        after = min((start for start in with_some if start >= at), default=None)
        before = max((start for start in with_some if start < at), default=None)
        assert sums.next_with(trace, "damaged", at) == after
        assert sums.next_with(trace, "damaged", at, back=True) == before


@pytest.mark.parametrize("window", [(0, 10 * S), (5 * S, 6 * S), (5 * S, 5 * S + 3 * MS)])
def test_the_svg_is_whole_at_every_level(window: tuple[int, int]) -> None:
    shown = Shown(scenario_trace("two-masters", 8))
    drawn = ElementTree.fromstring(svg(shown.picture(*window)))
    texts = ["".join(one.itertext()) for one in drawn.iter("{http://www.w3.org/2000/svg}text")]
    assert any(text.startswith("laptop") for text in texts)


def test_values_at_any_instant_are_those_that_all_changes_so_far_left(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Read in pieces, as a live page does, with a copy of all values each second in place of each minute."""
    monkeypatch.setattr("busim.web.picture.story._PAGE", S)
    path = tmp_path / "long.busim"
    run = Run(read(SCENARIOS / "climbing-hall/plan.yaml"), 1, trace=path)
    story = Story()
    for tenth in (2, 9, 11, 31, 60):
        run.advance(tenth * S // 10)
        with open_trace(path) as trace:
            story.follow(trace)
    run.finish()
    with open_trace(path) as trace:
        story.follow(trace)
        changes = list(trace.records(CHANGE))
        instants = {at + more for _, at, *_ in changes[:: len(changes) // 20] for more in (-1, 0)}
        assert max(instants) > 5 * S
        for at in sorted(instants):
            left = {(who, what): (when, value) for _, when, who, what, value in changes if when <= at}
            assert story.values(trace, at) == left
