"""A budget on a screen: first whether each line does what is wanted, with `--detail` where the time goes.

The answer takes a terminal of 24 lines. All numbers are computed.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from itertools import pairwise

from busim.analysis.budget import Budget, ExchangeBudget, LineBudget, Need, Range
from busim.cli.limits import best_change, limits
from busim.cli.line_table import NO, YES, Row, print_rows, row_of, wanted_rate
from busim.cli.screen import Column, Screen, counted, fewest, listed
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
    """The answer: one row for each line, what is missed, what limits it, and what would help most."""
    screen = Screen()
    several = Counter(line.line for line in budget.lines)
    rows = [
        _row(line, f"{line.line} ({line.master})" if several[line.line] > 1 else line.line) for line in budget.lines
    ]
    screen.say(f"{budget.plan}: {_headline(rows)}", "bold")
    screen.say("All numbers are computed from the plan; nothing was measured.", "dim")
    screen.blank()
    print_rows(screen, rows, worst="at most")
    ending = "More, and the assumptions: --detail, --line NAME. Compare with a simulation: --verify"
    reserved = 1 + len(screen.wrapped(ending))
    missed = [(line.line, text) for line in budget.lines if (text := _missed(line))]
    needs = [(line.line, _need(line.need)) for line in budget.lines if line.need is not None]
    for facts, style in ((missed, "yellow"), (needs, "")):
        if facts:
            screen.blank()
            screen.facts(facts, style, reserved=reserved)
    limits(screen, budget, reserved)
    screen.blank()
    screen.say(ending, "dim")


def _row(line: LineBudget, name: str) -> Row:
    works = NO if line.obstacles or _missed(line) or (line.need and not line.need.reached) else YES
    row = row_of(name, works, [camera.figures for camera in line.cameras if not camera.trouble])
    figures = line.figures or {}
    return row._replace(
        wanted=wanted_rate(group.wanted for group in line.groups),
        move=None if line.moves is None else line.moves.p95,
        headroom=figures["headroom"].value if "headroom" in figures else None,
    )


def _headline(rows: Sequence[Row]) -> str:
    bad = [row.name for row in rows if row.works == NO]
    if bad:
        return f"{fewest(bad, 3)} {'does' if len(bad) == 1 else 'do'} not do what is wanted"
    if len(rows) == 1:
        return "the line does what is wanted"
    return f"all {len(rows)} lines do what is wanted" if rows else "no master asks on any line"


def _missed(line: LineBudget) -> str:
    """What of a line with a budget is not as wanted, in sentences."""
    said = [
        f"group '{group.name}' comes every {_time(group.cycle.mean)} instead of {_time(group.wanted)}"
        for group in line.groups if group.wanted and not group.reached
    ]  # fmt: skip
    said += [f"{camera.name} never answers: {camera.trouble}" for camera in line.cameras if camera.trouble]
    return ".\n".join(said) + "." if said else ""


def _need(need: Need) -> str:
    """Whether the needed rate is reached, and what still would reach it."""
    said = [f"{need.rate:g} polls/s: {'reached' if need.reached else 'NOT reached'}, load {need.load:.0%}"]
    if need.baud is not None:
        said.append(f"lowest baud {need.baud:.0f} Bd")
    if need.cameras:
        said.append(f"at most {counted(need.cameras, 'camera')} like these")
    if need.packing is not None:
        said.append(f"longest packing {_time(need.packing)}")
    return ".\n".join(["; ".join(said), *need.text]) + "."


def _time(seconds: float) -> str:
    return show_time(1e9 * seconds)


# -- detail ------------------------------------------------------------------------------------------------------


def print_detail(budget: Budget) -> None:
    """Everything about its lines, and what it stands on."""
    screen = Screen()
    for line in budget.lines:
        behind = f" through {line.converter}" if line.converter else ""
        screen.blank()
        screen.say(f"{line.line}: {line.master}{behind}, {line.baud:.10g} Bd", "bold")
        _line(screen, line)
    screen.blank()
    screen.say("Computed, not simulated, assuming:")
    for text in budget.assumptions:
        screen.say(f"- {text}", hang=2)
    screen.say("Its times:")
    for text in budget.sources:
        screen.say(f"- {text}", hang=2)


def _line(screen: Screen, line: LineBudget) -> None:
    for text in line.obstacles:
        screen.say(f"not computed: {text}.", "yellow", hang=2)
    for text in (*line.remarks, *line.uncertain):
        screen.say(f"note: {text}.", hang=2)
    _bars(screen, line)
    if line.arbitrated is not None:
        screen.say(_arbitrated(line), hang=2)
    if line.groups:
        _groups(screen, line)
    if line.cameras:
        _cameras(screen, line)
    for text in (*_sentences(line), *_jobs(line)):
        screen.say(text, hang=2)
    if line.joysticks:
        _joysticks(screen, line)
    if line.streams:
        _streams(screen, line)
    for text in _disturbed(line):
        screen.say(text, hang=2)


def _arbitrated(line: LineBudget) -> str:
    one = line.arbitrated
    assert one is not None
    others = listed([repr(name) for name in one.masters if name != line.master])
    return (
        f"shared with {others}, one request after the other: {one.rate:.3g} exchanges per second, each "
        f"{_time(one.exchange)} on average ({_time(one.alone)} alone), at most {_time(one.worst)}; all masters "
        f"together hold the line for {one.load:.0%} of the time."
    )


# -- bars ----------------------------------------------------------------------------------------------------


def _bars(screen: Screen, line: LineBudget) -> None:
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
        screen.say(
            f"one poll ({one.work}) of {names}: {_ms(one.total)} ms, time-out {1e3 * one.time_out:.3g} ms", hang=2
        )
        widths = zip(one.parts, _widths(one, longest), strict=True)
        screen.bar((_LOOKS[name][0] * width, _LOOKS[name][1]) for name, width in widths)
        key = (f"{_LOOKS[name][0]}={name} {_ms(part)}" for name, part in one.parts.items() if part.worst)
        screen.say(", ".join(key) + " ms", indent=2)


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


def _groups(screen: Screen, line: LineBudget) -> None:
    rows = []
    for group in line.groups:
        wanted = _time(group.wanted) if group.wanted else "no limit"
        late = " (too late)" if group.wanted and not group.reached else ""
        between = f"{_time(group.cycle.best)} to {_time(group.cycle.worst)}"
        rows.append([group.name, wanted, _time(group.cycle.mean) + late, between, f"{group.rate.mean:.3g}"])
    titles = ("wanted every", "comes every", "between", "polls/s")
    screen.table([Column("group"), *(Column(title, right=True) for title in titles)], rows)


def _cameras(screen: Screen, line: LineBudget) -> None:
    titles = {
        "poll_rate": "polls/s", "age_mean": "age\nmean", "": "age\n99.9 %", "age_worst": "age\nat most",
        "latency_p50": "exchange\np50", "latency_p95": "exchange\np95", "latency_max": "exchange\nat most",
    }  # fmt: skip
    usual = {camera.name: "-" if camera.age_p999 is None else _time(camera.age_p999) for camera in line.cameras}
    rows = [(camera.name, str(camera.bus_id), camera.figures) for camera in line.cameras]
    rows.append(("the line", "", line.figures or {}))
    cells = [
        [name, bus_id, *(_value(figures.get(one)) if one else usual.get(name, "-") for one in titles)]
        for name, bus_id, figures in rows
    ]
    columns = [Column("camera"), Column("ID", True), *(Column(title, True) for title in titles.values())]
    screen.table(columns, cells, last="bold")


def _value(value: Value | None) -> str:
    if value is None or value.value is None:
        return "-"
    if value.quantity.unit == "s":
        return _time(value.value)
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
        more = f"{line.more_cameras} more camera{'' if line.more_cameras == 1 else 's'} like these"
        yield (
            f"room: {more} until headroom falls under 30 %, within unit loads and bus IDs. Power is not counted: write "
            "them into the plan, and `busim check` judges supply, fuse and cable."
        )
    moves = line.moves
    if moves is not None:
        bound = "" if moves.bound is None else f", never more than {_time(moves.bound)}"
        bound = f", 99.9 % within {_time(moves.p999)}{bound}"
        after, steady = "", ", positions of joysticks included" if line.joysticks else ""
        if moves.after_polls is not None:
            after = f" (if moves waited for a whole round: {_time(moves.after_polls)})"
        yield (
            f"a move ({moves.rate:.3g} /s{steady}): acknowledged after {_time(moves.mean)} on average{after}, "
            f"95 % within {_time(moves.p95)}{bound}."
        )
        if moves.second is not None:
            most = moves.second_worst
            worst = "" if most is None else f", never after more than {_time(most)}"
            yield f"another panel shows it after {_time(moves.second)} on average{worst}."
    if line.limit:
        yield f"limit: {line.limit}."
    if line.unknown:
        yield f"unknown: {line.unknown}."
    for change in line.changes:
        yield f"would help: {best_change(change)}."
    if line.need is not None:
        yield f"needed: {_need(line.need)}"


def _jobs(line: LineBudget) -> Iterator[str]:
    for job in line.jobs:
        yield f"{job.name}: {_time(job.mean)}, at most {_time(job.worst)}."
    for dead in line.dead:
        cameras = f"{counted(dead.count, 'camera')} {'dies' if dead.count == 1 else 'die'}"
        if dead.load is not None and dead.load_after is not None:
            cost = f"load {dead.load:.0%}, then {dead.load_after:.0%}"
        else:
            cost = f"a round takes {_time(dead.cycle)}, then {_time(dead.after)}"
        yield f"{cameras}: given up after {_time(dead.until)}; till then {cost}."


def _disturbed(line: LineBudget) -> Iterator[str]:
    if line.noise:
        rows = (f"{one.failing:.2g} at {one.bit_error_rate:g}" for one in line.noise)
        slowest = line.noise[-1]
        yield (
            f"noise loses this share of the exchanges at this bit error rate: {', '.join(rows)}; with the last, polls "
            f"come every {_time(slowest.cycle)}."
        )
    for other in line.second_master:
        sent, quiet = f"{other.rate:.3g}", f"{_time(other.quiet)} of quiet"
        heard = f", also if it waits for {quiet} first" if other.listening else f"; none if it waits for {quiet} first"
        yield (
            f"a second master that sends {sent} {'request' if sent == '1' else 'requests'} per second spoils "
            f"up to {other.at_will:.1%} of the polls{heard}."
        )


def _joysticks(screen: Screen, line: LineBudget) -> None:
    """The joysticks of the plan, and an operator's move beside each."""
    rows = []
    for one in line.joysticks:
        who = f"{one.panel}: {', '.join(one.controls)} of {one.camera}, {one.rate:.3g} /s"
        position = "-" if one.p95 is None else _time(one.p95)
        rows.append([who, position, f"{one.replaced:.0%}", _time(one.beside_p95), _time(one.without_p95)])
    titles = ("position 95 %", "replaced", "a move beside, 95 %", "at rest")
    screen.table([Column("joystick"), *(Column(title, right=True) for title in titles)], rows)
    first = line.joysticks[0]
    if first.cycle is not None and first.without_cycle is not None:
        rests = f"; every {_time(first.without_cycle)} while it rests" if len(line.joysticks) == 1 else ""
        screen.say(f"polls come every {_time(first.cycle)} with joysticks moved all the time{rests}.")


def _streams(screen: Screen, line: LineBudget) -> None:
    rows, too_much = [], []
    for stream in line.streams:
        who = counted(stream.count, f"more {stream.kind.removesuffix('s')}")
        if stream.mean is None or stream.p95 is None or stream.cycle is None:
            too_much.append(f"{who}: too much, {stream.share:.0%} of the master's time.")
            continue
        bound = "-" if stream.bound is None else f"{_time(stream.bound)} (alone)"
        rows.append([who, _time(stream.mean), _time(stream.p95), bound, _time(stream.cycle)])
    titles = ("a move takes", "95 % within", "at most", "polls every")
    if rows:
        screen.table([Column("with"), *(Column(title, right=True) for title in titles)], rows)
    for text in too_much:
        screen.say(text)
