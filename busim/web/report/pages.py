"""The report of a trace as HTML: planned, measured, expected; the worst moments, distributions, assumptions.

It has no script and no external content, stays under 600 kB, and reads on grey paper. Omitted rows are counted. Every
number says whether it was planned, computed or measured.
"""

from __future__ import annotations

from collections.abc import Iterator
from importlib.resources import files

from markupsafe import Markup

from busim.analysis.budget import Budget, LineBudget, budget
from busim.experiments.verify import TOLERANCES
from busim.foundation.errors import UserError
from busim.foundation.markup import css_text, el, void
from busim.foundation.version import VERSION
from busim.installation import outline
from busim.plan import Plan
from busim.recording.expectations import INCONCLUSIVE, MET, MISSED
from busim.recording.figures import Value
from busim.recording.trace import EXCHANGE, REAL, Trace, open_trace
from busim.runtime.session import LineReport, Report, plan_of, recorded_report
from busim.web.picture import LaidLine, Story, laid_lines, line_picture, svg
from busim.web.report.bars import Bars
from busim.web.report.moments import Moments, worst
from busim.web.report.tables import Cell, shown, table, titles

PAPERS = {"a4": "A4", "letter": "letter"}
MARK = "busim report"
_DRAWN = (".ground", ".station", ".converter", ".lead", ".tick", ".time", ".band", ".hit", ".driver", ".tie", ".waits",
          ".cut", ".cross", ".sign", ".mark", ".said")  # fmt: skip
_MOST_CAMERAS, _MOST_VERDICTS, _MOST_LINES = 120, 150, 64  # rows; the others are counted
_FIGURES = ("poll_rate", "latency_p95", "move_p95", "time_outs", "damaged", "collisions", "occupancy", "load",
            "headroom")  # fmt: skip
_CAMERA = ("poll_rate", "age_mean", "age_worst", "latency_p95", "latency_max", "move_p95", "time_outs", "damaged")
_ENOUGH = {"move_p95": 2500}  # observations, below which a difference means little; 400 of the others
_COMPARED = ("poll_rate", "latency_p95", "move_p95", "occupancy", "load")


def report(path: str, *, paper: str = "a4") -> str:
    """The report of the trace at `path`. Raises UserError for an unreadable trace or an unknown paper."""
    with open_trace(path) as trace:
        gathered = _Gathered(trace)
        sections = [_head(gathered), *_planned(gathered), *_measured(gathered), *_expected(gathered), *_worst(gathered),
                    *_distributions(gathered), *_assumed(gathered)]  # fmt: skip
    return document(f"Report: {gathered.report.plan}", sections, paper=paper)


def document(title: str, sections: list[Markup], *, paper: str) -> str:
    """HTML5 that is also XML. Raises UserError for an unknown paper."""
    if paper not in PAPERS:
        raise UserError(
            "there is no such paper", field="--paper", found=repr(paper[:60]), expected=" or ".join(PAPERS),
            mend="name one of these",
        )  # fmt: skip
    page = (
        f"@page {{ size: {PAPERS[paper]} portrait; margin: 13mm 12mm 15mm 12mm; "
        f"@bottom-left {{ content: {css_text(title[:70])}; font: 8pt sans-serif; }} "
        '@bottom-right { content: "page " counter(page) " of " counter(pages); font: 8pt sans-serif; } }\n'
    )
    style = (files("busim.web.report") / "report.css").read_text(encoding="utf-8")
    head = el(
        "head",
        void("meta", charset="utf-8"),
        void("meta", name="generator", content=MARK),
        void("meta", http_equiv="Content-Security-Policy", content="default-src 'none'; style-src 'unsafe-inline'"),
        void("meta", name="viewport", content="width=device-width, initial-scale=1"),
        el("title", title),
        Markup(f"<style>{page}{style}</style>"),
    )
    body = el("html", head, el("body", el("main", *sections)), lang="en", xmlns="http://www.w3.org/1999/xhtml")
    return f"<!DOCTYPE html>\n{body}\n"


def picture_style() -> str:
    """The style of pictures of a line, for a separate file."""
    style = (files("busim.web.report") / "report.css").read_text(encoding="utf-8")
    rules = [rule for rule in style.split("\n") if rule.startswith(_DRAWN)]
    return "svg { font: 10.5px sans-serif; background: #fff; }\n" + "\n".join(rules)


