"""The budget of a plan: against the MODBUS standard and simulated runs, and its words where it has no number."""

from __future__ import annotations

import itertools
import json
import math
from bisect import bisect
from dataclasses import replace
from itertools import pairwise
from typing import Any

import pytest
from budget_plans import SLOW, box
from hypothesis import example, given, settings
from hypothesis import strategies as st
from places import SCENARIOS, TOP
from small_plans import wall

from busim.analysis.budget import Distribution, LineBudget, PollSchedule, budget, cases, vacation_wait, waits
from busim.analysis.budget.changes import STANDARD_BAUDS
from busim.cli import budget as command
from busim.foundation.errors import UserError
from busim.plan import Plan, read, read_text
from busim.plan.models import find as find_model
from busim.plan.models import names
from busim.protocols import READ, WRITE, Request, find
from busim.recording.figures import QUANTITIES, Fold
from busim.recording.trace import EXCHANGE, Record
from busim.simulator.masters import COMMAND, Target, Task
from busim.simulator.world import World, build


def line_of(plan: Plan, need: float | None = None) -> LineBudget:
    (line,) = budget(plan, need=need).lines
    return line


# -- against the standard ------------------------------------------------------------------------------------


@pytest.mark.parametrize(("cameras", "cycle", "rate"), [(1, 14.896e-3, 67.1), (8, 119.2e-3, 8.39)])
def test_a_poll_of_3_registers_at_19200_bd_comes_as_often_as_the_standard_allows(
    cameras: int, cycle: float, rate: float
) -> None:
    """8 + 11 characters and twice t3.5, 14.896 ms: 67.1 /s; 8 devices 119.2 ms, 8.39 /s each.

    Derived from MODBUS over Serial Line V1.02, p. 13.
    """
    line = line_of(wall(cameras=cameras, after="0"))
    assert line.groups[0].cycle.mean == pytest.approx(cycle, abs=1e-6 if cameras == 1 else 0.05e-3)
    assert line.groups[0].cycle.certain
    for camera in line.cameras:
        assert camera.figures["poll_rate"].value == pytest.approx(rate, abs=0.005 if cameras > 1 else 0.05)
        assert camera.figures["poll_rate"].kind == "computed"


# -- against simulated runs ----------------------------------------------------------------------------------


class Measured:
    """Figures of a simulated run of one line, the first `skip` seconds left out."""

    def __init__(self, plan: Plan, seconds: int, skip: int = 0) -> None:
        records: list[Record] = []
        world = build(plan, 1, records.append)
        world.start()
        world.kernel.advance(seconds * 10**9)
        world.finish()
        self.answered = [r for r in records if r[0] == EXCHANGE and r[12] == "ok" and r[9] >= skip * 10**9]
        self.exchanges = [r for r in records if r[0] == EXCHANGE and r[9] >= skip * 10**9]
        self.seconds = seconds - skip
        fold = Fold()
        for record in records:
            fold.take(record)
        (number,) = {name.row for name in world.names if name.kind == "line"}
        self.line = fold.line(number, seconds * 10**9)
        self.cameras = [fold.camera(number, camera, seconds * 10**9) for camera in fold.camera_numbers(number)]

    def mean(self, kind: str, begin: int) -> float:
        """Mean seconds from field `begin` of the record (8: asked, 9: sent) until it ended."""
        times = [(r[10] - r[begin]) / 1e9 for r in self.answered if r[5] == kind]
        return sum(times) / len(times)

    @property
    def rate(self) -> float:
        return sum(r[5] == "poll" for r in self.answered) / self.seconds


COMPARED: dict[str, dict[str, Any]] = {
    "restless": {},
    "slow packing": {"packing": "{idle: 30 ms, length: 0}", "cameras": 2},
    "packing by length": {"packing": "{idle: 20 ms, length: 11}"},
    "every byte at once": {"packing": "{idle: 0, length: 0}", "baud": "9600 Bd"},
    "every byte at once over a network that takes its time": {
        "packing": "{idle: 0, length: 0}",
        "latency": "1..5 ms",
        "turnaround": "1 ms",
    },
    "packets of four bytes over such a network": {
        "packing": "{idle: 2 ms, length: 4}",
        "latency": "1..9 ms",
        "turnaround": "1 ms",
    },
    "fast and slow groups": {"more": SLOW},
    "holes between registers": {"values": "[iris, master_black, temperature]", "latency": "1..3 ms"},
    "paced": {"every": "200 ms"},
    "too fast a pace": {"every": "30 ms"},
    "two dead": {"absent": (2, 3)},
    "moves": {"moves": "5 /s"},
    "many moves": {"moves": "20 /s"},
    "moves among paced polls": {"moves": "5 /s", "every": "200 ms"},
    "8N1 at 250 kBd": {"baud": "250000 Bd", "format": "8N1", "cameras": 8},
    "a gap": {"master": "gap: 12 ms"},
}


