"""Sweep: a plan with some of its values varied, point by point.

Public: `parse_axis`, `points` and `vary` (the values to vary, and the plan at one point), `compute` (all points at
once, by arithmetic), `simulate` (one point with one seed, from texts and numbers alone) and `gather` (the results of
simulated points), all to a `Sweep` of plain arrays.

Open `grid.py` first.
"""

from typing import TYPE_CHECKING

from busim.experiments.sweep.axes import KINDS, Axis, Kind, parse_axis, points, vary
from busim.experiments.sweep.grid import ONE_BY_ONE, compute
from busim.experiments.sweep.result import FIGURES, LineSweep, Sweep
from busim.foundation.first_use import by_name, fetched

if TYPE_CHECKING:
    from busim.experiments.sweep.simulated import Task, gather, simulate
else:
    __getattr__ = fetched(__name__, by_name({"simulated": "Task gather simulate"}))  # computed sweeps need no records

__all__ = [
    "FIGURES",
    "KINDS",
    "ONE_BY_ONE",
    "Axis",
    "Kind",
    "LineSweep",
    "Sweep",
    "Task",
    "compute",
    "gather",
    "parse_axis",
    "points",
    "simulate",
    "vary",
]
