"""How reports look in a terminal, and as JSON."""

from __future__ import annotations

import contextlib
import json
import sys
from collections.abc import Callable, Iterator

from rich.console import Console
from rich.table import Table

from busim.figures import QUANTITIES, Value
from busim.session import Report
from busim.units import show_time

_LINE = ("exchanges", "poll_rate", "latency_p50", "latency_p95", "latency_p99", "latency_max", "move_p95", "time_outs",
         "retries", "damaged", "collisions", "occupancy", "load", "headroom", "fast_share")  # fmt: skip
_CAMERA = ("exchanges", "poll_rate", "age_mean", "age_worst", "latency_p50", "latency_p95", "latency_p99", "latency_max",
           "move_p95", "time_outs", "retries", "damaged", "fast_share")  # fmt: skip


def show(value: Value) -> str:
    """A value for a table; a dash where it is not applicable."""
    if value.value is None:
        return "-"
    if value.quantity.unit == "s":
        return show_time(value.value * 1e9)
    if value.quantity.unit == "1":
        return f"{100 * value.value:.1f} %"
    if value.quantity.unit == "/s":
        return f"{value.value:.2f} /s"
    return f"{value.value:.0f}"


def print_report(report: Report, trace: str | None) -> None:
    """The figures as tables: lines above, cameras below."""
    console = Console(width=None if sys.stdout.isatty() else 200)
    console.print(f"{report.plan}: {report.length / 1e9:g} s simulated, seed {report.seed}, {report.clock} clock. "
                  "All figures measured in the simulation.", highlight=False)  # fmt: skip
    for line in report.lines:
        table = Table(title=f"line: {line.name}", title_justify="left", show_edge=False, pad_edge=False)
        table.add_column("camera", no_wrap=True)
        table.add_column("ID", justify="right")
        for name in _CAMERA:
            table.add_column(QUANTITIES[name].title, justify="right")
        for camera in line.cameras:
            table.add_row(camera.name, str(camera.id), *(show(camera.figures[name]) for name in _CAMERA))
        console.print()
        console.print(table)
        console.print("  " + ", ".join(f"{QUANTITIES[name].title} {show(line.figures[name])}" for name in _LINE),
                      highlight=False)  # fmt: skip
        if line.figures["headroom"].why:
            console.print(f"  headroom: not applicable because {line.figures['headroom'].why}", highlight=False)
    console.print()
    console.print("Stands on these assumptions: " + "; ".join(report.assumptions) + ".", highlight=False, style="dim")
    if trace:
        console.print(f"Trace: {trace}", highlight=False)


def print_json(report: Report) -> None:
    """The figures as JSON on standard output."""
    sys.stdout.write(json.dumps(report.as_json(), indent=2) + "\n")


@contextlib.contextmanager
def progress(until: int, *, hidden: bool) -> Iterator[Callable[[int], None]]:
    """A progress bar on standard error, where somebody looks."""
    if hidden or not sys.stderr.isatty():
        yield lambda _: None
        return
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    bar = Progress(
        TextColumn("simulating"), BarColumn(), TextColumn("{task.percentage:.0f} %"), TimeRemainingColumn(),
        console=Console(stderr=True), transient=True,
    )  # fmt: skip
    with bar:
        task = bar.add_task("", total=until)
        yield lambda at: bar.update(task, completed=at)
