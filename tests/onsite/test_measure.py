"""`busim measure`: known times of emulated cameras come back, and what cannot be told apart is not claimed."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from lines import tool_on, world_links
from scipy.stats import binom
from typer.testing import CliRunner

from busim.analysis.budget import budget
from busim.cli.app import app
from busim.foundation.errors import UserError
from busim.installation import resolve
from busim.onsite.measure import BOUND, COMPUTED, MEASURED, Measurement, interval, measure, planned
from busim.onsite.targets import OtherMaster, RealTool, open_target, parse_target
from busim.plan import Plan, change, read, read_text
from busim.protocols import find
from busim.runtime.session import Live
from busim.simulator.bus import setting

MS = 1_000_000
S = 10**9


def plan_of(
    *, turnaround: str = "5 ms", packing: str = "{idle: 4 ms}", latency: str = "1 ms", echo: bool = False,
    rfc2217: str = "off", masters: str = "",
) -> Plan:  # fmt: skip
    return read_text(f"""
busim: 1
name: training wall
lines:
  - name: wall line
    baud: 38400 Bd
    format: 8N1
    protocol: modbus-rtu
    order:
      - terminator
      - converter: wall box
      - {{camera: wall low, after: 12 m}}  # beside the door
      {masters and "- {master: laptop, after: 2 m}"}
      - terminator
converters:
  - name: wall box
    endpoint: "198.51.100.48:15001"
    packing: {packing}
    latency: {latency}
    rfc2217: {rfc2217}
    driver: {{echo: {str(echo).lower()}}}
cameras:
  - {{name: wall low, bus_id: 3, turnaround: {turnaround}}}
{masters}
""")


def measured(plan: Plan, believed: Plan | None = None, reads: int = 40) -> Measurement:
    """The camera of `plan` measured in simulated time, by somebody who has the plan `believed`."""
    with world_links(plan, "wall box") as (_, (link,)):
        return measure(tool_on(link, plan), planned(resolve(believed or plan), "3"), S // 10, reads)


def near(found: float, known: float) -> bool:
    """Within 5 % of the known value."""
    return abs(found - known) <= 0.05 * known


def middle(found: Measurement, name: str) -> tuple[str, float]:
    part = found.part(name)
    assert part is not None, [one.name for one in found.parts]
    return part.how, part.value.middle


# -- known values come back -----------------------------------------------------------------------------------


@pytest.mark.parametrize("turnaround", [1, 5, 20])
@pytest.mark.parametrize("packing", [2, 8])
def test_the_sum_is_measured_and_the_turnaround_computed_from_the_plan(turnaround: int, packing: int) -> None:
    found = measured(plan_of(turnaround=f"{turnaround} ms", packing=f"{{idle: {packing} ms}}"))
    how, rest = middle(found, "rest")
    assert (how, near(rest, (turnaround + packing + 2) * MS)) == (MEASURED, True)
    how, alone = middle(found, "turnaround")
    assert (how, near(alone, turnaround * MS)) == (COMPUTED, True)


def test_a_reply_in_bursts_shows_packing_length_and_idle_of_a_plan_that_says_otherwise() -> None:
    found = measured(plan_of(packing="{idle: 6 ms, length: 8}"), plan_of(packing="{idle: 1 ms}"))
    assert middle(found, "packing length") == (MEASURED, 8)
    how, idle = middle(found, "packing idle")
    assert (how, near(idle, 6 * MS)) == (MEASURED, True)
    assert near(middle(found, "turnaround")[1], 5 * MS)


def test_bytes_that_come_one_by_one_show_that_nothing_is_packed() -> None:
    found = measured(plan_of(packing="{idle: 0}"), plan_of(packing="{idle: 3 ms}"))
    assert middle(found, "packing idle") == (MEASURED, 0)
    assert near(middle(found, "turnaround")[1], 5 * MS)


@pytest.mark.parametrize("length", [0, 5])
def test_an_echo_tells_the_turnaround_from_all_the_rest_without_the_plan(length: int) -> None:
    packing = f"{{idle: 2 ms, length: {length}}}"
    found = measured(plan_of(turnaround="9 ms", packing=packing, latency="3 ms", echo=True), plan_of(latency="1 ms"))
    how, alone = middle(found, "turnaround")
    assert (how, near(alone, 9 * MS)) == (MEASURED, True)
    if length:
        how, passages = middle(found, "passages")
        assert (how, near(passages, 6 * MS)) == (MEASURED, True)


def test_a_turnaround_that_varies_comes_back_as_its_bounds() -> None:
    found = measured(plan_of(turnaround="4..12 ms", latency="500..1500 us"), reads=200)
    part = found.part("turnaround")
    assert part is not None
    assert near(part.value.middle, 8 * MS)
    assert abs(part.value.least - 4 * MS) < 0.8 * MS
    assert abs(part.value.most - 12 * MS) < 0.8 * MS


def test_what_no_sign_tells_apart_is_only_bounded() -> None:
    plan = plan_of()
    unknown = replace(planned(resolve(plan), "3"), converter=None, packing=None, latency=None)
    with world_links(plan, "wall box") as (_, (link,)):
        part = measure(tool_on(link, plan), unknown, S // 10, 10).part("turnaround")
    assert part is not None
    assert part.how == BOUND
    assert part.value.least == 0
    assert part.value.most >= 5 * MS


def test_a_plan_whose_packing_is_longer_than_the_whole_rest_is_not_believed() -> None:
    found = measured(plan_of(), plan_of(packing="{idle: 40 ms}"))
    part = found.part("turnaround")
    assert part is not None
    assert part.how == BOUND
    assert "longer than the whole rest" in part.why


# -- in wall time, behind a pseudo-terminal and over RFC 2217 ---------------------------------------------------


async def in_wall_time(tmp_path: Path, target: Callable[[Live], str]) -> Measurement:
    """Long times, so that 5 % of them are longer than a busy machine is late in the median."""
    plan = plan_of(turnaround="250 ms", packing="{idle: 100 ms}", latency="25 ms", rfc2217="applies")

    def run(at: str) -> Measurement:
        line = plan.lines[0]
        with open_target(parse_target(at), line.baud, line.format) as link:
            tool = RealTool(link, find(line.protocol), setting(line.baud, line.format), time_out=2 * S)
            return measure(tool, planned(resolve(plan), "wall low"), S // 10, 7)

    async with Live(plan, 1, any_port=True, pty=tmp_path) as live:
        return await asyncio.to_thread(run, target(live))


@pytest.mark.parametrize("way", ["pty", "rfc2217"])
async def test_known_times_come_back_in_wall_time(way: str, tmp_path: Path) -> None:
    def target(live: Live) -> str:
        address = live.addresses["wall box"]
        return str(tmp_path / "wall-box") if way == "pty" else f"rfc2217://{address.host}:{address.port}"

    found = await in_wall_time(tmp_path, target)
    assert near(middle(found, "rest")[1], 400 * MS)
    assert near(middle(found, "turnaround")[1], 250 * MS)
    assert (found.network is None) == (way == "pty")


# -- care -------------------------------------------------------------------------------------------------------


def test_nothing_is_sent_where_somebody_polls() -> None:
    masters = """
