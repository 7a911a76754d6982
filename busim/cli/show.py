"""How reports look in a terminal, and as JSON."""

from __future__ import annotations

import contextlib
import json
import sys
from collections.abc import Callable, Iterator, Mapping

from rich.console import Console
from rich.markup import escape
from rich.table import Table

from busim.cli.writing import write_whole
from busim.foundation.units import show_time
from busim.plan import Plan
from busim.recording.expectations import INCONCLUSIVE, MET
from busim.recording.figures import Value
from busim.runtime.bridge import Address
from busim.runtime.session import Lateness, LineReport, Report

# title over the column, figure, how its value is shown
_RATES = (
    ("exch.", "exchanges", "count"), ("polls\n/s", "poll_rate", "rate"), ("age ms\nmean", "age_mean", "ms"),
    ("age ms\nworst", "age_worst", "ms"), ("time-\nouts", "time_outs", "count"), ("dam-\naged", "damaged", "count"),
    ("re-\nfused", "refused", "count"), ("re-\ntries", "retries", "count"), ("fast\npath", "fast_share", "share"),
)  # fmt: skip
_TIMES = (
    ("exch. ms\np50", "latency_p50", "ms"), ("ms\np95", "latency_p95", "ms"), ("ms\np99", "latency_p99", "ms"),
    ("ms\nmax", "latency_max", "ms"), ("move ms\np95", "move_p95", "ms"), ("ms\nmax", "move_max", "ms"),
)  # fmt: skip
_HOOK = (
    ("moves\ntold", "intents", "count"), ("to lens\nms p95", "intent_p95", "ms"), ("ms\nmax", "intent_max", "ms"),
    ("not\ndone", "intents_left", "count"), ("be-\nliefs", "beliefs", "count"), ("right", "belief_share", "share"),
    ("behind\nms p95", "behind_p95", "ms"), ("ms\nmax", "behind_max", "ms"),
)  # fmt: skip
_TROUBLE = ("time_outs", "damaged", "retries")
_WIDE = 116  # columns of a terminal from which on everything stands in one table


def show(value: Value, how: str) -> str:
    """A value for a table, its unit being in the title; a dash where it is not applicable."""
    if value.value is None:
        return "-"
    if how == "ms":
        ms = value.value * 1000
        return f"{ms:.1f}" if ms < 1000 else f"{ms:.0f}"
    if how == "share":
        return f"{100 * value.value:.1f}%"
    return f"{value.value:.2f}" if how == "rate" else f"{value.value:.0f}"


def print_report(report: Report, trace: str | None, *, to_errors: bool = False) -> None:
    """The figures as tables: a line's cameras, and the whole of it below them."""
    stream = sys.stderr if to_errors else sys.stdout
    console = Console(file=stream, width=None if stream.isatty() else 120)
    length = f"{report.length / 1e9:g} s simulated"
    console.print(f"{escape(report.plan)}: {length}, seed {report.seed}, {report.clock} clock. "
                  "All figures are measured in the simulation.", highlight=False)  # fmt: skip
    for line in report.lines:
        console.print()
        if console.width >= _WIDE:
            console.print(_table(line, (*_RATES[:4], *_TIMES, *_RATES[4:])))
        else:
            console.print(_table(line, _RATES))
            console.print(_table(line, _TIMES))
        figures = line.figures
        if figures["intents"].value is not None:
            console.print(_table(line, _HOOK))
        headroom = show(figures["headroom"], "share")
        if figures["headroom"].why:
            headroom = f"not applicable because {figures['headroom'].why}"
        console.print(
            f"  occupancy {show(figures['occupancy'], 'share')}, load {show(figures['load'], 'share')}, "
            f"collisions {show(figures['collisions'], 'count')}; headroom {headroom}",
            highlight=False, soft_wrap=True,
        )  # fmt: skip
    console.print()
    if report.wrong:
        text = f"From the controller came {report.wrong_count} lines that were no beliefs, first: {report.wrong[0]}"
        console.print(f"[yellow]{escape(text)}[/]", highlight=False, soft_wrap=True)
    print_verdicts(report, console)
    if report.lateness is not None:
        console.print(show_lateness(report.lateness), highlight=False)
    console.print("What each figure means: busim explain figures. These stand on assumptions: "
                  + "; ".join(report.assumptions) + ".", highlight=False, style="dim")  # fmt: skip
    if trace:
        console.print(f"Trace: {escape(trace)}", highlight=False, soft_wrap=True)


