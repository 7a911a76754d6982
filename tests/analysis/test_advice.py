"""The limit and the best changes of a line, against trying every change."""

from __future__ import annotations

import re
from collections.abc import Iterator
from fractions import Fraction

import numpy as np
import pytest
from budget_plans import SLOW, box
from small_plans import wall

from busim.analysis.budget import Case, PollSchedule, budget, cases
from busim.analysis.budget.changes import bauds_of
from busim.foundation.units import Spread
from busim.plan import Plan

VALUES = "[iris, master_black, temperature, zoom, tally]"  # five reads, none beside another


def drawn(seed: int) -> dict[str, object]:
    """A plan that one thing or another limits."""
    chance = np.random.Generator(np.random.PCG64(seed))
    low = int(chance.integers(1, 8))
    return {
        "cameras": int(chance.integers(2, 7)),
        "baud": f"{chance.choice([9600, 19200, 38400])} Bd",
        "turnaround": f"{low}..{low + int(chance.integers(1, 12))} ms",
        "packing": f"{{idle: {int(chance.integers(2, 40))} ms, length: 0}}",
        "latency": f"{chance.choice([1, 3, 10])} ms",
        "values": VALUES,
        "every": str(chance.choice(["0", "0", "3 s"])),
        "more": str(chance.choice(["", SLOW])),
        "master": str(chance.choice(["", "gap: 9 ms"])),
        "moves": str(chance.choice(["0", "0.5 /s"])),
    }


def alternatives(case: Case) -> Iterator[tuple[str, Case]]:
    """Each single change as a case of its own: fifteen or more."""
    for baud in bauds_of(case):
        if baud > case.baud:
            units = tuple(one._replace(baud=one.baud * baud / case.baud) for one in case.units)
            yield f"baud {baud}", case._replace(baud=Fraction(baud), units=units)
    character = 5e8 * case.format.half_bits / float(case.baud)
    shortest = max(1_000_000, round(3.5 * character))  # settings that converters have, and 3.5 characters
    for idle in (shortest, 2 * shortest, case.packing_idle // 2):
        if shortest <= idle < case.packing_idle:
            yield f"packing {idle}", case._replace(packing_idle=idle)
    yield "latency", case._replace(latency=Spread(case.latency.low // 2, case.latency.high // 2))
    yield "latency of a quarter", case._replace(latency=Spread(case.latency.low // 4, case.latency.high // 4))
    yield "gap", case._replace(gap=0)
    yield "gap of half", case._replace(gap=case.gap // 2)
    for work in dict.fromkeys((poll.group, poll.work) for poll in case.polls):
        left = tuple(poll for poll in case.polls if (poll.group, poll.work) != work)
        yield f"without {work[1]}", case._replace(polls=left)
    for keep in range((len(case.units) + 1) // 2, len(case.units)):
        polls = tuple(poll for poll in case.polls if poll.unit < keep)
        moves = tuple(move for move in case.moves if move.unit < keep)
        yield f"cameras: {keep} here", case._replace(polls=polls, moves=moves)


def worth(case: Case, changed: Case, saturated: bool) -> float:
    """The gain, computed anew: the rate of the values polled most, or the room for more polls."""
    now, then = PollSchedule(case), PollSchedule(changed)
    return now.shortest / then.shortest - 1 if saturated else now.demand / then.demand - 1


@pytest.mark.parametrize("seed", range(20))
def test_no_single_change_gains_more_than_those_that_are_advised(seed: int) -> None:
    """The three advised changes are as good as the three best of all, one of each kind: one step of
    baud, the shortest packing, half of the cameras."""
    plan = box(**drawn(seed))  # type: ignore[arg-type]
    (case,), (line,) = cases(plan), budget(plan).lines
    tried = dict(alternatives(case))
    assert len(tried) >= 15
    saturated = PollSchedule(case).cycle > 0
    gains = {name: worth(case, other, saturated) for name, other in tried.items()}
    offered: dict[str, float] = {}
    for name, gain in gains.items():  # the first trial of each kind
        offered.setdefault(name if name.startswith("without") else name.split()[0], gain)
    best = sorted(offered.values(), reverse=True)
    assert line.changes[0].gain >= best[0] * 0.98, (line.changes, offered)
    for change, third in zip(line.changes, best[:3], strict=False):
        assert change.gain >= third * 0.97, (line.changes, offered)


@pytest.mark.parametrize("seed", range(20))
def test_what_limits_a_line_is_what_helps_most_of_its_settings(seed: int) -> None:
    """Of baud and packing, which an integrator sets: the sentence never names the one that helps less by half."""
    plan = box(**drawn(seed))  # type: ignore[arg-type]
    (case,), (line,) = cases(plan), budget(plan).lines
    faster = next(baud for baud in bauds_of(case) if baud > case.baud)
    units = tuple(one._replace(baud=one.baud * faster / case.baud) for one in case.units)
    saturated = PollSchedule(case).cycle > 0
    baud = worth(case, case._replace(baud=Fraction(faster), units=units), saturated)
    packing = worth(case, case._replace(packing_idle=min(case.packing_idle, 1_000_000)), saturated)
    if packing > 2 * baud:
        assert "the wire limits" not in line.limit
    if baud > 2 * packing:
        assert "the converter's packing limits" not in line.limit


def test_a_line_full_of_moves_is_limited_by_what_shortens_them_too() -> None:
    """At 9600 Bd 40 moves/s of 16 characters fill it: the wire takes about half of the time, and moves most of it."""
    (line,) = budget(box(cameras=2, baud="9600 Bd", moves="40 /s")).lines
    assert re.fullmatch(
        r"the wire limits this line: 5\d% of the master's busy time \(7\d% goes to operators' moves\), "
        r"1\d(\.\d+)? ms for each exchange",
        line.limit,
    )


def test_the_polls_of_an_advice_are_those_of_the_table() -> None:
    """Noise of 0.001 loses three of ten polls, before a change and after it."""
    (line,) = budget(box(cameras=3, line="bit_error_rate: 0.001")).lines
    rate = line.cameras[0].figures["poll_rate"].value
    assert [change.before for change in line.changes] == [pytest.approx(rate, rel=1e-6)] * 3


@pytest.mark.parametrize(("plan", "said"), [
    (box(cameras=2), "a second converter: 1 of 2 cameras on a line of its own"),
    (wall(cameras=4), "a second master: 2 of 4 cameras on a line of their own"),
])  # fmt: skip
def test_a_second_line_is_asked_as_the_first_is(plan: Plan, said: str) -> None:
    (line,) = budget(plan).lines
    assert said in [change.text for change in line.changes]


def test_a_need_on_a_noisy_line_says_how_many_polls_are_answered() -> None:
    """Noise of 0.001 loses three of ten: 10 /s are asked, 7 /s answered."""
    (line,) = budget(box(cameras=3, line="bit_error_rate: 0.001"), need=10).lines
    assert line.need is not None
    assert "so that 7.1 a second are answered" in line.need.text[-1]


def test_a_need_at_the_fastest_baud_compares_it_with_no_baud() -> None:
    (line,) = budget(box(turnaround="10..40 ms", baud="115200 Bd"), need=10).lines
    assert line.need is not None
    assert "no faster standard baud of these cameras: 115200 Bd is the last" in line.need.text


def test_a_need_that_moves_leave_no_room_for_says_so() -> None:
    (line,) = budget(box(every="1 s", moves="25 /s", baud="9600 Bd"), need=10).lines
    assert line.need is not None
    assert line.need.text[-1] == "not even one camera alone can be polled so often beside the moves"
