"""Reports on the screen and as JSON; doors; progress."""

from __future__ import annotations

import contextlib
import json
import sys
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from typing import TYPE_CHECKING

from busim.cli.screen import Column, Screen
from busim.cli.writing import write_whole
from busim.plan import Plan
from busim.runtime.bridge import Address
from busim.runtime.session import Report

if TYPE_CHECKING:
    from busim.analysis.budget import Budget


def print_report(
    report: Report, trace: str | None, *, to_errors: bool = False, detail: bool = False, line: str | None = None,
    budget: Budget | None = None, checked: str = "", more: str = "",
) -> None:  # fmt: skip
    """The answer on one screen, of one `line` if named; with `line` or `detail` all figures below.

    `budget`, `checked`: of the same plan, for the limits of its lines and its findings. `more`: the options that show
    the rest; without them a trace has it.
    """
    from busim.cli.report_screen import print_answer, print_detail

    screen = Screen(sys.stderr if to_errors else sys.stdout)
    if line is not None:
        report = replace(report, lines=tuple(one for one in report.lines if one.name == line))
        if budget is not None:
            budget = replace(budget, lines=tuple(one for one in budget.lines if one.line == line))
    print_answer(screen, report, trace, budget, checked, more)
    if detail or line is not None:
        print_detail(screen, report)


def print_doors(plan: Plan, addresses: Mapping[str, Address], *, to_errors: bool) -> None:
    """The addresses of the converters, as a table."""
    screen = Screen(sys.stderr if to_errors else sys.stdout)
    columns = [Column(title) for title in ("converter", "in the plan", "listens at", "line", "cameras (ID)")]
    ids = {camera.name: camera.bus_id for camera in plan.cameras}
    lines = {place.name: line for line in plan.lines for place in line.order if place.kind == "converter"}
    rows = []
    for converter in plan.converters:
        line = lines[converter.name]
        names = [place.name for place in line.order if place.kind == "camera"]
        cameras = ", ".join(f"{name} ({ids[name]})" for name in names)
        address = str(addresses.get(converter.name, "connects to its controller"))
        address += " (UDP)" if converter.transport == "udp" else ""
        rows.append([converter.name, f"{converter.host}:{converter.port}", address, line.name, cameras])
    screen.table(columns, rows, title=f"{plan.name}: converters")


def print_json(report: Report) -> None:
    """The figures as JSON on standard output."""
    sys.stdout.write(json.dumps(report.as_json(), indent=2) + "\n")


def write_json(report: Report, path: str) -> None:
    """The figures as JSON into a file. Raises UserError."""
    write_whole(path, json.dumps(report.as_json(), indent=2) + "\n", "figures")


@contextlib.contextmanager
def progress(*, hidden: bool) -> Iterator[Callable[[int, int], None]]:
    """A progress bar on standard error, on a terminal: the generator yields (at, until) in ns."""
    if hidden or not sys.stderr.isatty():
        yield lambda *_: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    bar = Progress(
        TextColumn("simulating"), BarColumn(), TextColumn("{task.percentage:.0f} %"), TimeRemainingColumn(),
        console=Console(stderr=True), transient=True,
    )  # fmt: skip
    with bar:
        task = bar.add_task("", total=None)
        yield lambda at, until: bar.update(task, total=until, completed=at)