def print_verdicts(report: Report, console: Console) -> None:
    """What the plan expects: what was missed and what cannot be said, each with its reason, and how many were met."""
    if not report.verdicts:
        return
    for one in report.missed:
        console.print(f"[yellow]{escape(one.sentence(report.plan_path))}[/]", highlight=False, soft_wrap=True)
    alike: dict[tuple[int, int, str], list[str]] = {}  # one entry of the plan may be inconclusive for every camera
    for one in report.verdicts:
        if one.verdict == INCONCLUSIVE:
            sentence = one.sentence(report.plan_path)
            alike.setdefault((one.expectation.line, one.expectation.column, one.value.why), []).append(sentence)
    for first, *others in alike.values():
        more = f" (and {len(others)} more such)" if others else ""
        console.print(escape(first + more), highlight=False, soft_wrap=True)
    met = sum(one.verdict == MET for one in report.verdicts)
    console.print(f"Expected by the plan: {met} of {len(report.verdicts)} met.", highlight=False)


def _table(line: LineReport, columns: tuple[tuple[str, str, str], ...]) -> Table:
    title = f"line: {escape(line.name)}"
    table = Table(title=title, title_justify="left", box=None, pad_edge=False, padding=(0, 1, 0, 0))
    table.add_column("camera", vertical="bottom", no_wrap=True)
    table.add_column("ID", justify="right", vertical="bottom", no_wrap=True)
    for title, _, _ in columns:
        table.add_column(title, justify="right", vertical="bottom", no_wrap=True)
    for camera in line.cameras:
        table.add_row(escape(camera.name), str(camera.id), *_cells(camera.figures, columns))
    table.add_row("whole line", "", *_cells(line.figures, columns), style="bold")
    return table


def _cells(figures: dict[str, Value], columns: tuple[tuple[str, str, str], ...]) -> list[str]:
    cells = []
    for _, name, how in columns:
        value = figures.get(name)
        text = "" if value is None else show(value, how)
        cells.append(f"[yellow]{text}[/]" if name in _TROUBLE and text not in ("0", "-") else text)
    return cells


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
    table = Table(title=f"{escape(plan.name)}: converters", title_justify="left", show_edge=False, pad_edge=False)
    for title in ("converter", "in the plan", "listens at", "line", "cameras (ID)"):
        table.add_column(title, no_wrap=title == "listens at")
    ids = {camera.name: camera.id for camera in plan.cameras}
    lines = {place.name: line for line in plan.lines for place in line.order if place.kind == "converter"}
    for converter in plan.converters:
        line = lines[converter.name]
        names = [place.name for place in line.order if place.kind == "camera"]
        cameras = ", ".join(f"{escape(name)} ({ids[name]})" for name in names)
        address = str(addresses.get(converter.name, "connects to its controller"))
        address += " (UDP)" if converter.transport == "udp" else ""
        table.add_row(escape(converter.name), f"{converter.host}:{converter.port}", address, escape(line.name), cameras)
    console.print(table)


def print_json(report: Report) -> None:
    """The figures as JSON on standard output."""
    sys.stdout.write(json.dumps(report.as_json(), indent=2) + "\n")


def write_json(report: Report, path: str) -> None:
    """The figures as JSON into a file. Raises UserError."""
    write_whole(path, json.dumps(report.as_json(), indent=2) + "\n", "figures")


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
