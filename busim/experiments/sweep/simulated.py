"""Simulated points: one point with one seed is one task, and a task is texts and numbers alone.

So any process on any machine with busim can work on it, in any order, and a journal can hold it; the result depends on
the task alone. All points have the same seeds, so chance does not hide their differences.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import lru_cache
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from busim.experiments.sweep.axes import Axis, points, vary
from busim.experiments.sweep.result import LineSweep, Sweep
from busim.plan import Plan, read_text
from busim.recording.figures import Value, repeated_interval

if TYPE_CHECKING:
    from busim.experiments.measurement_run import LineMeasurement

ASSUMPTIONS = (
    "points are measured after the line has settled: cameras that never answer are offline",
    "intervals are those of the seeds, 95 % by Student's t",
)

Found = dict[str, dict[str, float | None]]  # "line / master" to figures


class Task(NamedTuple):
    """`text`: the plan; `files`: name and text of each file beside it, since the worker may not have them.

    `names`, `values`: the axes and this point; `line` None for all; `length` in ns.
    """

    text: str
    files: tuple[tuple[str, str], ...]
    names: tuple[str, ...]
    values: tuple[str, ...]
    line: str | None
    seed: int
    length: int


@lru_cache(maxsize=4)
def _read(text: str, files: tuple[tuple[str, str], ...]) -> Plan:
    return read_text(text, files=dict(files))


def simulate(task: Task) -> Found:
    """The figures of each master on each line. Raises UserError for unknown names."""
    plan = vary(_read(task.text, task.files), task.names, task.values, task.line)
    from busim.experiments.measurement_run import measure  # the simulator: a computed sweep starts without it

    seen = [one for one in measure(plan, task.length, task.seed) if task.line is None or one.line == task.line]
    return {f"{one.line} / {one.master}": _figures(one) for one in seen}


def _figures(seen: LineMeasurement) -> dict[str, float | None]:
    works = {work for _, work in seen.polls}
    cycles = [seen.cycles([camera for camera, _ in seen.polls], work) for work in sorted(works)]
    ages = [_value(figures["age_mean"]) for figures in seen.cameras.values()]
    known = [age for age in ages if age is not None]
    found = [_value(one["poll_rate"]) for one in seen.cameras.values() if "poll_rate" in one]
    rates = [rate for rate in found if rate]
    return {
        "exchange": float(seen.exchanges.mean()) if len(seen.exchanges) else None,
        "cycle": min((float(one.mean()) for one in cycles if len(one)), default=None),
        "camera_rate": sum(rates) / len(rates) if rates else None,
        "poll_rate": _value(seen.figures["poll_rate"]),
        "age_mean": sum(known) / len(known) if known else None,
        "occupancy": _value(seen.figures["occupancy"]),
        "load": _value(seen.figures["load"]),
        "headroom": _value(seen.figures["headroom"]),
        "move_mean": float(seen.moves.mean()) if len(seen.moves) else None,
        "move_p95": float(np.quantile(seen.moves, 0.95)) if len(seen.moves) else None,
    }


def _value(value: Value) -> float | None:
    return None if value.value is None else float(value.value)


def gather(
    plan: Plan, axes: Sequence[Axis], found: Mapping[tuple[int, int], Found], seeds: Sequence[int], need: float | None
) -> Sweep:
    """Means over the seeds with their intervals. `found`: all results by number of the point and seed."""
    count = len(points(axes))
    keys = dict.fromkeys(key for number in range(count) for key in found[number, seeds[0]])
    lines = []
    for key in keys:
        first = next(found[number, seeds[0]][key] for number in range(count) if key in found[number, seeds[0]])
        values, half = {}, {}
        for name in first:
            runs = np.array(
                [[_nan(found[number, one].get(key, {}).get(name)) for one in seeds] for number in range(count)]
            )
            values[name] = runs.mean(axis=1)
            half[name] = np.array([_nan(repeated_interval(row)) for row in runs])
        feasible = ~np.isnan(values["cycle"])
        if need is not None:
            feasible &= np.nan_to_num(1 / values["cycle"], nan=0.0) >= need
        line, _, master = key.partition(" / ")
        lines.append(LineSweep(line, master, (), values, half, feasible))
    return Sweep(plan.name, "measured", tuple(axes), tuple(lines), ASSUMPTIONS)


def _nan(value: float | None) -> float:
    return float("nan") if value is None else value
