"""How a budget looks in a terminal: bars of where an exchange's time goes, tables, sentences."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from rich.console import Console
from rich.table import Table
from rich.text import Text

from busim.analysis.budget import Budget, ExchangeBudget, LineBudget, Range
from busim.foundation.units import show_time
from busim.recording.figures import Value

# A letter as well as a colour, so that a bar reads on paper and without colours too.
_LOOKS = {
    "request": ("q", "white on blue"),
    "silence": ("s", "black on bright_black"),
    "turnaround": ("t", "black on yellow"),
    "reply": ("a", "white on dark_cyan"),
    "packing": ("p", "white on magenta"),
    "converter": ("c", "white on red"),
    "pause": ("m", "black on green"),
}
_BAR = 60


def print_budget(budget: Budget) -> None:
    """All lines of a plan."""
    console = Console()
    for line in budget.lines:
        behind = f" through {line.converter}" if line.converter else ""
        console.print(f"[bold]{_safe(line.line)}[/bold]: {_safe(line.master)}{_safe(behind)}, {line.baud:.10g} Bd")
        for part in _line(line):
            console.print(part, soft_wrap=not isinstance(part, Table), markup=False, highlight=False)
        console.print()
    console.print("Computed, not simulated, assuming:", markup=False)
    for text in budget.assumptions:
        console.print(f"- {text}", markup=False, highlight=False, soft_wrap=True)


def _arbitrated(line: LineBudget) -> str:
    one = line.arbitrated
    assert one is not None
    others = " and ".join(repr(name) for name in one.masters if name != line.master)
    return (
        f"shared with {others}, one request after the other: {one.rate:.3g} exchanges a second, each "
        f"{show_time(1e9 * one.exchange)} on average ({show_time(1e9 * one.alone)} alone), at most "
        f"{show_time(1e9 * one.worst)}; all of them hold the line for {one.load:.0%} of the time."
    )


def _safe(text: str) -> str:
    return text.replace("[", r"\[")


def _line(line: LineBudget) -> Iterator[Text | Table | str]:
    for text in line.obstacles:
        yield f"no budget: {text}."
    for text in (*line.remarks, *line.uncertain):
        yield f"note: {text}."
    yield from _bars(line)
    if line.arbitrated is not None:
        yield _arbitrated(line)
    if line.groups:
        yield _groups(line)
    if line.cameras:
        yield _cameras(line)
    yield from _sentences(line)
    yield from _what_ifs(line)


# -- bars ----------------------------------------------------------------------------------------------------


def _bars(line: LineBudget) -> Iterator[Text]:
    """One bar for each camera's first poll; those that take as long as the one above share it."""
    first: dict[str, ExchangeBudget] = {}
    for one in line.exchanges:
        first.setdefault(one.camera, one)
    alike: dict[tuple[str, ...], list[ExchangeBudget]] = {}
    for one in first.values():
        alike.setdefault(tuple(_ms(part) for part in one.parts.values()), []).append(one)
    longest = max((_whole(one) for one in first.values()), default=0.0)
    for several in alike.values():
        names = ", ".join(one.camera for one in several)
        one = several[0]
        yield Text(f"one poll ({one.work}) of {names}: {_ms(one.total)} ms, time-out {1e3 * one.time_out:.3g} ms")
        bar = Text("  ")
        for name, width in zip(one.parts, _widths(one, longest), strict=True):
            letter, style = _LOOKS[name]
            bar.append(letter * width, style)
        yield bar
        yield Text(
            "  " + "  ".join(f"{_LOOKS[name][0]} {name} {_ms(part)}" for name, part in one.parts.items() if part.worst)
        )


def _whole(one: ExchangeBudget) -> float:
    return sum(part.mean for part in one.parts.values())


def _widths(one: ExchangeBudget, longest: float) -> list[int]:
    """Characters of each part; the ends are rounded, so that the whole has the right length."""
    ends, at = [0], 0.0
    for part in one.parts.values():
        at += part.mean
        ends.append(round(at / longest * _BAR))
    return [after - before for before, after in pairwise(ends)]


def _ms(range: Range) -> str:
    """Milliseconds: one number, or best to worst."""
    if range.certain:
        return f"{1e3 * range.mean:.2f}"
    return f"{1e3 * range.best:.2f}..{1e3 * range.worst:.2f}"


# -- tables --------------------------------------------------------------------------------------------------


def _groups(line: LineBudget) -> Table:
    table = Table("group", "wanted every", "comes every", "best..worst", "rate /s", box=None, pad_edge=False)
    for group in line.groups:
        wanted = show_time(1e9 * group.wanted) if group.wanted else "as can be"
        reached = "" if group.reached or not group.wanted else " (too late)"
        table.add_row(
            Text(group.name), wanted, show_time(1e9 * group.cycle.mean) + reached,
            f"{show_time(1e9 * group.cycle.best)} .. {show_time(1e9 * group.cycle.worst)}", f"{group.rate.mean:.3g}",
        )  # fmt: skip
    return table