@pytest.mark.parametrize("name", COMPARED)
def test_exchange_and_cycle_are_those_of_a_simulated_run(name: str) -> None:
    """Within 1 %. Regression against our own simulation, which test_modbus_on_the_line holds to the standard."""
    plan = box(**COMPARED[name])
    line = line_of(plan)
    seen = Measured(plan, 120, skip=10 if "absent" in COMPARED[name] else 0)
    assert line.obstacles == ()
    alive = {camera.name for camera in line.cameras if not camera.trouble}
    means = [one.total.mean for one in line.exchanges if one.camera in alive and one.work == "fast"]
    group = [(r[10] - r[9]) / 1e9 for r in seen.answered if r[6] == "fast"]
    assert sum(group) / len(group) == pytest.approx(sum(means) / len(means), rel=0.01)
    assert seen.rate == pytest.approx(line.figures["poll_rate"].value, rel=0.01)  # type: ignore[index]


@pytest.mark.parametrize(
    "name",
    [
        "restless", "fast and slow groups", "paced", "moves", "many moves", "two dead",
        "every byte at once over a network that takes its time",
    ],
)  # fmt: skip
def test_the_figures_are_those_of_a_simulated_run(name: str) -> None:
    """Mean and quantiles within 3 %, bounds never exceeded. A regression: both sides are our own."""
    plan = box(**COMPARED[name])
    line = line_of(plan)
    seen = Measured(plan, 200)
    assert line.figures is not None
    for figure in ("latency_p50", "latency_p95", "latency_p99", "occupancy"):
        assert seen.line[figure].value == pytest.approx(line.figures[figure].value, rel=0.03), figure
    for figure, measured in seen.line.items():
        expected = line.figures.get(figure)
        if expected is not None and expected.kind == "bound" and expected.value and measured.value:
            assert measured.value <= expected.value, figure
    for camera, measured_camera in zip(line.cameras, seen.cameras, strict=True):
        if not camera.trouble:
            assert measured_camera["age_mean"].value == pytest.approx(camera.figures["age_mean"].value, rel=0.03)
            assert measured_camera["age_worst"].value <= camera.figures["age_worst"].value


@pytest.mark.parametrize(
    ("settings", "seconds"),
    [
        ({"moves": "2 /s"}, 400),
        ({"moves": "10 /s"}, 200),
        ({"moves": "30 /s"}, 200),  # beyond that, moves cannot be followed
        ({"moves": "15 /s", "controls": "[iris]", "cameras": 2}, 200),
        ({"moves": "10 /s", "every": "150 ms"}, 200),
        # polls keep their pace only because newer moves replace some
        ({"moves": "15 /s", "controls": "[iris]", "cameras": 1, "every": "130 ms", "turnaround": "10..24 ms",
          "packing": "{idle: 20 ms, length: 0}"}, 400),
        ({"moves": "30 /s", "controls": "[iris, gain]", "cameras": 1, "every": "250 ms", "turnaround": "7..17 ms",
          "latency": "5..9 ms"}, 400),
    ],
)  # fmt: skip
def test_moves_wait_as_long_as_in_a_simulated_run(settings: dict[str, Any], seconds: int) -> None:
    """Mean within 4 %, p95 within 6 %: what a few thousand moves allow. A regression: both sides are our own."""
    plan = box(**settings)
    moves = line_of(plan).moves
    seen = Measured(plan, seconds)
    assert moves is not None
    assert moves.bound is not None
    assert seen.mean("command", 8) == pytest.approx(moves.mean, rel=0.04)
    assert seen.line["move_p95"].value == pytest.approx(moves.p95, rel=0.06)
    assert seen.line["move_max"].value <= moves.bound
    carried = sum(r[5] == "command" for r in seen.exchanges) / seen.seconds
    assert carried == pytest.approx(moves.rate * (1 - moves.replaced), rel=0.05)


