"""The budget of a plan and a simulated run of it, side by side.

It shows that arithmetic and simulation agree. Both are ours, so agreement proves neither right; the tests of each
compare it with outside sources.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from busim.analysis.budget import ASSUMPTIONS, ArbitratedBudget, LineBudget, budget
from busim.experiments.measurement_run import LineMeasurement, measure
from busim.experiments.verify.checks import (
    DIFFERS,
    HOLDS,
    TOLERANCES,
    TOO_FEW,
    Check,
    bound_check,
    mean_check,
    plain_check,
    quantile_check,
    strict_mean_check,
)
from busim.plan import Plan
from busim.recording.figures import Value

SCHEMA = 1
_MOVES = 2500  # answered moves that resolve 3 % of their mean
_ROUNDS = 400  # cycles of the most frequent polls
_SHORTEST, _LONGEST = 60.0, 24 * 3600.0  # s


@dataclass(frozen=True, slots=True)
class LineVerification:
    """One master on one line. `declined`: why there is nothing to compare; then there are no checks."""

    line: str
    master: str
    declined: tuple[str, ...]
    checks: tuple[Check, ...]


@dataclass(frozen=True, slots=True)
class Verification:
    """`length`: simulated ns after settling. `verdict`: the worst of all checks, HOLDS without any."""

    plan: str
    seed: int
    length: int
    lines: tuple[LineVerification, ...]
    assumptions: tuple[str, ...] = ASSUMPTIONS

    @property
    def verdict(self) -> str:
        found = {check.verdict for line in self.lines for check in line.checks}
        return next((verdict for verdict in (DIFFERS, TOO_FEW) if verdict in found), HOLDS)

    def as_json(self) -> dict[str, object]:
        """JSON-ready; `schema` rises when a meaning changes."""
        return {
            "schema": SCHEMA,
            "plan": self.plan,
            "seed": self.seed,
            "length_s": self.length / 1e9,
            "verdict": self.verdict,
            "lines": [
                {
                    "line": line.line,
                    "master": line.master,
                    "declined": list(line.declined),
                    "checks": [
                        {
                            "name": check.name, "of": check.of, "unit": check.unit, "expected": check.expected,
                            "kind": "bound" if check.tolerance is None else "computed", "measured": check.measured,
                            "count": check.count, "low": check.low, "high": check.high,
                            "tolerance": check.tolerance, "verdict": check.verdict,
                        }
                        for check in line.checks
                    ],
                }
                for line in self.lines
            ],
            "assumptions": list(self.assumptions),
        }  # fmt: skip


def long_enough(plan: Plan) -> int:
    """ns of a run with enough moves and cycles for the tolerances, from a minute to a day."""
    seconds = _SHORTEST
    for line in budget(plan, what_ifs=False).lines:
        if line.moves is not None and line.moves.rate:
            seconds = max(seconds, _MOVES / (line.moves.rate * (1 - line.moves.replaced)))
        if line.groups:
            seconds = max(seconds, _ROUNDS * min(group.cycle.mean for group in line.groups))
    return round(1e9 * min(seconds, _LONGEST))


def verify(
    plan: Plan,
    length: int | None = None,
    seed: int = 1,
    advanced: Callable[[int, int], None] = lambda *_: None,
) -> Verification:
    """Compute a plan's budget, simulate the plan for `length` ns (`long_enough` by default) and compare.

    `advanced` gets the progress: ns done, ns in all. Raises UserError for unknown names.
    """
    expected = budget(plan, what_ifs=False).lines
    length = long_enough(plan) if length is None else length
    steady = any(not (line.obstacles or line.uncertain) for line in expected)
    seen = {(one.line, one.master): one for one in measure(plan, length, seed, advanced)} if steady else {}
    return Verification(
        plan.name,
        seed,
        length if steady else 0,
        tuple(_line(line, seen.get((line.line, line.master))) for line in expected),
    )


def _line(line: LineBudget, seen: LineMeasurement | None) -> LineVerification:
    if line.obstacles or line.uncertain or seen is None:
        return LineVerification(line.line, line.master, line.obstacles + line.uncertain, ())
    if line.arbitrated is not None:
        return LineVerification(line.line, line.master, (), tuple(_arbitrated(line.arbitrated, seen)))
    checks = (*_polls(line, seen), *_moves(line, seen), *_figures(line, seen))
    return LineVerification(line.line, line.master, (), checks)


def _arbitrated(expected: ArbitratedBudget, seen: LineMeasurement) -> Iterator[Check]:
    """The share of one of several masters behind an arbitrating converter, and its waits."""
    count = len(seen.exchanges)
    yield plain_check("shared_rate", "", "/s", expected.rate, count / (seen.length / 1e9), count)
    if count:
        yield mean_check("shared_exchange", "", expected.exchange, seen.exchanges)
        yield bound_check("shared_worst", "", expected.worst, float(seen.exchanges.max()), count)


def _polls(line: LineBudget, seen: LineMeasurement) -> Iterator[Check]:
    """Mean exchange, and the cycle of each group."""
    alive = [camera.name for camera in line.cameras if not camera.trouble]
    cycles = {group.name: group.cycle.mean for group in line.groups}
    polled = [one for one in line.exchanges if one.camera in alive]
    rates = [1 / cycles[_group(one.work, cycles)] for one in polled]
    if len(seen.exchanges) and rates:
        spent = sum(one.total.mean * rate for one, rate in zip(polled, rates, strict=True))
        yield mean_check("exchange", "", spent / sum(rates), seen.exchanges)
    for name, cycle in cycles.items():
        found = seen.cycles(alive, name)
        if len(found):
            yield mean_check("cycle", name, cycle, found)


def _group(work: str, cycles: dict[str, float]) -> str:
    """The group of a work: its name, or the one with the first key of a further run appended."""
    return work if work in cycles else work.rpartition(" from ")[0]


def _moves(line: LineBudget, seen: LineMeasurement) -> Iterator[Check]:
    moves = line.moves
    if moves is None or not len(seen.moves):
        return
    yield strict_mean_check("move_mean", "", moves.mean, seen.moves)
    yield quantile_check("move_p95", "", moves.p95, seen.moves, 0.95)
    if moves.bound is not None:
        yield bound_check("move_max", "", moves.bound, float(seen.moves.max()), len(seen.moves))


def _figures(line: LineBudget, seen: LineMeasurement) -> Iterator[Check]:
    """The figures that a run has too, of the line and of each camera."""
    assert line.figures is not None
    for name in ("poll_rate", "latency_p50", "latency_p95", "latency_p99", "latency_max", "occupancy", "load"):
        yield from _figure(name, "", line.figures[name], seen.figures[name])
    for camera in line.cameras:
        measured = seen.cameras.get(camera.name, {})
        for name in ("age_mean", "age_worst"):
            if name in measured and not camera.trouble:
                yield from _figure(name, camera.name, camera.figures[name], measured[name])


def _figure(name: str, of: str, expected: Value, measured: Value) -> Iterator[Check]:
    if expected.value is None or measured.value is None:
        return
    unit = expected.quantity.unit
    if expected.kind == "bound":
        yield bound_check(name, of, expected.value, measured.value, measured.count)
    elif name in TOLERANCES:
        yield plain_check(name, of, unit, expected.value, measured.value, measured.count)