def is_report(text: str) -> bool:
    """Whether a file that begins with this text was written by `report`."""
    return text.startswith("<!DOCTYPE html>") and f'name="generator" content="{MARK}"' in text[:1000]


class _Gathered:
    """The data of all sections, from one pass over the exchanges."""

    def __init__(self, trace: Trace) -> None:
        self.trace = trace
        self.plan: Plan = plan_of(trace)
        self.lines: tuple[LaidLine, ...] = laid_lines(trace, outline(self.plan))
        self.report: Report = recorded_report(trace)
        self.budget: Budget | None = _budget(self.plan)
        self.moments = {line.number: Moments(line) for line in self.lines}
        self.latencies = {line.number: Bars() for line in self.lines}
        for record in trace.records(EXCHANGE):
            if record[1] in self.moments:
                self.moments[record[1]].take(record)
                if record[12] in ("ok", "refused"):
                    self.latencies[record[1]].add(record[10] - record[9])

    def computed(self, line: str) -> LineBudget | None:
        """The budget of a line with one master; None with several masters, or without a budget."""
        found = [] if self.budget is None else [one for one in self.budget.lines if one.line == line]
        return found[0] if len(found) == 1 and found[0].figures else None


def _budget(plan: Plan) -> Budget | None:
    try:
        return budget(plan, what_ifs=False)
    except UserError:
        return None


def _head(given: _Gathered) -> Markup:
    report, head = given.report, given.trace.head
    verdicts = [one.verdict for one in report.verdicts]
    met, missed, open_ = (verdicts.count(one) for one in (MET, MISSED, INCONCLUSIVE))
    said = f"{met} of {len(verdicts)} expectations met" if verdicts else "The plan expects nothing (`expect`)"
    more = [f"{missed} missed" if missed else "", f"{open_} inconclusive" if open_ else ""]
    said = ", ".join([said, *filter(None, more)])
    whole = "" if head.get("complete") else " The run was cut short: the trace ends with its last batch."
    run = f"{report.length / 1e9:g} s of simulated time, seed {report.seed}, {report.clock} clock, busim {VERSION}."
    if report.clock == REAL:
        run = f"{report.length / 1e9:g} s at a real line, busim {VERSION}."
    return el(
        "header",
        el("h1", report.plan),
        el("p", f"Report of a recorded run: {run}{whole}", class_="note"),
        el("p", el("strong", said + "."), class_="verdict missed" if missed else "verdict"),
    )


def _planned(given: _Gathered) -> Iterator[Markup]:
    yield el("h2", "What was planned")
    rows = []
    for line in given.lines[:_MOST_LINES]:
        resolved = line.resolved
        assert resolved is not None
        askers = ", ".join(
            f"{one.master.name}{f' through {one.box.name}' if one.box is not None else ''}" for one in resolved.askers
        )
        rows.append((
            line.name, f"{float(resolved.line.baud):g} Bd {resolved.line.format}", resolved.line.protocol,
            f"{line.length:g} m", str(len(resolved.cameras)), askers or "no master",
        ))  # fmt: skip
    yield table(("line", "baud and format", "protocol", "cable", "cameras", "asked by"), rows, numbers=(3, 4))
    yield from _left(len(given.lines), _MOST_LINES, "line")
    yield el("p", "All of it as planned; the trace contains the plan.", class_="note")


def _left(number: int, most: int, what: str) -> Iterator[Markup]:
    if number > most:
        more = number - most
        yield el("p", f"Not shown: {more} more {what}{'' if more == 1 else 's'}.", class_="note")