ESCAPING = """
busim-protocol: 1
name: escaping
title: binary frames between marks
literals: hex
framing: {kind: marks, start: "7E", end: "7E", escape: {byte: "7D", xor: 0x20}, longest: 128}
frame: "{address} {message} {check}"
check: {kind: CRC-16/XMODEM}
address: {first: 1, last: 200}
fields:
  address: {as: unsigned, bytes: 1}
  key: {as: unsigned, bytes: 2}
  count: {as: unsigned, bytes: 1}
  value: {as: unsigned, bytes: 2}
  reason: {as: unsigned, bytes: 1}
  check: {as: unsigned, bytes: 2}
operations:
  read: {request: "10 {key} {count}", reply: "90 {key} {values}", most: 16}
  write: {request: "20 {key} {values}", reply: "A0 {key} {count}", most: 16}
refusal: "F0 {reason}"
keys:
  zoom-camera: {iris: 0x7D7D, gain: 0x7D7E, shutter: 0x7D7F}
"""


def test_bytes_that_escaping_adds_are_in_time_outs_and_bounds() -> None:
    """Camera 125 and key 7D7D: three bytes of every reply are sent as two. Half duplex at 300 Bd shows each of them."""
    slow = {"baud": "300 Bd", "turnaround": "0", "latency": "0"}
    plan = read_text(
        box(cameras=1, values="[iris]", moves="0.1 /s", controls="[iris]", **slow)  # type: ignore[arg-type]
        .source.replace("modbus-rtu", "./escaping.yaml")
        .replace("bus_id: 1,", "bus_id: 125,"),
        files={"./escaping.yaml": ESCAPING},
    )
    line, seen = line_of(plan), Measured(plan, 200)
    assert line.obstacles == ()
    assert line.figures is not None
    for name in ("latency_max", "move_max"):
        assert seen.line[name].value <= line.figures[name].value
    for camera, measured in zip(line.cameras, seen.cameras, strict=True):
        assert measured["age_worst"].value <= camera.figures["age_worst"].value
    (poll,) = line.exchanges
    characters = sum(find("./escaping.yaml", files=plan.files).lengths(Request(125, READ, 0x7D7D, 1)))
    assert poll.time_out == pytest.approx(1.25 * (characters * 11 / 300 + 4e-3) + 3e-3)


@pytest.mark.parametrize("delimiter", ["0D", "0A"], ids=["of the protocol", "of another"])
def test_a_converter_that_packs_by_the_end_of_a_reply_does_not_wait(delimiter: str) -> None:
    """A regression: both are our own, and numbers in text count at their longest, so within a millisecond of 20."""
    packing = f'{{idle: 20 ms, length: 0, delimiter: "{delimiter}"}}'
    plan = read_text(box(packing=packing, cameras=2, values="[iris]").source.replace("modbus-rtu", "text"))
    line, seen = line_of(plan), Measured(plan, 60)
    means = [one.total.mean for one in line.exchanges]
    assert seen.mean("poll", 9) == pytest.approx(sum(means) / len(means), abs=1e-3)


def test_dead_cameras_are_given_up_when_the_budget_says() -> None:
    """A regression: the first probe comes 0.5 s after a camera counts as offline."""
    alive, dying = box(), box(absent=(4,))
    (one, *_) = line_of(alive).dead
    records: list[Record] = []
    world = build(dying, 1, records.append)
    world.start()
    world.kernel.advance(10 * 10**9)
    failed = [r[10] for r in records if r[0] == EXCHANGE and r[12] == "time-out" and r[5] == "poll"]
    assert (failed[-1] - failed[0]) / 1e9 == pytest.approx(one.until, rel=0.15)
    before = [r[9] for r in records if r[0] == EXCHANGE and r[3] == min(r[3] for r in records if r[0] == EXCHANGE)]
    rounds = [(after - now) / 1e9 for now, after in pairwise(before) if after < failed[-1]]
    assert sum(rounds) / len(rounds) == pytest.approx(one.cycle, rel=0.02)


@pytest.mark.parametrize("rate", [1e-5, 1e-4])
def test_noise_loses_as_many_exchanges_as_in_a_simulated_run(rate: float) -> None:
    """Within three standard errors or 3 %. A regression: both sides are our own."""
    plan = box(cameras=2, line=f"bit_error_rate: {rate}")
    line = line_of(plan)
    seen = Measured(plan, 400)
    lost = sum(r[12] in ("damaged", "time-out") for r in seen.exchanges)
    expected = float(PollSchedule(cases(plan)[0]).timing(0).failing) * len(seen.exchanges)
    assert lost == pytest.approx(expected, abs=max(3 * math.sqrt(expected), 0.03 * expected))
    assert seen.rate == pytest.approx(line.figures["poll_rate"].value, rel=0.01)  # type: ignore[index]


