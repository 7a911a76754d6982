"""An arithmetic sweep: the budget's laws over all points at once.

Only sums over the polls enter the laws, one sum for each wanted rate, so a point needs only a few numbers. The polls'
times are laid out as [point, poll] once for all axes but `cameras`, and summed for each number of cameras by one
product of matrices. Every move counts as sent (none replaces another): replacement would need its own chain for each
point. Figures of moves need that chain; they are computed point by point, and only on request.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, TypeVar

import numpy as np
import numpy.typing as npt

from busim.analysis.budget import ASSUMPTIONS, Case, Varied, cases
from busim.experiments.sweep.axes import KINDS, Axis, points, vary
from busim.experiments.sweep.laws import figures as laws_figures
from busim.experiments.sweep.result import LineSweep, Sweep
from busim.plan import Plan

if TYPE_CHECKING:
    from busim.analysis.budget import Budget

Array = npt.NDArray[np.float64]
Scalar = TypeVar("Scalar", bound=np.generic)

ONE_BY_ONE = ("move_mean", "move_p95", "age_mean")
_BLOCK = 2048  # points worked on at once, so that a large sweep does not need more memory than its result
KEPT = (
    "in a computed sweep a wanted interval is kept where there is time for it: places that polls lose are not counted"
)
SENT = "in a computed sweep every move is sent: that a newer one replaces one that waits is not counted"


def compute(
    plan: Plan,
    axes: Sequence[Axis],
    *,
    line: str | None = None,
    need: float | None = None,
    figures: Sequence[str] = (),
) -> Sweep:
    """The figures at every point. `figures`: those of `ONE_BY_ONE` to compute too. `need`: polls per second of a camera
    that make a point feasible. Raises UserError for unknown names.
    """
    places = points(axes)
    names = [axis.name for axis in axes]
    first = [max(axis.values, key=int) if axis.name == "cameras" else axis.values[0] for axis in axes]
    if "panel.moves" in names:
        first[names.index("panel.moves")] = "1 /s"
    largest = vary(plan, names, first, line)
    found = [_Grid(case, axes).result(need) for case in cases(largest) if line is None or case.line == line]
    missing = any(np.isnan(one.values["age_mean"]).any() for one in found if not one.declined)
    wanted = [name for name in ONE_BY_ONE if name in figures and (name != "age_mean" or missing)]
    if wanted:
        from busim.analysis.budget import budget  # loads much that most sweeps need not

        budgets = [budget(vary(plan, names, place, line), what_ifs=False) for place in places]
        for one in found:
            if not one.declined:
                rows = np.array([_one_by_one(at, one) for at in budgets])
                one.values.update((name, rows[:, ONE_BY_ONE.index(name)]) for name in wanted)
    return Sweep(plan.name, "computed", tuple(axes), tuple(found), (*ASSUMPTIONS, SENT, KEPT))


def _one_by_one(found: Budget, swept: LineSweep) -> tuple[float, float, float]:
    """The figures of `ONE_BY_ONE` of a master on a line, seconds; nan where they do not apply."""
    line = next((one for one in found.lines if (one.line, one.master) == (swept.line, swept.master)), None)
    if line is None or line.figures is None:
        return np.nan, np.nan, np.nan
    ages = [one.figures["age_mean"].value for one in line.cameras]
    known = [age for age in ages if age is not None]
    mean, p95 = (np.nan, np.nan) if line.moves is None else (line.moves.mean, line.moves.p95)
    return mean, p95, float(np.mean(known)) if known else np.nan


class _Grid:
    """One case over all points. Arrays are [point, number of cameras]: the points of all other axes, flattened."""

    def __init__(self, case: Case, axes: Sequence[Axis]) -> None:
        self.case = case
        self._axes = axes
        others = [axis for axis in axes if axis.name != "cameras"]
        sizes = [len(axis.values) for axis in others]
        self._sizes = sizes
        self._count = int(np.prod(sizes)) if sizes else 1
        self._block = slice(0, self._count)
        self._columns = {
            axis.name: np.broadcast_to(
                np.arange(len(axis.values)).reshape([-1 if axis is one else 1 for one in others]), sizes
            ).reshape(-1)
            for axis in others
        }
        self._values = {axis.name: [KINDS[axis.name].read(text) for text in axis.values] for axis in others}
        self._numbers: dict[tuple[str, str], Array] = {}
        cameras = next((axis for axis in axes if axis.name == "cameras"), None)
        self.counts = np.array([len(case.units)] if cameras is None else [int(text) for text in cameras.values])
        self.there = np.arange(len(case.units))[:, np.newaxis] < self.counts  # [unit, number of cameras]

    def column(self, name: str, part: str = "") -> Array | None:
        """[point, 1]: the values of an axis, or None if it is not varied."""
        if name not in self._values:
            return None
        if (name, part) not in self._numbers:
            values = [getattr(value, part) if part else value for value in self._values[name]]
            self._numbers[name, part] = np.array([float(value) for value in values])  # type: ignore[arg-type]
        return np.asarray(self._numbers[name, part][self._columns[name][self._block]][:, np.newaxis])

    @property
    def points(self) -> int:
        """The points of the present block."""
        return self._block.stop - self._block.start

    def varied(self) -> Varied:
        behind = bool(self.case.converter)
        return Varied(
            baud=self.column("line.baud"),
            turnaround_low=self.column("camera.turnaround", "low"),
            turnaround_high=self.column("camera.turnaround", "high"),
            packing_idle=self.column("converter.packing") if behind else None,
            latency_low=self.column("converter.latency", "low") if behind else None,
            latency_high=self.column("converter.latency", "high") if behind else None,
            gap=self.column("master.gap"),
            bit_error_rate=self.column("line.bit_error_rate"),
        )

    # -- the result -------------------------------------------------------------------------------------------

    def result(self, need: float | None) -> LineSweep:
        case = self.case
        declined = _declined(case)
        if declined:
            nothing = np.zeros(self._count * len(self.counts), dtype=bool)
            return LineSweep(case.line, case.master, declined, {}, {}, nothing)
        blocks: list[dict[str, Array]] = []
        feasible: list[npt.NDArray[np.bool_]] = []
        for start in range(0, self._count, _BLOCK):
            self._block = slice(start, min(start + _BLOCK, self._count))
            with np.errstate(divide="ignore", invalid="ignore"):
                values, reached = laws_figures(self, need)
            blocks.append(values)
            feasible.append(reached)
        whole = {name: self._flat(np.concatenate([block[name] for block in blocks])) for name in blocks[0]}
        return LineSweep(case.line, case.master, (), whole, {}, self._flat(np.concatenate(feasible)))

    def _flat(self, grid: npt.NDArray[Scalar]) -> npt.NDArray[Scalar]:
        """[point, cameras] in the order of the points."""
        names = [axis.name for axis in self._axes]
        full = grid.reshape(*self._sizes, -1)
        if "cameras" in names:
            full = np.moveaxis(full, -1, names.index("cameras"))
        return np.ascontiguousarray(full).reshape(-1)


def _declined(case: Case) -> tuple[str, ...]:
    """Why no point can be computed."""
    if len(case.masters) > 1:
        names = " and ".join(repr(name) for name in case.masters)
        order = "what each gets is not swept" if case.arbitrated else "nobody orders them"
        return (f"{names} all ask on this line and {order}",)
    if case.clash:
        return (f"more than one camera answers to bus ID {min(case.clash)}",)
    if case.faulty:
        return (case.faulty,)
    return () if case.polls else (f"master {case.master!r} polls nothing here",)
