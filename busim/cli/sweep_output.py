"""What becomes of a sweep: a table in the terminal, a CSV or Parquet file."""

from __future__ import annotations

import csv
from collections.abc import Callable
from io import BytesIO, StringIO
from itertools import islice
from pathlib import Path

from rich.console import Console
from rich.table import Table

from busim.cli.writing import place, write_whole
from busim.experiments.sweep import FIGURES, Sweep
from busim.foundation.errors import UserError

_ROWS = 40


def writer(path: str) -> Callable[[Sweep], None]:
    """What writes a sweep to this file. Raises UserError for another ending, for Parquet without pyarrow, and where no
    file can be."""
    place(path, "sweep")
    target = Path(path)
    if target.suffix == ".csv":
        return lambda sweep: write_whole(path, _csv(sweep), "sweep")
    if target.suffix != ".parquet":
        raise UserError("no known kind of file", found=repr(path), expected=".csv or .parquet", mend="rename it")
    try:
        import pyarrow
        from pyarrow import parquet
    except ImportError:
        raise UserError(
            "pyarrow is not installed", found=repr(path), expected="the extra `parquet`",
            mend="pip install 'busim[parquet]', or write .csv",
        ) from None  # fmt: skip

    def write(sweep: Sweep) -> None:
        data = BytesIO()
        parquet.write_table(pyarrow.Table.from_pylist(list(sweep.rows())), data)
        write_whole(path, data.getvalue(), "sweep")

    return write


def _csv(sweep: Sweep) -> str:
    rows, text = list(sweep.rows()), StringIO(newline="")
    table = csv.DictWriter(text, list(dict.fromkeys(name for row in rows for name in row)))
    table.writeheader()
    table.writerows({name: "" if value is None else value for name, value in row.items()} for row in rows)
    return text.getvalue()


def print_sweep(sweep: Sweep, figure: str) -> None:
    """The first points of each line, with one figure."""
    console = Console(highlight=False, markup=False)
    unit, about = FIGURES[figure]
    console.print(f"{sweep.plan}: {figure}, {about}; {sweep.kind}.", soft_wrap=True)
    for line in sweep.lines:
        console.print()
        for text in line.declined:
            console.print(f"{line.line}: nothing to compute: {text}.", soft_wrap=True)
        if line.declined:
            continue
        table = Table(*(axis.name for axis in sweep.axes), title=f"{line.line}: {line.master}", box=None)
        table.title_justify = "left"
        table.add_column(figure, justify="right")
        table.add_column("feasible")
        own = (row for row in sweep.rows() if (row["line"], row["master"]) == (line.line, line.master))
        for row in islice(own, _ROWS):
            half = row.get(f"{figure}_half")
            text = _show(row.get(figure), unit) + (f" ± {_show(half, unit)}" if half is not None else "")
            table.add_row(*(str(row[axis.name]) for axis in sweep.axes), text, "yes" if row["feasible"] else "no")
        console.print(table)
        if len(line.feasible) > _ROWS:
            console.print(f"{len(line.feasible) - _ROWS} more; -o writes all of them.")
    console.print()
    console.print("Assuming: " + "; ".join(sweep.assumptions) + ".", soft_wrap=True)


def _show(value: str | float | bool | None, unit: str) -> str:
    if not isinstance(value, float):
        return "-"
    if unit == "s":
        return f"{1e3 * value:.4g} ms"
    return f"{value:.2%}" if unit == "1" else f"{value:.4g} {unit}"