def test_noise_behind_a_reply_keeps_it_in_the_converter_until_it_is_too_late() -> None:
    """Packing of 20 ms at 115200 Bd: a false character late in it costs twice as many polls as all other noise."""
    plan = box(cameras=2, baud="115200 Bd", packing="{idle: 20 ms, length: 0}", line="bit_error_rate: 3e-5")
    seen = Measured(plan, 600)
    lost = sum(r[12] in ("damaged", "time-out") for r in seen.exchanges)
    expected = float(PollSchedule(cases(plan)[0]).timing(0).failing) * len(seen.exchanges)
    assert lost == pytest.approx(expected, abs=max(3 * math.sqrt(expected), 0.03 * expected))


@pytest.mark.parametrize("format", ["8N1", "8E1", "8O1", "8N2"])
@pytest.mark.parametrize(
    ("baud", "turnaround", "through"),
    [("38400 Bd", "2 ms", True), ("38400 Bd", "2 ms", False), ("9600 Bd", "0", True), ("19200 Bd", "0.2 ms", False)],
)
def test_as_many_bits_cost_an_exchange_as_the_budget_says(
    format: str, baud: str, turnaround: str, through: bool
) -> None:
    """One wrong bit at a time, at each instant of an exchange. A regression: both sides are our own."""
    if through:
        plan = box(cameras=2, baud=baud, format=format, turnaround=turnaround)
    else:
        source = wall(cameras=2, baud=baud, turnaround=turnaround).source
        plan = read_text(source.replace("format: 8E1", f"format: {format}"))
    one = PollSchedule(cases(plan)[0]).timing(0)
    bit = round(float(one.exposed.bit))
    count = round(float(one.occupied()) / bit)
    tries: list[bool] = []  # of each exchange, whether it was lost
    begun: list[int] = []  # those with an error

    def hear(record: Record) -> None:
        if record[0] == EXCHANGE:
            tries.append(record[12] != "ok")
            if not any(tries[-2:]) and len(tries) > 4 * len(begun):
                at = world.kernel.now + len(begun) * bit + bit // 3
                world.kernel.at(at, lambda _: world.lines["wall"].pulse(bit, False))
                begun.append(len(tries))

    world = build(plan, 1, hear)
    world.start()
    while len(begun) <= count:
        world.kernel.advance(10**9 + world.kernel.now)
    lost = sum(any(tries[first : first + 2]) for first in begun[:count])
    assert lost == pytest.approx(float(one.exposed.bits), rel=0.03)


def _begun(plan: Plan) -> tuple[World, list[Record]]:
    records: list[Record] = []
    world = build(plan, 1, records.append)
    world.start()
    return world, records


def test_a_cold_start_takes_as_long_as_the_budget_says() -> None:
    """Until every poll of every camera was answered once. A regression: both sides are our own."""
    plan = box(values="[iris, master_black, temperature]", more=SLOW)
    world, records = _begun(plan)
    world.kernel.advance(2 * 10**9)
    first: dict[tuple[int, str], int] = {}
    for record in records:
        if record[0] == EXCHANGE:
            first.setdefault((record[3], record[6]), record[10])
    (job,) = (job for job in line_of(plan).jobs if "cold start" in job.name)
    assert job.exchanges == len(first)
    assert max(first.values()) / 1e9 == pytest.approx(job.mean, rel=0.05)
    assert max(first.values()) / 1e9 <= job.worst


@pytest.mark.parametrize(("name", "count"), [("recall a preset", 1), ("one by one", 15)])
def test_commands_that_come_at_once_take_as_long_as_the_budget_says(name: str, count: int) -> None:
    """A regression: both sides are our own. Commands are queued in the middle of polling."""
    plan = box(cameras=8)
    world, records = _begun(plan)
    (port,) = world.masters.values()
    at = 10**9
    world.kernel.advance(at)
    protocol = find("modbus-rtu")
    for number in range(1, 9):
        target = Target(f"c{number}", number)
        for _ in range(count):
            request = Request(number, WRITE, 0, 1, (500,))
            task = Task(target, COMMAND, "iris", request, protocol.encode_request(request), 10**9)
            port.command(task, absolute=False)
    world.kernel.advance(at + 20 * 10**9)
    last = max(r[10] for r in records if r[0] == EXCHANGE and r[5] == "command")
    (job,) = (job for job in line_of(plan).jobs if name in job.name)
    assert job.exchanges == 8 * count
    assert (last - at) / 1e9 == pytest.approx(job.mean, rel=0.1)
    assert (last - at) / 1e9 <= job.worst


def test_without_more_streams_all_else_stays() -> None:
    plan = box(moves="2 /s")
    (whole,), (shown,) = budget(plan).lines, budget(plan, streams=False).lines
    assert whole.streams
    assert shown == replace(whole, streams=())


