"""The sections of a rehearsal's report: its outcome, its duration, and every step with its cautions."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from markupsafe import Markup

from busim.commissioning.rehearse import FAILED
from busim.foundation.markup import el
from busim.foundation.version import VERSION
from busim.web.report.json_values import entries, number, said
from busim.web.report.step_chart import Step, step_chart
from busim.web.report.tables import table

_MOST = 300  # rows; the others are counted
_LETTERS = "ABCDEFGHIJ"


def rehearsal_sections(given: dict[str, Any]) -> Iterator[Markup]:
    """From what `busim rehearse --json` wrote."""
    steps = entries(given["steps"])
    yield from _head(given, steps)
    yield el("h2", "How long it takes")
    yield el("p", "One line after the other, each row a camera or a supply. Dark: on the wire, simulated. Light: "
             "hands, assumed. A cross: this step failed.", class_="note")  # fmt: skip
    yield from step_chart(_laid_out(steps))
    yield table(("line", "steps", "on the wire (simulated)", "by hand (assumed)"), _per_line(steps), numbers=(1, 2, 3))
    yield from _steps(steps)
    yield el("h2", "Assumptions")
    yield el("ul", *(el("li", said(one)) for one in given.get("assumed") or []))


def _head(given: dict[str, Any], steps: list[dict[str, Any]]) -> Iterator[Markup]:
    good = bool(given.get("ok"))
    failed = [step for step in steps if step.get("outcome") == FAILED]
    answer = "Every step was done." if good else f"{len(failed)} of {len(steps)} steps failed."
    wire, handling = number(given.get("wire_s")), number(given.get("handling_s"))
    yield el("h1", str(given.get("plan")))
    what_if = f", what if: {said(given['what_if'])}" if given.get("what_if") else ""
    told = f"Report of a rehearsed commissioning{what_if}, seed {said(given.get('seed'))}, busim {VERSION}."
    yield el("p", told, class_="note")
    long = (
        f" {_minutes(wire + handling)} in all: {_minutes(wire)} on the wire (simulated), {_minutes(handling)} by hand"
    )
    yield el("p", el("strong", answer), f"{long} (assumed).", class_="verdict" if good else "verdict missed")
    if given.get("told"):
        yield el("p", said(given["told"]))
    for step in failed[:10]:
        why = said(step.get("reason")) or said(step.get("seen"))
        yield el("p", f"Step {said(step.get('number'))}, {said(step.get('do'))}: {why}")
    if len(failed) > 10:
        yield el("p", f"Not shown: {len(failed) - 10} more that failed.", class_="note")


def _minutes(seconds: float) -> str:
    if not seconds:
        return "–"
    return f"{seconds:.1f} s" if seconds < 100 else f"{seconds / 60:.0f} min"


def _laid_out(steps: list[dict[str, Any]]) -> list[Step]:
    """The steps in a row: unlike the simulated clock, this one also counts work by hand."""
    laid, now = [], 0.0
    for step in steps:
        row = said(step.get("camera") or step.get("supply") or step.get("line"))
        text = f"{said(step.get('number'))}. {said(step.get('do'))} {row}: {said(step.get('seen'))}"
        wire, handling = number(step.get("wire_s")), number(step.get("handling_s"))
        laid.append(Step(row, now, wire, handling, step.get("outcome") == FAILED, text))
        now = laid[-1].ends
    return laid


def _per_line(steps: list[dict[str, Any]]) -> Iterator[tuple[str, ...]]:
    for line in dict.fromkeys(said(step.get("line")) for step in steps):
        mine = [step for step in steps if said(step.get("line")) == line]
        wire, handling = (sum(number(step.get(key)) for step in mine) for key in ("wire_s", "handling_s"))
        yield line, str(len(mine)), _minutes(wire), _minutes(handling)


def _steps(steps: list[dict[str, Any]]) -> Iterator[Markup]:
    cautions = list(dict.fromkeys(said(step["caution"]) for step in steps if step.get("caution")))
    letters = dict(zip(cautions, _LETTERS, strict=False))
    yield el("h2", "Steps")
    yield el("p", "Caution: on supplies, on ladders and under loads the local code and licensed people decide.")
    yield el("ul", *(el("li", el("strong", f"Caution {letter}. "), text) for text, letter in letters.items()))
    rows = []
    for step in steps[:_MOST]:
        whose = [step.get("camera") or step.get("supply") or ""]
        bus_id = step.get("asked_at_bus_id")
        outcome = said(step.get("outcome"))
        rows.append((
            said(step.get("number")), said(step.get("do")), said(whose), said(bus_id),
            outcome.upper() if outcome == FAILED else outcome, _minutes(number(step.get("wire_s"))),
            _minutes(number(step.get("handling_s"))), said(step.get("reason") or step.get("seen")),
            said(step.get("look")), letters.get(said(step.get("caution")), ""),
        ))  # fmt: skip
    heads = ("", "step", "of", "at bus ID", "outcome", "wire", "hands", "what was seen", "look for", "caution")
    yield table(heads, rows, numbers=(0, 3, 5, 6))
    if len(steps) > _MOST:
        yield el("p", f"Not shown: {len(steps) - _MOST} more.", class_="note")
