"""The result of a sweep: per master on each line, one number of each figure at each point."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product, repeat
from typing import Any

import numpy as np
import numpy.typing as npt

from busim.experiments.sweep.axes import Axis
from busim.foundation.errors import UserError

Array = npt.NDArray[np.float64]

# name -> unit, meaning; names that a run has too mean the same there (busim explain figures)
UNITS = {"s": "s", "/s": "per_s"}  # in names of columns

FIGURES = {
    "exchange": ("s", "mean time of an answered poll"),
    "cycle": ("s", "mean time between two polls of a camera, for the values polled most"),
    "camera_rate": ("/s", "polls of one camera answered well, of its values polled most, mean over the cameras"),
    "poll_rate": ("/s", "polls answered well, all cameras together"),
    "age_mean": ("s", "mean age of the values polled most, mean over the cameras"),
    "occupancy": ("1", "share of time in which characters are on the wire"),
    "load": ("1", "share of time that all polls with a wanted rate need, 1 if polls never rest"),
    "headroom": ("1", "1 - load, if every poll group has a wanted rate"),
    "move_mean": ("s", "mean time from a move to its acknowledgement"),
    "move_p95": ("s", "95 % of the moves were acknowledged within this"),
}


Row = dict[str, str | float | bool | None]


@dataclass(frozen=True, slots=True)
class LineSweep:
    """One master on one line. `values`: figure to an array over the points, nan without a value.

    `half`: half-widths of the 95 % intervals over the seeds, only for simulated points; nan for a single seed.
    `feasible`: there is a steady state, groups keep their rates, the need is met. `declined`: why nothing could be
    computed for any point; then there are no values.
    """

    line: str
    master: str
    declined: tuple[str, ...]
    values: dict[str, Array]
    half: dict[str, Array]
    feasible: npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Sweep:
    """`kind`: computed or measured. Points are all combinations of the axes' values, the last axis fastest."""

    plan: str
    kind: str
    axes: tuple[Axis, ...]
    lines: tuple[LineSweep, ...]
    assumptions: tuple[str, ...]

    @property
    def shape(self) -> tuple[int, ...]:
        """The shape of the grid into which `values` reshape."""
        return tuple(len(axis.values) for axis in self.axes)

    def rows(self, line: LineSweep | None = None) -> Iterator[Row]:
        """A row for each point of a line and master, of all without `line`: the axes' values as written, figures,
        intervals; None where there is no value."""
        for one in self.lines if line is None else (line,):
            figures: dict[str, list[float | None]] = {}
            for name, values in one.values.items():
                figures[name] = _numbers(values)
                if name in one.half:
                    figures[f"{name}_half"] = _numbers(one.half[name])
            keys = ("line", "master", *(axis.name for axis in self.axes), *figures, "feasible")
            feasible = one.feasible.tolist()
            numbers = zip(*figures.values(), strict=True) if figures else repeat((), len(feasible))
            places = product(*(axis.values for axis in self.axes))
            for place, found, good in zip(places, numbers, feasible, strict=False):  # none where it was declined
                yield dict(zip(keys, (one.line, one.master, *place, *found, good), strict=True))

    def row(self, line: LineSweep, number: int) -> Row:
        """One of the rows of a line and master, counted from 0."""
        place = np.unravel_index(number, self.shape)
        row: Row = {"line": line.line, "master": line.master}
        row |= {axis.name: axis.values[at] for axis, at in zip(self.axes, place, strict=True)}
        for name, values in line.values.items():
            for part, numbers in ((name, values), (f"{name}_half", line.half.get(name))):
                if numbers is not None:
                    row[part] = _numbers(numbers[number : number + 1])[0]
        return row | {"feasible": bool(line.feasible[number])}

    def columns(self) -> dict[str, list[str] | npt.NDArray[Any]]:
        """The same as columns of one type each, the unit at the end of their names: baud and counts as whole numbers,
        times in seconds, both ends of a range; nan where there is no value."""
        places = np.indices(self.shape).reshape(len(self.axes), -1)
        count = places.shape[1]
        found: dict[str, list[str] | npt.NDArray[Any]] = {
            "line": [line.line for line in self.lines for _ in range(count)],
            "master": [line.master for line in self.lines for _ in range(count)],
        }
        for axis, at in zip(self.axes, places, strict=True):
            for name, numbers in axis.columns().items():
                found[name] = np.tile(np.array(numbers)[at], len(self.lines))
        nothing = np.full(count, np.nan)
        for name, (unit, _) in FIGURES.items():
            end = f"_{UNITS[unit]}" if unit in UNITS else ""
            for part, values in (("", [one.values for one in self.lines]), ("_half", [one.half for one in self.lines])):
                if any(name in one for one in values):
                    found[f"{name}{part}{end}"] = np.concatenate([one.get(name, nothing) for one in values])
        found["feasible"] = np.concatenate([line.feasible for line in self.lines])
        return found

    def one(self, line: str | None = None) -> LineSweep:
        """The sweep of a line; by default the first. Raises UserError for an unknown name."""
        for one in self.lines:
            if line is None or one.line == line:
                return one
        raise UserError(
            "the sweep has no such line", found=repr(line), expected=" or ".join(repr(one.line) for one in self.lines)
        )


def _numbers(values: Array) -> list[float | None]:
    return [None if value != value else value for value in values.tolist()]