@pytest.mark.parametrize("count", [1, 2])
def test_a_steady_joystick_is_never_later_than_its_bound(count: int) -> None:
    """Davis et al. 2007 with polls below. Positions every 40 ms, of one control for each joystick."""
    plan = box(baud="115200 Bd", turnaround="1..2 ms", packing="{idle: 1 ms, length: 0}")
    world, records = _begun(plan)
    (port,) = world.masters.values()
    protocol = find("modbus-rtu")
    for step in range(1000):
        for stick in range(count):
            world.kernel.advance(10**8 + step * 40_000_000 + stick * 17_300_000)
            request = Request(stick + 1, WRITE, 0, 1, (step % 1000,))
            target = Target(f"c{stick + 1}", stick + 1)
            port.command(Task(target, COMMAND, "iris", request, protocol.encode_request(request), 10**9))
    taken = [(r[10] - r[8]) / 1e9 for r in records if r[0] == EXCHANGE and r[5] == "command"]
    (stream,) = (s for s in line_of(plan).streams if (s.kind, s.count) == ("joysticks", count))
    assert len(taken) > 900 * count
    assert stream.bound is not None
    assert max(taken) <= stream.bound
    assert stream.mean is not None
    assert sum(taken) / len(taken) == pytest.approx(stream.mean, rel=0.25)


@pytest.mark.parametrize("moves", ["0.5 /s", "10 /s"])
def test_a_second_panel_shows_a_move_when_the_budget_says(moves: str) -> None:
    """From the move to the end of the first good poll that was read after the write. A regression: both are our own."""
    plan = box(moves=moves, controls="[iris, gain]")
    seen = Measured(plan, 600)
    polls: dict[int, list[tuple[int, int]]] = {}
    for r in seen.answered:
        if r[5] == "poll":
            polls.setdefault(r[3], []).append((r[13], r[10]))
    times = []
    for r in seen.answered:
        if r[5] == "command":
            later = bisect(polls[r[3]], (r[13], math.inf))
            if later < len(polls[r[3]]):
                times.append((polls[r[3]][later][1] - r[8]) / 1e9)
    found = line_of(plan).moves
    assert found is not None
    assert found.second is not None
    assert found.second_worst is not None
    assert sum(times) / len(times) == pytest.approx(found.second, rel=0.05)
    assert max(times) <= found.second_worst


# -- moves against theory ------------------------------------------------------------------------------------


def _always(time: float) -> Distribution:
    return Distribution.certain(time)


@given(st.floats(1e-6, 0.05), st.floats(0.1, 5))
def test_few_moves_of_many_controls_wait_as_with_vacations(load: float, poll: float) -> None:
    """Doshi 1986; Bertsekas and Gallager 3.5 (from memory): at light load neither difference of the master is felt."""
    found = waits(load, 1e9, _always(1.0), _always(poll))
    assert found.mean == pytest.approx(vacation_wait(load, 1.0, 1.0, poll, poll * poll), rel=0.01)
    assert found.carried == pytest.approx(load, rel=1e-6)


def test_a_single_control_is_never_sent_more_often_than_the_line_allows() -> None:
    """At any speed of turning: one command and one poll in turn, or up to four commands."""
    found = waits(1e6, 1, _always(1.0), _always(2.0))
    assert found.carried == pytest.approx(4 / (4 * 1.0 + 2.0), rel=1e-3)


# -- ranges, limits, changes ---------------------------------------------------------------------------------


def test_best_and_worst_lie_around_the_mean_and_close_where_nothing_is_unknown() -> None:
    ranged = line_of(box(turnaround="2..20 ms"))
    cycle = ranged.groups[0].cycle
    assert cycle.best < cycle.mean < cycle.worst
    assert cycle.worst - cycle.best == pytest.approx(4 * 18e-3)
    assert "turnaround of camera" in ranged.unknown
    assert line_of(box(turnaround="5 ms")).groups[0].cycle.certain
    assert line_of(box(turnaround="5 ms")).unknown == ""
    assert "latency of converter" in line_of(box(latency="1..30 ms")).unknown


def test_what_takes_most_of_the_time_is_what_limits_the_line() -> None:
    assert line_of(box(packing="{idle: 30 ms, length: 0}")).limit.startswith("the converter's packing limits")
    assert line_of(box(turnaround="40 ms")).limit.startswith("the cameras' turnaround limits")
    assert line_of(box(baud="1200 Bd")).limit.startswith("the wire limits")


