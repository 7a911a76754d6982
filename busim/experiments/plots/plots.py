"""The plots. matplotlib is loaded only here, and only for a plot: nothing else needs it."""

from __future__ import annotations

from io import BytesIO
from typing import TYPE_CHECKING, Any

import numpy as np

from busim.analysis.budget import LineBudget
from busim.experiments.sweep import FIGURES, KINDS, Axis, LineSweep, Sweep
from busim.foundation.errors import UserError, not_installed
from busim.physics.exchange import PARTS

if TYPE_CHECKING:
    from matplotlib.figure import Figure

# Okabe and Ito, "Color Universal Design", 2008 (from memory): colours that colour-blind readers can distinguish. The
# hatches do the same on grey paper.
_COLOURS = ("#0072B2", "#E69F00", "#56B4E9", "#009E73", "#D55E00", "#CC79A7", "#999999")
# By S. van der Walt and N. Smith, 2015 (CC0, from memory): its brightness rises evenly, so it reads on grey paper.
_SCALE = "viridis"
_MOST_NUMBERS = 200  # cells that have their number in them
_HATCHES = ("", "//", "..", "xx", "\\\\", "oo", "--")


def _figure(width: float, height: float) -> Figure:
    """Raises UserError without matplotlib."""
    try:
        from matplotlib.figure import Figure
    except ImportError:
        raise not_installed("matplotlib", "plots", "a plot") from None
    return Figure(figsize=(width, height), layout="constrained")


def to_svg(figure: Figure) -> bytes:
    """The figure as SVG: the same bytes each time, text as text."""
    import matplotlib

    data = BytesIO()
    with matplotlib.rc_context({"svg.hashsalt": "busim", "svg.fonttype": "none"}):
        figure.savefig(data, format="svg", metadata={"Date": None, "Creator": "busim"})
    return data.getvalue()


def budget_bars(line: LineBudget) -> Figure:
    """The parts of each camera's first poll, as stacked bars in ms. Raises UserError without matplotlib."""
    first = {one.camera: one for one in reversed(line.exchanges)}
    names = list(reversed(first))
    figure = _figure(8, 1.5 + 0.35 * len(names))
    axes = figure.subplots()
    left = np.zeros(len(names))
    for (part, about), colour, hatch in zip(PARTS.items(), _COLOURS, _HATCHES, strict=True):
        widths = np.array([1e3 * first[name].parts[part].mean for name in names])
        axes.barh(names, widths, left=left, color=colour, hatch=hatch, edgecolor="white", label=about)
        left += widths
    axes.invert_yaxis()
    axes.set_xlabel("ms")
    axes.set_title(f"{line.line}: one poll, computed")
    figure.legend(loc="outside lower center", ncols=2, fontsize="small")
    return figure


def two_axes(varied: int) -> None:
    """Raises UserError unless two values are varied: a map has two axes."""
    if varied != 2:
        raise UserError("a map has two axes", found=f"{varied} varied", expected="two", mend="give --vary twice")


def sweep_map(sweep: Sweep, name: str = "camera_rate", line: str | None = None) -> Figure:
    """A heat map of one figure over the two axes of a sweep: one for each line, or of `line` alone.

    Numbers stand in the cells up to 200 of them. Points that do not reach what is wanted are hatched, the others
    outlined, which reads on grey paper too. Raises UserError for another number of axes, for an unknown figure, and
    without matplotlib.
    """
    two_axes(len(sweep.axes))
    drawn = [one for one in sweep.lines if not one.declined] if line is None else [sweep.one(line)]
    drawn = drawn or [sweep.one()]
    figure = _figure(8, 5.5 * len(drawn))
    for one, axes in zip(drawn, figure.subplots(len(drawn), squeeze=False).ravel(), strict=True):
        _map(sweep, one, name, axes, figure)
    return figure


