"""How reports look in a terminal, and as JSON."""

from __future__ import annotations

import contextlib
import json
import sys
from collections.abc import Callable, Iterator, Mapping

from rich.console import Console
from rich.table import Table

from busim.bridge import Address
from busim.figures import QUANTITIES, Value
from busim.plan import Plan
from busim.session import Lateness, Report
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
    if report.lateness is not None:
        console.print(show_lateness(report.lateness), highlight=False)
    console.print("Stands on these assumptions: " + "; ".join(report.assumptions) + ".", highlight=False, style="dim")
    if trace:
        console.print(f"Trace: {trace}", highlight=False)


def show_lateness(lateness: Lateness) -> str:
    """One sentence on how the wall clock was served."""
    p50, p99 = lateness.quantile(0.5), lateness.quantile(0.99)
    if p50 is None or p99 is None:
        return "Lateness on the wall clock: nothing fell due."
    times = f"p50 {show_time(p50)}, p99 {show_time(p99)}, max {show_time(lateness.largest)}"
    return f"Lateness on the wall clock: {times} over {lateness.count} wake-ups."


def print_doors(plan: Plan, addresses: Mapping[str, Address], *, to_errors: bool) -> None:
    """What listens where, as a table."""
    stream = sys.stderr if to_errors else sys.stdout
    console = Console(file=stream, width=None if stream.isatty() else 200)
    table = Table(title=f"{plan.name}: converters", title_justify="left", show_edge=False, pad_edge=False)
    for title in ("converter", "in the plan", "listens at", "line", "cameras (ID)"):
        table.add_column(title, no_wrap=title == "listens at")
    ids = {camera.name: camera.id for camera in plan.cameras}
    lines = {place.name: line for line in plan.lines for place in line.order if place.kind == "converter"}
    for converter in plan.converters:
        line = lines[converter.name]
        cameras = ", ".join(f"{place.name} ({ids[place.name]})" for place in line.order if place.kind == "camera")
        address = str(addresses[converter.name])
        table.add_row(converter.name, f"{converter.host}:{converter.port}", address, line.name, cameras)
    console.print(table)


def print_json(report: Report) -> None:
    """The figures as JSON on standard output."""
    sys.stdout.write(json.dumps(report.as_json(), indent=2) + "\n")


@contextlib.contextmanager
def progress(*, hidden: bool) -> Iterator[Callable[[int, int], None]]:
    """A progress bar on standard error, where somebody looks: what is yielded takes (at, until) in ns."""
    if hidden or not sys.stderr.isatty():
        yield lambda *_: None
        return
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    bar = Progress(
        TextColumn("simulating"), BarColumn(), TextColumn("{task.percentage:.0f} %"), TimeRemainingColumn(),
        console=Console(stderr=True), transient=True,
    )  # fmt: skip
    with bar:
        task = bar.add_task("", total=None)
        yield lambda at, until: bar.update(task, total=until, completed=at)