@pytest.mark.parametrize(
    "settings", [{}, {"every": "200 ms"}, {"packing": "{idle: 30 ms, length: 0}", "moves": "3 /s"}]
)
def test_a_change_gains_what_the_changed_plan_has(settings: dict[str, Any]) -> None:
    for change in line_of(box(cameras=4, **settings)).changes:
        assert change.gain > 0
        if change.name == "baud":
            other = line_of(box(**{**settings, "baud": change.text.split(" instead")[0]}))
        elif change.name == "converter":
            other = line_of(box(**{**settings, "cameras": 2}))
        elif change.name == "packing" and "1.09" not in change.text:
            other = line_of(box(**{**settings, "packing": f"{{idle: {change.text.split()[2]} ms, length: 0}}"}))
        else:
            continue
        if change.what == "load":
            assert other.figures is not None
            assert other.figures["load"].value == pytest.approx(change.after, rel=0.01)
        elif not settings.get("moves"):
            assert 1 / other.groups[0].cycle.mean == pytest.approx(change.after, rel=0.01)


# -- backwards -----------------------------------------------------------------------------------------------


def test_what_still_reaches_a_need_reaches_it_and_a_little_more_does_not() -> None:
    need = line_of(box(), need=10).need
    assert need is not None
    assert need.reached
    assert need.baud is not None
    assert need.packing is not None
    assert need.cameras is not None

    def cycle(**settings: Any) -> float:
        return line_of(box(**settings)).groups[0].cycle.mean

    slower = max(baud for baud in STANDARD_BAUDS if baud < need.baud)
    assert cycle(baud=f"{need.baud:.0f} Bd") < 0.1 < cycle(baud=f"{slower} Bd")
    idle = 1e9 * need.packing
    assert cycle(packing=f"{{idle: {0.99 * idle:.0f} ns, length: 0}}") < 0.1
    assert cycle(packing=f"{{idle: {1.02 * idle:.0f} ns, length: 0}}") > 0.1
    assert cycle(cameras=need.cameras) < 0.1 < cycle(cameras=need.cameras + 1)


def test_a_need_that_nothing_reaches_is_said_with_by_how_much() -> None:
    need = line_of(box(turnaround="30 ms"), need=100).need
    assert need is not None
    assert (need.reached, need.baud, need.packing, need.cameras) == (False, None, None, 0)
    assert any("no standard baud of these cameras reaches it" in text for text in need.text)
    assert any("not even one camera" in text for text in need.text)


def test_so_many_more_cameras_leave_the_headroom_and_one_more_does_not() -> None:
    more = line_of(box(cameras=4, every="400 ms")).more_cameras
    assert more
    full = line_of(box(cameras=4 + more, every="400 ms")).figures
    over = line_of(box(cameras=5 + more, every="400 ms")).figures
    assert full is not None
    assert over is not None
    assert full["headroom"].value > 0.3 > over["headroom"].value  # type: ignore[operator]


def test_only_a_baud_that_every_camera_supports_is_proposed() -> None:
    """Of the models here only some know 57600 Bd; `busim check` refuses it for the others."""
    for models in itertools.combinations(names(), 2):
        line = line_of(box(cameras=2, models=models, values="[tally]", baud="9600 Bd", controls="[tally]"), need=1)
        able = set.intersection(*({float(baud) for baud in find_model(one).bus.bauds} for one in models))
        assert line.need is not None
        assert line.need.baud in able
        for change in line.changes:
            if change.name == "baud":
                assert float(change.text.split()[0]) in able


def test_no_more_cameras_are_offered_than_unit_loads_and_bus_ids_leave_room_for() -> None:
    """32 unit loads: TIA/EIA-485-A via TI SLLA272. A minute between polls leaves time for thousands of cameras."""
    (case,), line = cases(box(every="60 s")), line_of(box(every="60 s"))
    assert line.more_cameras == case.room
    assert 0 < case.room <= 247 - 4


def test_moves_that_need_more_than_there_is_are_followed_while_newer_ones_replace_waiting_ones() -> None:
    """Two joysticks' worth at 115 % and more: a p95 in the run, and one in the budget. A regression."""
    plan = box(moves="60 /s", controls="[iris, red_gain]", cameras=2)
    line, seen = line_of(plan), Measured(plan, 200)
    assert line.moves is not None
    assert any("newer moves replace" in text for text in line.remarks)
    assert seen.mean("command", 8) == pytest.approx(line.moves.mean, rel=0.04)
    assert seen.line["move_p95"].value == pytest.approx(line.moves.p95, rel=0.06)
    assert seen.rate == pytest.approx(line.figures["poll_rate"].value, rel=0.015)  # type: ignore[index]