def _map(sweep: Sweep, one: LineSweep, name: str, axes: Any, figure: Figure) -> None:
    across, up = sweep.axes
    grid = np.ma.masked_invalid(_values(one, name).reshape(sweep.shape).T)
    columns, rows = np.arange(len(across.values) + 1), np.arange(len(up.values) + 1)
    shown = axes.pcolormesh(columns, rows, grid, cmap=_SCALE)
    figure.colorbar(shown, ax=axes, label=_title(name))
    axes.set_facecolor("#dddddd")
    feasible = one.feasible.reshape(sweep.shape).T
    for row, column in np.argwhere(~feasible).tolist():
        axes.add_patch(_hatched(column, row))
    _outline(axes, feasible)
    if grid.size <= _MOST_NUMBERS:
        _numbers(axes, grid, name)
    for axis, place, labels in ((across, axes.set_xticks, "x"), (up, axes.set_yticks, "y")):
        step = max(1, len(axis.values) // 12)
        chosen = range(0, len(axis.values), step)
        place([number + 0.5 for number in chosen], [axis.values[number] for number in chosen])
        (axes.set_xlabel if labels == "x" else axes.set_ylabel)(_axis(axis))
    axes.tick_params(axis="x", labelrotation=45)
    reached = f"outlined: reaches what is wanted ({int(feasible.sum())} of {feasible.size}); hatched: does not"
    axes.set_title(f"{one.line}: {_sentence(name)}\n{sweep.kind}; {reached}", fontsize="medium")


def _outline(axes: Any, feasible: np.ndarray[tuple[int, ...], np.dtype[np.bool_]]) -> None:
    """Lines between feasible points and the others, and along the edge."""
    framed = np.pad(feasible, 1)
    segments = []
    for row, column in np.argwhere(framed[1:, :] != framed[:-1, :]).tolist():
        segments.append([(column - 1, row), (column, row)])
    for row, column in np.argwhere(framed[:, 1:] != framed[:, :-1]).tolist():
        segments.append([(column, row - 1), (column, row)])
    from matplotlib.collections import LineCollection

    axes.add_collection(LineCollection(segments, colors="#ffffff", linewidths=3.5))
    axes.add_collection(LineCollection(segments, colors=_COLOURS[4], linewidths=1.8))


def _hatched(column: int, row: int) -> Any:
    from matplotlib.patches import Rectangle

    return Rectangle((column, row), 1, 1, fill=False, hatch="//", edgecolor="#ffffff80", linewidth=0)


def _numbers(axes: Any, grid: Any, name: str) -> None:
    """The value in each cell, black on light cells and white on dark ones; times in ms."""
    factor = 1e3 if FIGURES[name][0] == "s" else 1.0
    middle = (float(grid.min()) + float(grid.max())) / 2 if grid.count() else 0.0
    for row, column in np.argwhere(~np.ma.getmaskarray(grid)).tolist():
        value = float(grid[row, column])
        colour = "black" if value > middle else "white"
        axes.text(
            column + 0.5, row + 0.5, f"{factor * value:.3g}", ha="center", va="center", fontsize="x-small", color=colour
        )


def sweep_curve(sweep: Sweep, name: str = "camera_rate") -> Figure:
    """One figure over the one axis of a sweep, a curve for each line, with intervals if it was simulated.

    Raises UserError for another number of axes, for an unknown figure, and without matplotlib.
    """
    if len(sweep.axes) != 1:
        raise UserError(
            "a curve has one axis", found=f"{len(sweep.axes)} varied", expected="one", mend="give --vary once"
        )
    figure = _figure(8, 5)
    axes = figure.subplots()
    (axis,) = sweep.axes
    for one in sweep.lines:
        values = _values(one, name)
        half = one.half.get(name)
        axes.errorbar(axis.numbers, values, yerr=half, marker="o", label=f"{one.line}: {one.master}", capsize=3)
        axes.set_ylabel(_title(name))
    axes.set_xlabel(_axis(axis))
    axes.legend()
    return figure


def _values(one: LineSweep, name: str) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    if name not in one.values:
        raise UserError(
            "the sweep has no such figure", found=repr(name), expected=", ".join(one.values) or "; ".join(one.declined)
        )
    return one.values[name]


def _title(name: str) -> str:
    unit = FIGURES[name][0]
    return f"{name.replace('_', ' ')}{f' ({unit})' if unit not in ('', '1') else ''}"


def _sentence(name: str) -> str:
    """What the figure is, and the unit of the numbers in the cells."""
    unit, about = FIGURES[name]
    return f"{about} ({'ms in the cells' if unit == 's' else unit})" if unit not in ("", "1") else about


def _axis(axis: Axis) -> str:
    return KINDS[axis.name].about