def _measured(given: _Gathered) -> Iterator[Markup]:
    yield el("h2", "What was measured")
    rows: list[list[Cell]] = []
    for line in given.report.lines[:_MOST_LINES]:
        rows.append([line.name, *(shown(line.figures.get(name)) for name in _FIGURES)])
    yield table(("line", *titles(_FIGURES)), rows, numbers=range(1, 10))
    differing = [sentence for line in given.report.lines for sentence in differences(line, given.computed(line.name))]
    if given.budget is not None:
        yield el("h3", "Beside the budget")
        said = differing or ["Every figure that was computed lies within its tolerance."]
        yield el("ul", *(el("li", one) for one in said[:_MOST_LINES]))
        yield from _left(len(said), _MOST_LINES, "difference")
    cameras = [(line.name, camera) for line in given.report.lines for camera in line.cameras]
    yield el("h3", "Cameras")
    yield table(
        ("camera", "line", *titles(_CAMERA)),
        [
            [one.name, line, *(shown(one.figures.get(name)) for name in _CAMERA)]
            for line, one in cameras[:_MOST_CAMERAS]
        ],
        numbers=range(2, 10),
    )
    yield from _left(len(cameras), _MOST_CAMERAS, "camera")


def differences(line: LineReport, computed: LineBudget | None) -> Iterator[str]:
    """Each measured figure of a line that differs from the computed one by more than its tolerance, in words. Figures
    with too few observations are left out.
    """
    if computed is None or computed.figures is None:
        return
    for name in _COMPARED:
        expected, measured = computed.figures.get(name), line.figures.get(name)
        if expected is None or measured is None or not expected.value or measured.value is None:
            continue
        if measured.count < _ENOUGH.get(name, 400):
            continue
        away = measured.value / expected.value - 1
        if abs(away) > TOLERANCES.get(name, 0.05):
            yield _difference(line.name, expected, measured, away, TOLERANCES.get(name, 0.05))


def _difference(line: str, expected: Value, measured: Value, away: float, tolerance: float) -> str:
    way = "above" if away > 0 else "below"
    return (
        f"{line}: {measured.quantity.title} is {shown(measured)} (measured), {abs(away):.0%} {way} the computed "
        f"{shown(expected)}; the tolerance is {tolerance:.0%}"
    )


def _expected(given: _Gathered) -> Iterator[Markup]:
    yield el("h2", "What was expected")
    verdicts = sorted(given.report.verdicts, key=lambda one: (MISSED, INCONCLUSIVE, MET).index(one.verdict))
    if not verdicts:
        yield el("p", "The plan has no `expect`.")
        return
    rows = []
    for one in verdicts[:_MOST_VERDICTS]:
        value = one.value
        told = shown(value) if value.value is not None else value.why
        verdict = one.verdict.upper() if one.verdict == MISSED else one.verdict
        wanted = one.expectation
        found = f"{told} ({value.kind})"
        rows.append((verdict, value.quantity.title, wanted.name, wanted.written, found, str(value.count)))
    yield table(("verdict", "figure", "of", "expected", "found", "count"), rows, numbers=(5,))
    yield from _left(len(verdicts), _MOST_VERDICTS, "expectation")


def _worst(given: _Gathered) -> Iterator[Markup]:
    moments, sentence = worst(list(given.moments.values()))
    yield el("h2", "The worst moments")
    yield el("p", sentence)
    yield el(
        "p", "Time runs to the right, metres along the cable downwards. A plain band is a request, a hatched one a "
        "reply, a crosshatched one belongs to no exchange that a master reported. Dotted: the turnaround; dashed: "
        "waiting for an answer. A cross is a collision, a triangle something damaged, done or marked.", class_="note",
    )  # fmt: skip
    story = Story()
    story.follow(given.trace)
    for number, moment in enumerate(moments, 1):
        picture = line_picture(given.trace, moment.line, None, story, moment.since, moment.until)
        caption = f"{number}. {moment.line.name}, {moment.since / 1e9:.3f} s: {moment.text}"
        yield el("figure", el("figcaption", caption), svg(picture, number=number))


def _distributions(given: _Gathered) -> Iterator[Markup]:
    yield el("h2", "Distributions")
    yield el("p", "Times from request sent to reply whole at the master, measured; each bar is a third longer than the "
             "one before it.", class_="note")  # fmt: skip
    for line in given.lines[:_MOST_LINES]:
        yield given.latencies[line.number].svg(line.name)


def _assumed(given: _Gathered) -> Iterator[Markup]:
    yield el("h2", "Assumptions")
    yield el("p", "Measured figures stand on these:")
    yield el("ul", *(el("li", one) for one in given.report.assumptions))
    if given.budget is not None:
        yield el("p", "Computed figures stand on these:")
        yield el("ul", *(el("li", one) for one in given.budget.assumptions))