@pytest.mark.parametrize("moves", ["1 /s", "20 /s", "60 /s"])
@pytest.mark.parametrize("every", ["0", "400 ms"])
def test_best_mean_and_worst_treat_replaced_moves_alike(moves: str, every: str) -> None:
    line = line_of(box(moves=moves, every=every, controls="[iris, red_gain]"))
    for group in line.groups:
        assert group.cycle.best <= group.cycle.mean <= group.cycle.worst
    for noise in line.noise:
        assert noise.cycle >= line.groups[0].cycle.mean * (1 - 1e-9)


def test_a_pace_that_polls_without_one_prevent_is_not_called_too_much() -> None:
    line = line_of(box(more="{name: slow, values: [tally], every: 20 ms}"))
    said = " ".join(line.remarks)
    assert "0% too much" not in said
    assert "give those groups an interval" in said or "too much" in said


# -- where there is no number --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("plan", "said"),
    [
        (box(master="time_out: 12 ms"), "always its reply comes into the next exchange"),
        (box(master="time_out: 17 ms"), "sometimes its reply comes into the next exchange"),
        (box(absent=(1, 2, 3, 4)), "none of its cameras answers"),
        (read(TOP / "scenarios/two-masters/plan.yaml"), "nobody orders them"),
        (read(TOP / "scenarios/factory-fresh/plan.yaml"), "more than one camera answers to bus ID 1"),
    ],
    ids=["too short a time-out", "sometimes too short", "all dead", "two masters", "one ID for all"],
)
def test_where_nothing_can_be_computed_it_says_why_and_gives_no_number(plan: Plan, said: str) -> None:
    line = budget(plan).lines[0]
    assert any(said in text for text in line.obstacles), line.obstacles
    assert line.figures is None
    assert line.groups == ()


def test_a_rate_that_is_too_high_has_no_load_but_a_statement_by_how_much() -> None:
    line = line_of(box(cameras=3, every="30 ms"))
    assert line.figures is not None
    assert line.figures["load"].value is None
    assert line.figures["headroom"].value is None
    (text,) = line.remarks
    assert "89% too much" in text
    assert "56.8 ms instead" in text  # a run has the same: see "too fast a pace" above


def test_moves_that_cannot_be_followed_have_no_latency_but_a_statement() -> None:
    """Of 17 x 4 controls more would wait at once than the chain has states."""
    line = line_of(box(cameras=17, moves="100 /s"))
    assert line.moves is None
    assert line.figures is not None
    assert line.figures["move_p95"].value is None
    assert any("too many wait at once, and no latency is stated" in text for text in line.remarks)


def test_no_moves_and_no_groups_are_no_mistake() -> None:
    line = line_of(box())
    assert line.moves is None
    assert line.figures is not None
    assert line.figures["move_p95"].why == "no operator moves anything"


@pytest.mark.parametrize("need", [0.0, -1.0, math.inf, math.nan])
def test_a_need_that_is_no_rate_is_the_user_s_error(need: float) -> None:
    with pytest.raises(UserError, match="no such rate"):
        budget(box(), need=need)


@example(1, "1200 Bd", "0", "0", "1000 /s", set(), 0)  # where one more joystick never has its turn
@given(
    st.integers(1, 12), st.sampled_from(["1200 Bd", "9600 Bd", "115200 Bd"]), st.sampled_from(["0", "1..50 ms"]),
    st.sampled_from(["0", "20 ms", "5 s"]), st.sampled_from(["0", "0.1 /s", "10 /s", "1000 /s"]),
    st.sets(st.integers(1, 12)), st.sampled_from([0, 1e-7, 1e-3, 0.01]),
)  # fmt: skip
@settings(deadline=None)
def test_whatever_the_plan_every_number_is_sound(
    cameras: int, baud: str, turnaround: str, every: str, moves: str, absent: set[int], noise: float
) -> None:
    plan = box(
        cameras=cameras, baud=baud, turnaround=turnaround, every=every, moves=moves, absent=tuple(absent), more=SLOW,
        line=f"bit_error_rate: {noise}",
    )  # fmt: skip
    found = budget(plan, need=5.0)
    for line in found.lines:
        assert bool(line.obstacles) == (line.figures is None)
        figures = [value for camera in line.cameras for value in camera.figures.values()]
        for value in [*figures, *(line.figures or {}).values()]:
            assert (value.value is None) == bool(value.why)
            assert value.value is None or 0 <= value.value < math.inf
            assert QUANTITIES[value.quantity.name] is value.quantity
    json.loads(json.dumps(found.as_json(), allow_nan=False))


