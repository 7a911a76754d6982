"""The output of a sweep: a table in the terminal, a CSV or Parquet file."""

from __future__ import annotations

import csv
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from io import BytesIO, StringIO
from pathlib import Path

import numpy as np
from rich.text import Text

from busim.cli.screen import Column, Screen, counted, fewest
from busim.cli.writing import check_target, write_whole
from busim.experiments.sweep import FIGURES, LineSweep, Sweep, points
from busim.foundation.errors import UserError, not_installed

_NAMES = 16  # columns for names of lines
_HEAD = 3  # lines above the points of a table
_SIDE = 2  # lines side by side in a table
_FEWEST = 3  # screen lines below which points are left to --detail
Point = Mapping[str, "str | float | bool | None"]


def is_sweep(text: str) -> bool:
    """Whether a file's text is that of a sweep, as CSV or as Parquet."""
    return "feasible" in (text if text.startswith("PAR1") else text.partition("\n")[0])


def is_map(text: str) -> bool:
    """Whether a file's text is that of a map of a sweep."""
    return "<svg" in text and "<dc:title>busim" in text


def writer(path: str, plan: str, *, overwrite: bool) -> Callable[[Sweep], None]:
    """The function that writes a sweep to this file. Raises UserError for another suffix, for Parquet without pyarrow,
    and if the file cannot be made. A file that is no sweep is replaced with `overwrite`, the plan never.
    """
    check_target(path, "sweep", overwrite=overwrite, known=is_sweep, inputs=[plan])
    target = Path(path)
    if target.suffix == ".csv":
        return lambda sweep: write_whole(path, _csv(sweep), "sweep")
    if target.suffix != ".parquet":
        raise UserError("no known kind of file", found=repr(path), expected=".csv or .parquet", mend="rename it")
    try:
        import pyarrow
        from pyarrow import parquet
    except ImportError:
        raise not_installed("pyarrow", "parquet", repr(path), ", or write .csv") from None

    def write(sweep: Sweep) -> None:
        data = BytesIO()
        # nan is no number, but no value
        columns = {name: pyarrow.array(values, from_pandas=True) for name, values in sweep.columns().items()}
        parquet.write_table(pyarrow.table(columns), data)
        write_whole(path, data.getvalue(), "sweep")

    return write


def _csv(sweep: Sweep) -> str:
    rows, text = list(sweep.rows()), StringIO(newline="")
    table = csv.DictWriter(text, list(dict.fromkeys(name for row in rows for name in row)))
    table.writeheader()
    table.writerows(rows)
    return text.getvalue()


def print_sweep(sweep: Sweep, figure: str, written: Sequence[str], *, detail: bool) -> None:
    """The answer: the number of feasible points of each line, and its lowest and highest one.

    Then the points, as many as the first screen has room for, or all with `detail`. `written`: files to name.
    """
    screen = Screen()
    _, about = FIGURES[figure]
    screen.say(f"{sweep.plan}: {figure} ({about}) at {counted(len(points(sweep.axes)), 'point')}", "bold")
    screen.say(f"All numbers are {sweep.kind}{'' if sweep.kind == 'measured' else ', nothing was measured'}.", "dim")
    shown: dict[str, LineSweep] = {}
    several = Counter(line.line for line in sweep.lines)
    for line in sweep.lines:
        name = line.line if several[line.line] == 1 else f"{line.line} ({line.master})"
        screen.fact(name, _answer(sweep, line, figure), indent=0, column=_NAMES)
        if not line.declined:
            shown[name] = line
    assumed = "Assuming: " + "; ".join(sweep.assumptions) + "."
    endings = [f"Written: {path}" for path in written]
    endings.append(assumed if detail else "More: --detail. All points into a file: -o FILE.csv")
    names = list(shown)
    tables = [names[first : first + _SIDE] for first in range(0, len(names), _SIDE)]
    room = (screen.left - len(endings) - 1) // max(1, len(tables)) - _HEAD
    for side in tables:
        _points(screen, sweep, {name: shown[name] for name in side}, figure, None if detail else room)
    screen.blank()
    for text in endings:
        screen.say(text, "dim")


def _answer(sweep: Sweep, line: LineSweep, figure: str) -> str:
    """One line in words."""
    if line.declined:
        return f"nothing computed: {line.declined[0]}."
    unit, _ = FIGURES[figure]
    good, count = int(line.feasible.sum()), len(line.feasible)
    text = f"{good} of {counted(count, 'point')} {'reaches' if good == 1 else 'reach'} what is wanted"
    if len(sweep.axes) == 1 and 0 < good < count:
        reached = [value for value, one in zip(sweep.axes[0].values, line.feasible, strict=True) if one]
        text += f" ({sweep.axes[0].name}: {fewest(reached, 6)})"
    values = line.values.get(figure)
    if values is None or np.isnan(values).all():
        return f"{text}; {figure} has no value at any of them."
    low, high = (sweep.row(line, int(choose(values))) for choose in (np.nanargmin, np.nanargmax))
    ends = [f"{_show(row[figure], unit)} at {_place(sweep, row)}" for row in (low, high)]
    if ends[0] == ends[1] or low[figure] == high[figure]:
        return f"{text}; {figure} {ends[0]}."
    return f"{text}; {figure} from {ends[0]} to {ends[1]}."


def _place(sweep: Sweep, row: Point) -> str:
    return ", ".join(f"{axis.name}={row[axis.name]}" for axis in sweep.axes)


def _points(screen: Screen, sweep: Sweep, lines: Mapping[str, LineSweep], figure: str, room: int | None) -> None:
    """The points of some lines side by side; at most `room` rows, None for all."""
    unit, _ = FIGURES[figure]
    count = min(len(line.feasible) for line in lines.values())
    left = 0
    if room is not None and count > room:
        if room < _FEWEST:
            return
        count, left = room - 1, count - room + 1
    cells: list[list[str | Text]] = []
    for number in range(count):
        point = [sweep.row(line, number) for line in lines.values()]
        cells.append([str(point[0][axis.name]) for axis in sweep.axes])
        for row in point:
            half = row.get(f"{figure}_half")
            text = _show(row.get(figure), unit) + (f" ± {_show(half, unit)}" if half is not None else "")
            cells[-1] += [text, Text("yes", "green") if row["feasible"] else Text("no", "yellow")]
    screen.blank()
    columns = [Column(axis.name) for axis in sweep.axes]
    for name in lines:
        columns += [Column(f"{name}\n{figure}", True), Column("feasible")]
    screen.table(columns, cells)
    if left:
        screen.say(f"and {counted(left, 'more point')}: --detail", "dim")


def _show(value: str | float | bool | None, unit: str) -> str:
    if not isinstance(value, float):
        return "-"
    if unit == "s":
        return f"{1e3 * value:.4g} ms"
    return f"{value:.2%}" if unit == "1" else f"{value:.4g} {unit}"