masters:
  - {name: laptop, on: [wall line], groups: [{name: watch, values: [iris], every: 70 ms}]}
"""
    plan = plan_of(masters=masters)
    with world_links(plan, "wall box") as (_, (link,)):
        tool = tool_on(link, plan)
        with pytest.raises(OtherMaster):
            measure(tool, planned(resolve(plan), "3"), S, 10)
        assert tool.sent == []


def test_a_camera_that_does_not_answer_is_named() -> None:
    plan = plan_of()
    wrong = read_text(plan.source.replace("bus_id: 3", "bus_id: 4"))
    with world_links(plan, "wall box") as (_, (link,)):
        tool = tool_on(link, plan)
        with pytest.raises(UserError, match="no reply could be timed"):
            measure(tool, planned(resolve(wrong), "4"), S // 10, 100)
    assert len(tool.sent) == 6, "a hundred time-outs would take minutes"


def test_a_camera_is_named_by_its_name_or_its_only_bus_id() -> None:
    site = resolve(plan_of())
    assert planned(site, "wall low").bus_id == planned(site, "3").bus_id == 3
    with pytest.raises(UserError, match="no such camera"):
        planned(site, "4")


# -- the interval -----------------------------------------------------------------------------------------------


@given(st.integers(6, 400))
def test_the_interval_of_a_median_has_the_confidence_that_it_claims(count: int) -> None:
    """By scipy's binomial distribution; order statistics: David and Nagaraja, 2003, 7.1 (from memory)."""
    found = interval([float(number) for number in range(count)])
    below = int(found.low)
    assert found.high == count - 1 - below
    assert 2 * binom.cdf(below, count, 0.5) <= 0.05
    assert 2 * binom.cdf(below + 1, count, 0.5) > 0.05


# -- the plan and its budget ------------------------------------------------------------------------------------


def test_the_command_writes_what_it_measured_keeps_comments_and_the_budget_says_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    real, believed = plan_of(turnaround="7 ms"), tmp_path / "plan.yaml"
    believed.write_text(plan_of(turnaround="2 ms").source)
    words = ["measure", "socket://192.0.2.10:4001", "--plan", str(believed), "--camera", "3", "--reads", "20"]
    words += ["--yes", "--listen", "100 ms"]

    def invoked(*more: str) -> str:
        with world_links(real, "wall box") as (_, (link,)):
            monkeypatch.setattr("busim.onsite.targets.open_target", lambda *_, **__: link)
            done = CliRunner().invoke(app, [*words, *more])
        assert done.exit_code == 0
        assert "--json" in more or max(map(len, done.output.splitlines())) <= 80
        return done.stdout

    before = believed.read_text()
    assert "For the plan (--write)" in invoked()
    assert believed.read_text() == before
    told = json.loads(invoked("--json", "--write"))
    assert told["plan_fields"]["cameras[wall low].turnaround"].startswith(("7", "6"))
    text = believed.read_text()
    assert "# beside the door" in text
    camera = read(believed).cameras[0]
    assert camera.measured is not None
    assert camera.measured.turnaround == camera.turnaround
    assert near(camera.turnaround.mean, 7 * MS)
    (said, packed) = budget(read(believed)).sources
    assert "'wall low': measured on 20" in said
    assert packed == "packing of 'wall box': as planned"
    other = change(read(believed), {"cameras[wall low].turnaround": "1 ms"})
    assert "1 ms as planned, although" in budget(other).sources[0]


def test_a_default_turnaround_is_said_to_be_assumed() -> None:
    plan = read_text(plan_of().source.replace(", turnaround: 5 ms", "").replace("    packing: {idle: 4 ms}\n", ""))
    assert budget(plan).sources == (
        "turnaround of 'wall low': assumed, from their models",
        "packing of 'wall box': assumed, by default",
    )


def test_baud_is_that_of_the_plan() -> None:
    assert planned(resolve(plan_of()), "3").baud == Fraction(38400)
