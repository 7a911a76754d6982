"""The figures of a run on a screen: whether each line works and how well; with `--detail` the figures of every camera.

The answer takes a terminal of 24 lines: one row per line of the installation, then the trouble, the limit of each line,
and its best change. All figures are measured in the simulation; limits and changes are computed.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from rich.text import Text

from busim.analysis.budget import Budget
from busim.cli.limits import limits
from busim.cli.line_table import IDLE, LOSSES, NO, STYLES, YES, Row, print_rows, row_of, wanted_rate
from busim.cli.screen import Column, Screen, counted, fewest
from busim.foundation.units import show_time
from busim.recording.expectations import INCONCLUSIVE, MET
from busim.recording.figures import Value
from busim.runtime.session import LineReport, Report

# title over the column, figure, format of its value
Columns = tuple[tuple[str, str, str], ...]
_RATES: Columns = (
    ("exch.", "exchanges", "count"), ("polls\n/s", "poll_rate", "rate"), ("age ms\nmean", "age_mean", "ms"),
    ("\nworst", "age_worst", "ms"), ("time-\nouts", "time_outs", "count"), ("dam-\naged", "damaged", "count"),
    ("re-\nfused", "refused", "count"), ("re-\ntries", "retries", "count"),
)  # fmt: skip
_TIMES: Columns = (
    ("exch. ms\np50", "latency_p50", "ms"), ("\np95", "latency_p95", "ms"), ("\np99", "latency_p99", "ms"),
    ("\nmax", "latency_max", "ms"), ("move ms\np95", "move_p95", "ms"), ("\nmax", "move_max", "ms"),
    ("fast\npath", "fast_share", "share"),
)  # fmt: skip
_HOOK: Columns = (
    ("moves\ntold", "intents", "count"), ("to lens\nms p95", "intent_p95", "ms"), ("\nmax", "intent_max", "ms"),
    ("not\ndone", "intents_left", "count"), ("be-\nliefs", "beliefs", "count"), ("right", "belief_share", "share"),
    ("behind\nms p95", "behind_p95", "ms"), ("\nmax", "behind_max", "ms"),
)  # fmt: skip
_TROUBLE = ("time_outs", "damaged", "retries")
_NOTHING = 0.005  # of headroom
_MISSED = 2  # expectations shown in full
_FAULTS = 6  # faults shown on the screen
_WIDE = 132  # columns from which all figures of a camera fit one table
_LOST = {
    "time_outs": ("time-out", "time-outs"),
    "damaged": ("damaged reply", "damaged replies"),
    "ran_together": ("request run together with another", "requests run together with others"),
}


class State(NamedTuple):
    """Whether a line works: one word, and its trouble in whole sentences."""

    word: str
    trouble: tuple[str, ...]


def print_answer(
    screen: Screen, report: Report, trace: str | None, budget: Budget | None, checked: str, more: str
) -> None:
    """The first answers for people on site. `checked`: one sentence on the findings, or "".

    `more`: the options that show the rest, or "".
    """
    states = [_state(line, report) for line in report.lines]
    computed = "; limits and changes are computed" if budget else ""
    screen.say(f"{report.plan}: {_headline(report.lines, states)}", "bold")
    screen.say(f"Figures measured in {report.length / 1e9:g} s of simulation, seed {report.seed}, {report.clock} clock"
               f"{computed}.", "dim")  # fmt: skip
    screen.blank()
    print_rows(screen, [_row(*one, budget) for one in zip(report.lines, states, strict=True)], worst="worst")
    endings = list(_endings(report, trace, checked, more))
    reserved = sum(len(screen.wrapped(text)) for text, _ in endings)
    troubled = [
        (line.name, ".\n".join(state.trouble) + ".")
        for line, state in zip(report.lines, states, strict=True) if state.trouble
    ]  # fmt: skip
    if troubled:
        screen.blank()
    screen.facts(troubled, "yellow", reserved=reserved + 2)
    _verdicts(screen, report)
    if budget is not None:
        limits(screen, budget, reserved + 1)
    screen.blank()
    for text, style in endings:
        screen.say(text, style)


def _endings(report: Report, trace: str | None, checked: str, more: str) -> Iterator[tuple[str, str]]:
    if checked:
        yield checked, ""
    if report.verdicts:
        met = sum(one.verdict == MET for one in report.verdicts)
        yield f"Expected by the plan: {met} of {len(report.verdicts)} met.{_judged(report)}", ""
    for one in report.faults[:_FAULTS]:
        yield f"Fault {one.sentence}.", "" if one.count else "yellow"
    if len(report.faults) > _FAULTS:
        yield f"and {counted(len(report.faults) - _FAULTS, 'fault')} more: --json has all", ""
    if report.wrong:
        lines = counted(report.wrong_count, "line")
        yield f"The controller sent {lines} that were not beliefs. First: {report.wrong[0]}", "yellow"
    if report.lateness is not None:
        yield show_lateness(report), ""
    if trace:
        yield f"Trace: {trace}", ""
    rest = more or (f"busim replay {trace} --detail" if trace else "with --trace, and busim replay")
    yield f"More: {rest}. What a figure means: busim explain figures", "dim"


def _judged(report: Report) -> str:
    missed, open_ = len(report.missed), sum(one.verdict == INCONCLUSIVE for one in report.verdicts)
    said = [f"{missed} missed"] * bool(missed) + [f"{open_} inconclusive"] * bool(open_)
    return f" {', '.join(said)}." if said else ""


def _verdicts(screen: Screen, report: Report) -> None:
    """Missed and inconclusive expectations, each at its place in the plan and with its reason."""
    for one in report.missed[:_MISSED]:
        screen.say(one.sentence(report.plan_path), "yellow", hang=2)
    if len(report.missed) > _MISSED:
        screen.say(f"and {len(report.missed) - _MISSED} more missed: --json has all", "yellow")
    alike: dict[tuple[int, int, str], list[str]] = {}  # one entry of the plan may be inconclusive for every camera
    for one in report.verdicts:
        if one.verdict == INCONCLUSIVE:
            sentence = one.sentence(report.plan_path)
            alike.setdefault((one.expectation.line, one.expectation.column, one.value.why), []).append(sentence)
    for first, *others in list(alike.values())[:_MISSED]:
        screen.say(first + (f" (and {len(others)} more such)" if others else ""), hang=2)


def _headline(lines: Sequence[LineReport], states: Sequence[State]) -> str:
    names = {
        word: [line.name for line, state in zip(lines, states, strict=True) if state.word == word] for word in STYLES
    }
    if len(names[YES]) == len(lines):
        return f"{lines[0].name} works" if len(lines) == 1 else f"all {len(lines)} lines work"
    said = []
    for word, one, several in (
        (NO, "does not work", "do not work"), (LOSSES, "works, with losses", "work, with losses"),
        (IDLE, "was not polled", "were not polled"), (YES, "works", "work"),
    ):  # fmt: skip
        if names[word]:
            said.append(f"{fewest(names[word], 3)} {one if len(names[word]) == 1 else several}")
    return "; ".join(said)


def _state(line: LineReport, report: Report) -> State:
    """The state of a line by its figures."""
    failures = list(_unheard(line))
    headroom = line.figures["headroom"].value
    if headroom is not None and headroom < _NOTHING:
        failures.append("overloaded: the wanted poll rates are not kept")
    names = {line.name, *(camera.name for camera in line.cameras)}
    fails = bool(failures) or any(one.expectation.name in names for one in report.missed)
    if not line.figures["exchanges"].value:
        return State(NO if fails else IDLE, tuple(failures) or ("no master polled a camera of this line",))
    losses = list(_losses(line))
    unasked = [camera.name for camera in line.cameras if not camera.figures["exchanges"].value]
    remarks = [f"no master polled {fewest(unasked, 3)}"] if unasked else []
    return State(NO if fails else LOSSES if losses else YES, (*failures, *losses, *remarks))


def _unheard(line: LineReport) -> Iterator[str]:
    """Cameras that were polled and never answered soundly, and what to look for."""
    asked = [camera for camera in line.cameras if camera.figures["exchanges"].value]
    unheard = [camera for camera in asked if not camera.figures["latency_max"].count]
    garbled = [camera.name for camera in unheard if camera.figures["damaged"].value]
    silent = [camera.name for camera in unheard if camera.name not in garbled]
    if silent:
        yield f"no answer from {fewest(silent, 3)}: look for power, plug, bus ID, baud and format"
    if garbled:
        yield f"only damaged replies from {fewest(garbled, 3)}: look for a doubled bus ID, a second master and noise"


def _losses(line: LineReport) -> Iterator[str]:
    asked, hit = line.figures["exchanges"].value or 0, int(line.figures["collisions"].value or 0)
    lost = {name: int(line.figures[name].value or 0) for name in _LOST}
    if any(lost.values()):
        words = " and ".join(counted(number, *_LOST[name]) for name, number in lost.items() if number)
        because = f", {counted(hit, 'collision')}" if hit else ""
        yield f"{words} in {counted(int(asked), 'exchange')} ({sum(lost.values()) / asked:.1%}){because}"


def _row(line: LineReport, state: State, budget: Budget | None) -> Row:
    """The measured values of a line. Its wanted rates come from the budget."""
    asked = line.figures["exchanges"].value or 0
    lost = sum(line.figures[name].value or 0 for name in _LOST)
    computed = () if budget is None else budget.lines
    return row_of(
        line.name, state.word, [camera.figures for camera in line.cameras if camera.figures["exchanges"].value]
    )._replace(
        wanted=wanted_rate(group.wanted for one in computed if one.line == line.name for group in one.groups),
        move=line.figures["move_p95"].value,
        headroom=line.figures["headroom"].value,
        lost=f"{lost / asked:.1%}" if lost else "0" if asked else "-",
    )


# -- detail ------------------------------------------------------------------------------------------------------


def print_detail(screen: Screen, report: Report) -> None:
    """Every figure, the expectations, and the assumptions behind them."""
    for line in report.lines:
        screen.blank()
        title = f"{line.name}, measured"
        if screen.width >= _WIDE:
            _cameras(screen, line, (*_RATES, *_TIMES), title)
        else:
            _cameras(screen, line, _RATES, title)
            screen.blank()
            _cameras(screen, line, _TIMES, title)
        if line.figures["intents"].value is not None:
            screen.blank()
            _cameras(screen, line, _HOOK, title)
        headroom = show(line.figures["headroom"], "share")
        if line.figures["headroom"].why:
            headroom = f"not applicable because {line.figures['headroom'].why}"
        screen.say(
            f"occupancy {show(line.figures['occupancy'], 'share')}, load {show(line.figures['load'], 'share')}, "
            f"collisions {show(line.figures['collisions'], 'count')}; headroom {headroom}",
            indent=2,
        )
    screen.blank()
    screen.say("These figures stand on assumptions: " + "; ".join(report.assumptions) + ".", "dim")


def _cameras(screen: Screen, line: LineReport, columns: Columns, title: str) -> None:
    rows: list[list[str | Text]] = [
        [camera.name, str(camera.bus_id), *_cells(camera.figures, columns)] for camera in line.cameras
    ]
    rows.append(["whole line", "", *_cells(line.figures, columns)])
    titles = [Column("camera"), Column("ID", True), *(Column(name, True) for name, _, _ in columns)]
    screen.table(titles, rows, title=title, last="bold")


def _cells(figures: dict[str, Value], columns: Columns) -> list[str | Text]:
    cells: list[str | Text] = []
    for _, name, how in columns:
        value = figures.get(name)
        text = "" if value is None else show(value, how)
        cells.append(Text(text, "yellow") if name in _TROUBLE and text not in ("0", "-") else text)
    return cells


def show(value: Value, how: str) -> str:
    """A value for a table, with its unit in the title; a dash if it does not apply."""
    if value.value is None:
        return "-"
    if how == "ms":
        ms = value.value * 1000
        return f"{ms:.1f}" if ms < 1000 else f"{ms:.0f}"
    if how == "share":
        return f"{100 * value.value:.1f}%"
    return f"{value.value:.2f}" if how == "rate" else f"{value.value:.0f}"


def show_lateness(report: Report) -> str:
    """One sentence on the lateness of the wall clock."""
    lateness = report.lateness
    assert lateness is not None
    p50, p99 = lateness.quantile(0.5), lateness.quantile(0.99)
    if p50 is None or p99 is None:
        return "Lateness on the wall clock: nothing fell due."
    times = f"p50 {show_time(p50)}, p99 {show_time(p99)}, max {show_time(lateness.largest)}"
    return f"Lateness on the wall clock, measured: {times} over {counted(lateness.count, 'wake-up')}."
