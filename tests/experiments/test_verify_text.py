"""Plans whose protocol writes numbers with as many digits as they need: budget and simulation beside each other."""

from __future__ import annotations

import pytest
from budget_plans import SLOW, box
from places import TOP

from busim.analysis.budget import budget, cases
from busim.experiments.verify import HOLDS, TOO_FEW, verify
from busim.plan import Plan, read

_DRAWN = (  # cameras, baud, turnaround, packing, latency, dead, moves, other groups
    (1, "250000 Bd", "0..9 ms", 3, "0", (), "4 /s", ""),
    (3, "57600 Bd", "10..21 ms", 17, "1 ms", (), "0.9 /s", ""),
    (12, "9600 Bd", "9..19 ms", 13, "1..5 ms", (6,), "0.7 /s", ""),
    (8, "19200 Bd", "2..3 ms", 4, "1 ms", (), "2 /s", SLOW),
)


def _drawn(number: int) -> Plan:
    cameras, baud, turnaround, packing, latency, absent, moves, more = _DRAWN[number]
    return box(
        cameras=cameras, baud=baud, format="8N1", turnaround=turnaround, packing=f"{{idle: {packing} ms, length: 0}}",
        latency=latency, absent=absent, moves=moves, more=more, protocol="text",
    )  # fmt: skip


def _wrong(plan: Plan, seconds: float | None = None) -> list[str]:
    (line,) = verify(plan, None if seconds is None else round(seconds * 1e9)).lines
    assert line.checks
    allowed = (HOLDS,) if seconds is None else (HOLDS, TOO_FEW)
    return [
        f"{one.name} {one.of}: {one.expected:.6g} against {one.measured:.6g}"
        for one in line.checks
        if one.verdict not in allowed
    ]


@pytest.mark.parametrize("number", [0, 2])
def test_drawn_plans_of_text_have_what_is_expected(number: int) -> None:
    assert _wrong(_drawn(number), 60) == []


@pytest.mark.long
@pytest.mark.timeout(1200)
@pytest.mark.parametrize("number", range(len(_DRAWN)))
def test_drawn_plans_of_text_have_what_is_expected_in_a_long_run(number: int) -> None:
    assert _wrong(_drawn(number)) == []


def test_the_scenario_lines_of_text_has_what_is_expected() -> None:
    assert _wrong(read(TOP / "scenarios/lines-of-text/plan.yaml"), 100) == []


@pytest.mark.long
def test_the_scenario_lines_of_text_has_what_is_expected_in_a_long_run() -> None:
    assert _wrong(read(TOP / "scenarios/lines-of-text/plan.yaml")) == []


def test_a_moved_value_counts_with_the_mean_number_of_its_digits() -> None:
    """Of the numbers from 0 to 1000 ten have one digit, 90 two, 900 three and one has four: 2.892 on average (by
    counting). All else stands at its default, so moving the iris changes the reply by 2.892 - 3 digits."""
    still = cases(box(cameras=1, format="8N1", values="[iris]", controls="[gain]", moves="1 /s", protocol="text"))[0]
    moved = cases(box(cameras=1, format="8N1", values="[iris]", controls="[iris]", moves="1 /s", protocol="text"))[0]
    assert moved.polls[0].reply - still.polls[0].reply == pytest.approx((10 + 180 + 2700 + 4) / 1001 - 3, abs=0.01)


def test_time_outs_stay_those_of_the_longest_numbers() -> None:
    still = budget(box(cameras=1, format="8N1", values="[iris]", controls="[gain]", moves="1 /s", protocol="text"))
    moved = budget(box(cameras=1, format="8N1", values="[iris]", controls="[iris]", moves="1 /s", protocol="text"))
    assert still.lines[0].exchanges[0].time_out == moved.lines[0].exchanges[0].time_out