# -- the command ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["climbing-hall", "two-masters", "factory-fresh"])
def test_the_command_shows_every_scenario(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    command.command(str(SCENARIOS / name / "plan.yaml"), need="10Hz", detail=True)
    said = " ".join(capsys.readouterr().out.split())
    assert "Computed, not simulated, assuming:" in said
    assert "qqq" in said  # the bar, which reads without colours
    if name == "climbing-hall":
        assert said.count(" limits this line: ") == 3
        assert "10 polls/s: NOT reached" in said
        assert said.count("would help: ") == 9


def test_the_json_has_a_schema_and_every_quantity_by_its_name(capsys: pytest.CaptureFixture[str]) -> None:
    command.command(str(TOP / "scenarios/climbing-hall/plan.yaml"), as_json=True)
    found = json.loads(capsys.readouterr().out)
    assert found["schema"] == 1
    assert found["assumptions"]
    assert [line["line"] for line in found["lines"]] == ["boulder line", "rope line", "speed line"]
    for line in found["lines"]:
        assert set(line["figures"]) <= set(QUANTITIES)
        for value in line["figures"].values():
            assert value["kind"] in ("computed", "bound")


@pytest.mark.parametrize("what_ifs", [False, True])
def test_a_master_that_polls_nothing_and_only_moves_has_a_budget(what_ifs: bool) -> None:
    polled = box(moves="1 /s").source
    begin, end = polled.index("    groups:"), polled.index("panels:")
    (line,) = budget(read_text(polled[:begin] + polled[end:]), what_ifs=what_ifs).lines
    assert line.moves is not None
    assert line.moves.mean > 0
    assert line.second_master == ()


def test_an_id_that_the_protocol_does_not_have_is_the_plan_s_mistake_at_its_place() -> None:
    text = box().source.replace("{name: c2, bus_id: 2,", "{name: c2, bus_id: 300,")
    with pytest.raises(UserError) as caught:
        budget(read_text(text, "plan.yaml"))
    assert (caught.value.field, caught.value.found, caught.value.expected) == ("cameras[1].bus_id", "300", "1 to 247")


def test_a_second_converter_is_for_cameras_that_are_asked_anything() -> None:
    """A line whose first cameras have none of the polled values ended with a division by zero."""
    (line,) = budget(
        box(cameras=4, models=("minicam", "minicam"), values="[zoom]", every="1 s", controls="[gain]")
    ).lines
    assert {one.camera for one in line.exchanges} == {"c3", "c4"}
    (change,) = [one for one in line.changes if one.name == "converter"]
    assert "1 of 2 cameras" in change.text
    assert change.gain == pytest.approx(1.0, rel=1e-4)  # as many polls on each, of which one has a longer way


# -- ages ----------------------------------------------------------------------------------------------------

TWO_READS = "[iris, master_black, temperature]"  # registers apart, so that a poll of the group is several exchanges


def test_the_age_of_a_group_of_several_reads_does_not_depend_on_the_end_of_the_run() -> None:
    """It was that of the read counted most often."""
    records: list[Record] = []
    world = build(box(cameras=2, values=TWO_READS, packing="{idle: 20 ms, length: 0}"), 1, records.append)
    world.start()
    ages = []
    fold, taken = Fold(), 0
    (number,) = {name.row for name in world.names if name.kind == "line"}
    for until in range(20_000_000_000, 20_400_000_000, 40_000_000):
        world.kernel.advance(until)
        for record in records[taken:]:
            fold.take(record)
        taken = len(records)
        ages.append([fold.camera(number, one, until)["age_mean"].value for one in fold.camera_numbers(number)])
    for of_camera in zip(*ages, strict=True):
        assert max(of_camera) < 1.01 * min(of_camera)


@pytest.mark.parametrize(
    "settings",
    [
        {"values": TWO_READS, "cameras": 2},
        {"every": "125 ms", "more": SLOW},
        {"every": "300 ms", "cameras": 6, "more": SLOW, "moves": "3 /s"},
        {"every": "125 ms", "moves": "5 /s", "turnaround": "2..10 ms"},
        {"absent": (2,)},
    ],
    ids=["several reads", "a slow group", "a slow group and moves", "moves", "a dead camera"],
)
def test_ages_are_those_of_a_simulated_run(settings: dict[str, Any]) -> None:
    """Mean over the cameras within 3 %. A regression: both sides are our own."""
    plan = box(**settings)
    line, seen = line_of(plan), Measured(plan, 150, skip=0)
    alive = [camera for camera in line.cameras if not camera.trouble]
    expected = sum(camera.figures["age_mean"].value or 0 for camera in alive) / len(alive)
    found = [one["age_mean"].value for one in seen.cameras if one["age_mean"].value]
    assert sum(found) / len(found) == pytest.approx(expected, rel=0.03)
