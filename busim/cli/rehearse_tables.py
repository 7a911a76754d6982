"""A rehearsal on a screen: whether the commissioning passes, how long it takes, failures and remedies.

The answer takes a terminal of 24 lines; `--detail` gives every step.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from rich.text import Text

from busim.cli.screen import Column, Screen, counted, fewest
from busim.commissioning.rehearse import FAILED, OK, SKIPPED, Done, Rehearsal, WhatIf, what_ifs
from busim.foundation.units import show_time

_STYLES = {OK: "green", FAILED: "bold red"}
_CAUTION = (
    "Caution: nothing moves here; on site heads and lenses do, and cameras hang over people. Keep hands off a head "
    "while IDs are set, keep people from under a ladder, switch supplies off before plugs are changed: "
    "busim explain cautions"
)
_KNOWN = "On site a laptop hears the same. Only the emulator knows why a step failed: on site you must find it."
_MINUTE = 60_000_000_000


def print_rehearsal(rehearsal: Rehearsal, tried: WhatIf | None, trace: str | None) -> None:
    """The answer; `tried`: the rehearsed what-if."""
    screen = Screen()
    if tried is None:
        screen.say(f"{rehearsal.plan}: {_sentence(rehearsal)}", "bold")
        _times(screen, rehearsal)
    else:
        _tried(screen, rehearsal, tried)
    if rehearsal.proposed:
        ids = [f"{name} {rehearsal.bus_ids[name]}" for name in rehearsal.proposed]
        screen.say(
            f"The plan gives one bus ID to several cameras of a line. Proposed instead: {fewest(ids, 8)}.", "yellow"
        )
    if tried is None:
        screen.blank()
        _lines(screen, rehearsal)
        for one in rehearsal.failed[:2]:
            screen.blank()
            _failure(screen, one)
        if len(rehearsal.failed) > 2:
            screen.say(f"and {counted(len(rehearsal.failed) - 2, 'more step')} failed: --detail", "yellow")
    screen.blank()
    screen.say(_CAUTION, "yellow")
    if trace:
        screen.say(f"Trace: {trace}")
    more = "every step: --detail, --line NAME" if tried is None else "every step: --detail"
    mishaps = "What can go wrong: --what-if all" if tried is None else "All mishaps: --what-if all"
    screen.say(f"More, with {more}. {mishaps}", "dim")


def _sentence(rehearsal: Rehearsal) -> str:
    if rehearsal.ok:
        return f"all {counted(len(rehearsal.done), 'step')} of the commissioning pass"
    skipped = sum(one.outcome == SKIPPED for one in rehearsal.done)
    text = f"{len(rehearsal.failed)} of {counted(len(rehearsal.done), 'step')} failed"
    return f"{text}, {skipped} {'was' if skipped == 1 else 'were'} skipped" if skipped else text


def _times(screen: Screen, rehearsal: Rehearsal) -> None:
    total = span(rehearsal.simulated + rehearsal.handling)
    screen.say(
        f"It takes {total}: {span(rehearsal.simulated)} on the wires and in the cameras (simulated), "
        f"{span(rehearsal.handling)} of work by hand (assumed). Seed {rehearsal.seed}."
    )


def _lines(screen: Screen, rehearsal: Rehearsal) -> None:
    """One row for each line."""
    rows: list[list[str | Text]] = []
    for line in dict.fromkeys(one.step.line for one in rehearsal.done):
        done = [one for one in rehearsal.done if one.step.line == line]
        failed = sum(one.outcome == FAILED for one in done)
        tried = any(one.outcome != SKIPPED for one in done)
        passes = (
            Text(f"{failed} failed", _STYLES[FAILED]) if failed
            else Text("yes", _STYLES[OK]) if tried else Text("NOT TRIED", _STYLES[FAILED])
        )  # fmt: skip
        rows.append([
            line or "(everywhere)", passes, str(len({one.step.camera for one in done} - {""})), str(len(done)),
            str(sum(bool(one.look) for one in done)), span(sum(one.simulated for one in done)),
            span(sum(one.step.handling for one in done if one.outcome != SKIPPED)),
        ])  # fmt: skip
    titles = ("cameras", "steps", "to look\nat", "\nsimulated", "by hand\n(assumed)")
    screen.table([Column("line"), Column("passes"), *(Column(title, True) for title in titles)], rows)


def _failure(screen: Screen, one: Done) -> None:
    assert one.reason is not None
    place = f" (line {one.step.place[0]}, column {one.step.place[1]} of the plan)" if one.step.place else ""
    screen.say(f"Step {one.number}, {one.step.do} {one.step.about}{place}: {one.reason.why}", "red")
    screen.fact("heard", one.seen, column=8)
    screen.fact("do", one.reason.mend, column=8)


def _tried(screen: Screen, rehearsal: Rehearsal, tried: WhatIf) -> None:
    """A what-if: where it shows, its symptom, how to find and mend it."""
    screen.say(f"{rehearsal.plan}: what if {tried.title}?", "bold")
    first = next(iter(rehearsal.failed), None)
    if first is None or first.reason is None:
        screen.say("The mishap did not show on this line: every step passed.", "yellow")
    else:
        screen.say(f"It shows at step {first.number}, {first.step.do} {first.step.about}. {_sentence(rehearsal)}.")
        screen.fact("heard", f"{first.seen} (simulated)", column=12)
        screen.fact("because", first.reason.why, column=12)
        if not tried.as_told(rehearsal):
            screen.say("The mishap did not show on this line as described below.", "yellow")
    for name, text in (
        ("goes wrong", tried.wrong), ("looks like", tried.looks), ("find it", tried.find), ("mend it", tried.mend),
    ):  # fmt: skip
        screen.fact(name, text, column=12)
    screen.say(_KNOWN, "dim")


# -- detail ------------------------------------------------------------------------------------------------------


def print_detail(rehearsal: Rehearsal, line: str | None) -> None:
    """Every step, or those of one named line, every failure, and the basis of the times."""
    screen = Screen()
    shown = [one for one in rehearsal.done if line in (None, one.step.line)]
    for name in dict.fromkeys(one.step.line for one in shown):
        screen.blank()
        _steps(screen, name, [one for one in shown if one.step.line == name])
    for one in shown:
        if one.reason is not None:
            screen.blank()
            _failure(screen, one)
    screen.blank()
    if rehearsal.failed:
        screen.say(_KNOWN, "dim")
    screen.say("These stand on assumptions: " + "; ".join(rehearsal.assumed.sentences) + ".", "dim")


def _steps(screen: Screen, line: str, done: Sequence[Done]) -> None:
    """Each step: the work, the replies heard, its time, and what to look at."""
    screen.say(line or "everywhere", "bold")
    for one in done:
        bus_id = "" if one.step.bus_id is None else f" ID {one.step.bus_id}"
        times = [f"{span(one.simulated)} simulated"] * bool(one.simulated)
        times += [f"{span(one.step.handling)} by hand, assumed"] * bool(one.step.handling)
        took = f" ({'; '.join(times)})" if times else ""
        text = f"{one.outcome}: {one.step.do}{bus_id} {one.step.camera}".rstrip() + f": {one.seen}{took}"
        screen.fact(f"{one.number}", text, "" if one.outcome == OK else _STYLES.get(one.outcome, "dim"), column=5)
        if one.look:
            screen.fact("", f"look: {one.look}", "cyan", column=5)


def print_what_ifs() -> None:
    """All of them, each in a sentence."""
    screen = Screen()
    screen.say("What can go wrong: busim rehearse PLAN --what-if NAME", "bold")
    for one in what_ifs().values():
        screen.fact(one.name, f"What if {one.title}?", column=21)


def print_all(plan: str, tried: Sequence[tuple[WhatIf, Rehearsal | None, str]], *, detail: bool) -> None:
    """One row each: the step at which it shows and the replies there; with `detail` the mishap and the reason."""
    screen = Screen()
    wrong = [one.name for one, rehearsal, _ in tried if rehearsal is not None and not one.as_told(rehearsal)]
    here = sum(rehearsal is not None for _, rehearsal, _ in tried)
    shown = f"{here - len(wrong)} of {counted(here, 'mishap')} show as described"
    unlike = f"; not so: {fewest(wrong, 4)}" if wrong else ""
    screen.say(f"{plan}: {shown}{unlike}", "bold")
    rows = [_mishap(*one) for one in tried]
    screen.table(
        [Column("what-if"), Column("as described"), Column("shows at"), Column("heard there (simulated)")], rows
    )
    if detail:
        _reasons(screen, tried)
    screen.say("More on one: busim rehearse PLAN --what-if NAME. Reasons: --detail. " + _KNOWN, "dim")


def _mishap(one: WhatIf, rehearsal: Rehearsal | None, why_not: str) -> list[str | Text]:
    if rehearsal is None:
        return [one.name, "-", "-", f"cannot happen here: {why_not}"]
    first = next(iter(rehearsal.failed), None)
    if first is None:
        return [one.name, Text("NO", "red"), "-", "nothing went wrong"]
    told = Text("yes", "green") if one.as_told(rehearsal) else Text("NO", "red")
    seen = first.seen.partition("; ")[0]
    return [one.name, told, f"step {first.number}, {first.step.do}", seen]


def _reasons(screen: Screen, tried: Iterable[tuple[WhatIf, Rehearsal | None, str]]) -> None:
    for one, rehearsal, _ in tried:
        for first in () if rehearsal is None else rehearsal.failed[:1]:
            screen.blank()
            screen.say(f"{one.name}: what if {one.title}?", "bold")
            screen.fact("goes wrong", one.wrong)
            _failure(screen, first)
    screen.blank()


def span(ns: int) -> str:
    """A length of time in the words of the site."""
    if ns < _MINUTE:
        return show_time(ns) if ns else "-"
    minutes, seconds = divmod(round(ns / 1e9), 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours} h {minutes:02} min" if hours else f"{minutes} min {seconds:02} s"
