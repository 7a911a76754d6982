"""The sections of a campaign's report: each failure with its reason, its faults, a picture of the line, and the command
that repeats it; then the tried cases.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from markupsafe import Markup

from busim.foundation.errors import BusimError
from busim.foundation.markup import el
from busim.foundation.version import VERSION
from busim.installation import outline
from busim.recording.trace import open_trace
from busim.runtime.session import plan_of
from busim.web.picture import LaidLine, Story, laid_lines, line_picture, svg
from busim.web.report.json_values import entries, number, said
from busim.web.report.tables import table

_MOST_FAILURES, _MOST_FRAMES = 20, 24
_AROUND, _LONGEST = 5_000_000, 400_000_000  # ns beside the frames of a picture, and in all


def campaign_sections(given: dict[str, Any], folders: Sequence[Path]) -> Iterator[Markup]:
    """From what `busim fuzz --json` wrote; `folders`: possible folders of its saved failures."""
    failures = entries(given["failures"])
    failures.sort(key=lambda one: bool(one.get("accepted")))
    yield from _head(given, failures)
    if failures:
        yield el("h2", "What failed")
    for place, failure in enumerate(failures[:_MOST_FAILURES], 1):
        yield from _failure(place, failure, folders)
    if len(failures) > _MOST_FAILURES:
        yield el("p", f"Not shown: {len(failures) - _MOST_FAILURES} more failures.", class_="note")
    yield from _tried(given)


def _head(given: dict[str, Any], failures: list[dict[str, Any]]) -> Iterator[Markup]:
    new = sum(not one.get("accepted") for one in failures)
    answer = f"{new} failure{'' if new == 1 else 's'} not yet accepted" if new else "No failure is new"
    known = len(failures) - new
    cases, wanted = said(given.get("cases")), given.get("cases_wanted")
    short = (
        f" of {said(wanted)} that were wanted: it was ended before" if wanted not in (None, given.get("cases")) else ""
    )
    yield el("h1", "Campaign")
    yield el("p", f"Report of `busim fuzz`, seed {said(given.get('seed'))}, busim {VERSION}.", class_="note")
    accepted = f" {known} known and accepted." if known else ""
    verdict = "verdict missed" if new else "verdict"
    yield el("p", el("strong", f"{answer}."), f" Cases tried: {cases}{short}.{accepted}", class_=verdict)


def _failure(place: int, failure: dict[str, Any], folders: Sequence[Path]) -> Iterator[Markup]:
    verdict = failure["verdict"] if isinstance(failure.get("verdict"), dict) else {}
    case = failure["case"] if isinstance(failure.get("case"), dict) else {}
    evidence = entries(verdict.get("evidence"))
    yield el("h3", f"{place}. {said(failure.get('judge'))}: {said(verdict.get('why'))}")
    if failure.get("accepted"):
        yield el("p", f"Known, and accepted: {said(failure['accepted'])}")
    yield el("p", f"It takes: {_faults(case)}. Found in case {said(failure.get('found_after'))}, then made as small as "
             "it stays a failure.")  # fmt: skip
    saved = failure.get("saved")
    if isinstance(saved, str):
        yield el("p", "Show it again: ", el("code", f"busim replay {saved}"))
        if evidence:
            yield from _picture(place, evidence[0], saved, folders)
    if evidence:
        yield from _evidence(evidence)


def _faults(case: dict[str, Any]) -> str:
    told = []
    for fault in case.get("faults") or []:
        if isinstance(fault, list) and len(fault) >= 4:
            kind, target, at, length = fault[:4]
            told.append(
                f"{said(kind)} at {said(target)} from {number(at) / 1e9:.2f} s for {number(length) / 1e9:.3g} s"
            )
        else:
            told.append(said(fault))
    return f"{'; '.join(told) or 'no fault'}, in a case of {number(case.get('length')) / 1e9:.3g} s"


def _picture(place: int, evidence: dict[str, Any], saved: str, folders: Sequence[Path]) -> Iterator[Markup]:
    """The line around the failure; empty if the trace is gone or has no such line."""
    frames = entries(evidence.get("frames"))
    found = next(
        (path for path in (folder / saved for folder in folders) if path.with_suffix(".busim").is_file()), None
    )
    if found is None or not frames:
        yield el("p", "No picture: the trace that was saved beside it is not here.", class_="note")
        return
    try:
        with open_trace(found.with_suffix(".busim")) as trace:
            line = _line_of(frames, laid_lines(trace, outline(plan_of(trace))))
            until = round(1e9 * max(number(one.get("end_s")) for one in frames)) + _AROUND
            since = max(0, until - _LONGEST, round(1e9 * min(number(one.get("start_s")) for one in frames)) - _AROUND)
            if line is None or since >= until:
                return
            story = Story()
            story.follow(trace)
            drawn = svg(line_picture(trace, line, None, story, since, until), number=place)
    except BusimError as error:
        yield el("p", f"No picture: {error}", class_="note")
        return
    caption = f"{line.name}, {since / 1e9:.3f} to {until / 1e9:.3f} s, recorded in this case"
    yield el("figure", el("figcaption", caption), drawn)


def _line_of(frames: list[dict[str, Any]], lines: Sequence[LaidLine]) -> LaidLine | None:
    """The line of the sender of these frames."""
    drivers = {said(one.get("driver")) for one in frames}
    return next((line for line in lines if drivers & {stand.name for stand in line.stands}), None)


def _evidence(evidence: list[dict[str, Any]]) -> Iterator[Markup]:
    first = evidence[0]
    if first.get("fault"):
        yield el("p", f"Last fault before it: {said(first['fault'])}")
    frames = entries(first.get("frames"))
    rows = [
        (f"{number(one.get('start_s')):.6f}", said(one.get("driver")), said(one.get("hex")), said(one.get("meaning")))
        for one in frames[-_MOST_FRAMES:]
    ]
    yield table(("s", "sender", "bytes", "meaning"), rows, numbers=(0,))
    if len(frames) > _MOST_FRAMES:
        yield el("p", f"Not shown: {len(frames) - _MOST_FRAMES} frames before them.", class_="note")
    if len(evidence) > 1:
        times = ", ".join(f"{number(one.get('at_s')):.3f}" for one in evidence[1:13])
        yield el("p", f"The same again at {times} s{' and later' if len(evidence) > 13 else ''}.", class_="note")


def _tried(given: dict[str, Any]) -> Iterator[Markup]:
    yield el("h2", "What was tried")
    outcomes = given["outcomes"] if isinstance(given.get("outcomes"), dict) else {}
    rows = [
        (judge, *(said(counts.get(name)) for name in ("pass", "fail", "inconclusive")))
        for judge, counts in outcomes.items() if isinstance(counts, dict)
    ]  # fmt: skip
    yield table(("judge", "passed", "failed", "nothing to judge"), rows, numbers=(1, 2, 3))
    yield el("p", f"{said(given.get('runs'))} runs in all, shrinking included. Effects of faults: "
             f"{said(given.get('effects'))}. {said(given.get('reached'))} different states of judges, faults and "
             "protocol were reached (all measured).")  # fmt: skip
    measured = given["measured"] if isinstance(given.get("measured"), dict) else {}
    if number(measured.get("memory_max_bytes")):
        yield el("p", f"The controller took at most {number(measured['memory_max_bytes']) / 2**20:.0f} MiB and "
                 f"{number(measured.get('cpu_max_s')):.1f} s of processor time; the world was at most "
                 f"{1000 * number(measured.get('late_max_s')):.1f} ms late; {said(measured.get('killed'))} were killed "
                 "(all measured).")  # fmt: skip