def _cameras(line: LineBudget) -> Table:
    names = ("poll_rate", "age_mean", "age_worst", "latency_p50", "latency_p95", "latency_max")
    bounds = {"age_worst": "age at most", "latency_max": "latency at most"}
    titles = (bounds.get(name, name.replace("_", " ")) for name in names)
    table = Table("camera", "ID", *titles, box=None, pad_edge=False)
    rows = [(Text(camera.name), str(camera.id), camera.figures) for camera in line.cameras]
    rows.append((Text("the line"), "", line.figures or {}))
    for title, id, figures in rows:
        table.add_row(title, id, *(_value(figures.get(name)) for name in names))
    return table


def _value(value: Value | None) -> str:
    if value is None or value.value is None:
        return "-"
    if value.quantity.unit == "s":
        return show_time(1e9 * value.value)
    return f"{value.value:.0%}" if value.quantity.unit == "1" else f"{value.value:.3g}"


# -- sentences -----------------------------------------------------------------------------------------------


def _sentences(line: LineBudget) -> Iterator[str]:
    figures = line.figures or {}
    said = []
    for name in ("occupancy", "load", "headroom"):
        if name in figures:
            why = f" ({figures[name].why})" if figures[name].value is None else ""
            said.append(f"{name} {_value(figures[name])}{why}")
    if line.load is not None and not line.load.certain:
        said.append(f"(load {line.load.best:.0%} to {line.load.worst:.0%})")
    if said:
        yield "line: " + ", ".join(said) + "."
    if line.more_cameras is not None:
        yield f"room: {line.more_cameras} more cameras like these until headroom falls under 30 %."
    moves = line.moves
    if moves is not None:
        bound = "" if moves.bound is None else f", never more than {show_time(1e9 * moves.bound)}"
        after = ""
        if moves.after_polls is not None:
            after = f" (if moves waited for a whole round: {show_time(1e9 * moves.after_polls)})"
        yield (
            f"a move ({moves.rate:.3g} /s): acknowledged after {show_time(1e9 * moves.mean)} on average{after}, "
            f"95 % within {show_time(1e9 * moves.p95)}{bound}."
        )
        if moves.second is not None:
            most = moves.second_worst
            worst = "" if most is None else f", never after more than {show_time(1e9 * most)}"
            yield f"another panel shows it after {show_time(1e9 * moves.second)} on average{worst}."
    if line.limit:
        yield f"limit: {line.limit}."
    if line.unknown:
        yield f"unknown: {line.unknown}."
    for change in line.changes:
        numbers = f"{change.before:.3g} to {change.after:.3g}"
        if change.what == "load":
            numbers = f"{change.before:.0%} to {change.after:.0%}"
        yield f"would help: {change.text}: {change.what} {numbers} ({change.gain:+.0%})."
    if line.need is not None:
        yield from _need(line)


def _need(line: LineBudget) -> Iterator[str]:
    need = line.need
    assert need is not None
    yield f"{need.rate:g} /s: {'reached' if need.reached else 'not reached'}, load {need.load:.0%}."
    for text in need.text:
        yield f"  {text}."
    if need.baud is not None:
        yield f"  lowest baud that still reaches it: {need.baud:.0f}."
    if need.cameras is not None:
        yield f"  most cameras like these: {need.cameras}."
    if need.packing is not None:
        yield f"  longest packing: {show_time(1e9 * need.packing)}."


def _what_ifs(line: LineBudget) -> Iterator[str | Table]:
    for job in line.jobs:
        yield f"{job.name}: {show_time(1e9 * job.mean)}, at most {show_time(1e9 * job.worst)}."
    for dead in line.dead:
        cameras = "1 camera dies" if dead.count == 1 else f"{dead.count} cameras die"
        if dead.load is not None and dead.load_after is not None:
            cost = f"load {dead.load:.0%}, then {dead.load_after:.0%}"
        else:
            cost = f"a round takes {show_time(1e9 * dead.cycle)}, then {show_time(1e9 * dead.after)}"
        yield f"{cameras}: given up after {show_time(1e9 * dead.until)}; till then {cost}."
    if line.streams:
        yield _streams(line)
    if line.noise:
        rows = (f"{one.failing:.2g} at {one.bit_error_rate:g}" for one in line.noise)
        slowest = line.noise[-1]
        yield (
            f"noise loses this share of the exchanges at this bit error rate: {', '.join(rows)}; with the last, polls "
            f"come every {show_time(1e9 * slowest.cycle)}."
        )
    for other in line.second_master:
        yield (
            f"a second master asking {other.rate:.3g} times a second spoils up to {other.at_will:.1%} of the polls; "
            f"up to {other.listening:.1%} if it waits for {show_time(1e9 * other.quiet)} of quiet."
        )


def _streams(line: LineBudget) -> Table:
    table = Table("besides", "a move takes", "95 % within", "at most", "polls every", box=None, pad_edge=False)
    for stream in line.streams:
        one = stream.kind.removesuffix("s") if stream.count == 1 else stream.kind
        who = f"{stream.count} more {one}"
        if stream.mean is None or stream.p95 is None or stream.cycle is None:
            table.add_row(who, f"more than it can do: {stream.share:.0%} of the master's time")
            continue
        bound = "-" if stream.bound is None else f"{show_time(1e9 * stream.bound)} (alone)"
        times = (show_time(1e9 * seconds) for seconds in (stream.mean, stream.p95))
        table.add_row(who, *times, bound, show_time(1e9 * stream.cycle))
    return table
