"""A sheet as one HTML file for printing: no scripts, no external fonts or pictures, readable without colour."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator
from itertools import groupby
from pathlib import Path

from markupsafe import Markup

from busim.commissioning.sheet.diagram import diagrams
from busim.commissioning.sheet.label_pages import label_markup, precut_labels
from busim.commissioning.sheet.label_sheets import LABEL_SHEETS
from busim.commissioning.sheet.markup import BOX, cell, facts, kind, table
from busim.commissioning.sheet.model import Card, Changes, Document, LinePart, Stand, Table, Task
from busim.commissioning.sheet.record_pages import record_markup
from busim.foundation.diagnostics import Finding
from busim.foundation.errors import UserError
from busim.foundation.markup import css_text, el, void

MARK = "busim sheet"  # identifies a file as a sheet
PAPERS = {"a4": "A4", "letter": "letter"}
PARTS = ("summary", "lines", "settings", "bill", "steps", "record", "silent", "labels")
CAUTION = (
    "Caution: work on a cable only with every supply of it off, locked off and measured dead. Supplies, fuses and "
    "mains are decided by the local code and licensed people; rigging above people by competent riggers. Heads and "
    "lenses move."
)
SETTINGS_CAUTION = (
    "Caution: a converter in a show has a controller on it; connecting may throw it off. Heads move when they are set "
    "or tried: keep people away. Switch supplies off before plugs are moved."
)
_STYLE = Path(__file__).parent / "sheet.css"
_MOST = 25  # findings per severity on the first page
_ACROSS = 3  # labels
_TOGETHER = 8  # steps that stay on one page with the signature


def html(
    document: Document, *, paper: str = "a4", parts: Collection[str] = PARTS, label_sheet: str | None = None
) -> str:
    """The sheet as HTML5 that is also XML. `paper`: of PAPERS; `parts`: of PARTS, printed in that order; parts with
    nothing in them are left out. `label_sheet`: of LABEL_SHEETS, None: labels to cut out.

    Raises UserError for an unknown paper, part or label sheet, and for one of another paper.
    """
    _known("--paper", [paper], tuple(PAPERS))
    _known("--only", parts, PARTS)
    precut = None
    if label_sheet is not None:
        _known("--label-sheet", [label_sheet], tuple(LABEL_SHEETS))
        precut = LABEL_SHEETS[label_sheet]
        _known("--paper", [paper], (precut.paper,))
    made: dict[str, Callable[[Document], Iterable[Markup]]] = {
        "summary": _summary, "lines": _lines, "settings": _settings, "bill": _bill, "steps": _steps, "record": _record,
        "silent": _silent,
        "labels": lambda one: precut_labels(one, precut) if precut is not None else _labels(one),
    }  # fmt: skip
    sections = [one for part in PARTS if part in parts for one in made[part](document)]
    head = el(
        "head",
        void("meta", charset="utf-8"),
        void("meta", name="generator", content=MARK),
        void("meta", name="viewport", content="width=device-width, initial-scale=1"),
        el("title", f"Run sheet: {document.name}"),
        Markup(f"<style>{_style(document, paper)}</style>"),
    )
    return (
        f"<!DOCTYPE html>\n{el('html', head, el('body', *sections), lang='en', xmlns='http://www.w3.org/1999/xhtml')}\n"
    )


def is_sheet(text: str) -> bool:
    """Whether a file that begins with this text was written by `html`."""
    return text.startswith("<!DOCTYPE html>") and f'name="generator" content="{MARK}"' in text[:1000]


def _known(option: str, given: Collection[str], known: tuple[str, ...]) -> None:
    for one in given:
        if one not in known:
            raise UserError(
                "there is no such choice", field=option, found=repr(one[:60]), expected=" or ".join(known),
                mend="name one of these",
            )  # fmt: skip


def _style(document: Document, paper: str) -> str:
    """The style sheet with the paper, and the plan at the foot of every page."""
    left = css_text("   ".join((document.name[:60], *_stamps(document))))
    page = (
        f"@page {{ size: {PAPERS[paper]} portrait; margin: 10mm 10mm 13mm 10mm; "
        f"@bottom-left {{ content: {left}; font: 8pt sans-serif; }} "
        '@bottom-right { content: "page " counter(page) " of " counter(pages); font: 8pt sans-serif; } }\n'
    )
    return page + _STYLE.read_text(encoding="utf-8")


def _stamps(document: Document) -> tuple[str, ...]:
    """What tells one print from another."""
    said = (f"revision {document.revision[:30]}" if document.revision else "", document.author[:40])
    return tuple(one for one in (f"plan {document.digest}", *said, document.date) if one)


def _page(document: Document, title: str, *content: str, name: str = "") -> Markup:
    """A part of the sheet that begins a page, under its title and the stamp of the print."""
    stamp = " · ".join((document.name, *_stamps(document), f"busim {document.version}"))
    head = el("header", el("h2", title), el("p", stamp, class_="stamp"))
    return el("section", head, *content, class_=name or None)


# -- first page -------------------------------------------------------------------------------------------------------


def _summary(document: Document) -> Iterator[Markup]:
    checks = document.checks
    errors = checks.of("error")
    content = [el("h1", document.name)]
    if errors:
        content.append(_alarm(errors))
    content.append(_legend())
    content.append(el("div", facts(document.facts), class_="columns"))
    if document.changes is not None:
        content += _changes(document.changes)
    counts = ", ".join(_counted(len(checks.of(word)), word) for word in ("error", "warning", "note"))
    content.append(el("h3", f"Findings of busim check: {counts}, {len(checks.silenced)} silenced"))
    content.append(el("p", "Found in the plan; nothing was measured.", class_="note"))
    for word in ("warning", "note"):
        if checks.of(word):
            content.append(_findings(checks.of(word)))
    if checks.silenced:
        said = (f"silenced {one.code}: {one.what}; because {why}" for one, why in checks.silenced[:_MOST])
        rows = (el("li", text) for text in said)
        content.append(el("ul", *rows, _more(len(checks.silenced)), class_="findings"))
    if checks.assumed:
        content.append(el("p", f"Assumed: {'; '.join(checks.assumed)}.", class_="note"))
    cautions = (el("p", el("strong", name), ". ", text) for name, text in document.cautions)
    content.append(el("div", el("h3", "Cautions"), *cautions, class_="cautions"))
    yield _page(document, "Run sheet", *content)


def _changes(changes: Changes) -> Iterator[Markup]:
    yield el("h3", f"Changed since the print of plan {changes.digest}")
    if not changes.tasks:
        yield el("p", f"Nothing to do on site: this plan says the same as {changes.name}.", class_="note")
    if changes.caution:
        yield el("p", changes.caution, class_="caution")
    for title, texts in changes.tasks:
        yield el("p", el("strong", title), class_="note")
        yield el("ul", *(el("li", BOX, " ", text) for text in texts), class_="findings")


def _alarm(errors: tuple[Finding, ...]) -> Markup:
    return el(
        "div",
        el("p", el("strong", f"This plan has {_counted(len(errors), 'error')}.")),
        el("p", "Do not build from this sheet: the plan will not work. Correct the plan first."),
        _findings(errors),
        class_="alarm",
    )


def _counted(count: int, word: str) -> str:
    return f"{count} {word}{'' if count == 1 else 's'}"


def _legend() -> Markup:
    return el(
        "p",
        "Every number shows its origin. ", kind("planned"), " from the plan; ", kind("assumed"),
        " a default of busim or a figure of the camera model, not in the plan (in diagrams: a star); ",
        kind("computed"), " from both. Nothing here was measured: write your readings beside the numbers.",
        class_="note",
    )  # fmt: skip


def _findings(findings: tuple[Finding, ...]) -> Markup:
    return el("ul", *map(_finding, findings[:_MOST]), _more(len(findings)), class_="findings")


def _finding(one: Finding) -> Markup:
    found = f" Found: {one.found}." if one.found else ""
    mend = f" To do: {one.mend}" if one.mend else ""
    text = f", line {one.line}: {one.what}.{found}{mend}"
    return el("li", el("strong", f"{one.severity} {one.code}"), text)


def _more(count: int) -> Markup:
    return el("li", f"and {count - _MOST} more: see busim check") if count > _MOST else Markup()


# -- lines ------------------------------------------------------------------------------------------------------------


def _lines(document: Document) -> Iterator[Markup]:
    for part in document.lines:
        yield _page(
            document,
            f"Line: {part.name}",
            el("div", facts(part.facts), class_="columns"),
            el("p", CAUTION, class_="caution"),
            el("h3", "Wiring"),
            el(
                "p",
                "Metres, gauges, ohms and IDs are planned; a star marks assumed values. Volts are computed at the "
                "lowest supply voltage: measure them. A box on the pair: the line passes through the station.",
                class_="note",
            ),
            *(el("div", picture, class_="row") for picture in diagrams(part)),
            table(_positions(part)),
            *map(_card, part.cards),
            _signed(f"Line {part.name} is wired as drawn"),
            name="line",
        )
    if document.loose:
        yield _page(document, "Converters on no line", *map(_card, document.loose))


def _positions(part: LinePart) -> Table:
    rows = tuple(
        (
            str(number),
            f"{stand.kind} {stand.name}".strip() + (" (not there)" if not stand.present else ""),
            (stand.cable.metres or "not planned") if stand.cable else "",
            stand.cable.gauge if stand.cable else "",
            stand.at,
            stand.stub or "",
            stand.bus_id or "",
            stand.serial or ("not planned" if stand.kind == "camera" else ""),
            stand.place,
            stand.ohms or "; ".join(stand.marks),
            stand.idle or "",
            stand.peak or "",
        )
        for number, stand in enumerate(part.stands, 1)
    )
    heads = (
        "", "position", "cable to it", "gauge", "from start", "stub", "ID", "serial", "place", "there", "V at rest",
        "V at peak",
    )  # fmt: skip
    return Table("Positions in order", heads, rows, _unknown(part.stands), ticks=True, found=True)


def _unknown(stands: tuple[Stand, ...]) -> str:
    if any(stand.idle is None for stand in stands if stand.kind != "terminator"):
        return "No volts: the plan has no supply for this station."
    return ""


def _card(card: Card) -> Markup:
    where = f", {card.place}" if card.place else ""
    title = el("h3", f"Converter: {card.name}{where}")
    return el("div", title, el("div", facts(card.facts, ticks=True), class_="columns"), class_="card")


# -- settings, bill, steps, labels ------------------------------------------------------------------------------------


def _settings(document: Document) -> Iterator[Markup]:
    if any(one.rows for one in document.settings):
        caution = el("p", SETTINGS_CAUTION, class_="caution")
        tables = (table(one) for one in document.settings if one.rows)
        yield _page(document, "Settings", caution, *tables, name="settings")


def _bill(document: Document) -> Iterator[Markup]:
    if any(one.rows for one in document.bill):
        caution = el("p", CAUTION, class_="caution")
        tables = (table(one) for one in document.bill if one.rows)
        # behind the settings, and not on a page of its own: a few rows of settings would leave the one before it empty
        yield _page(document, "Bill of material", caution, *tables, name="bill")


def _steps(document: Document) -> Iterator[Markup]:
    note = el("p", document.tasks_note, class_="note") if document.tasks_note else ""
    if not document.tasks:
        yield _page(document, "Steps", note or el("p", "There is no camera to commission.", class_="note"))
    for number, (line, tasks) in enumerate(groupby(document.tasks, lambda task: task.line)):
        yield _page(
            document,
            f"Steps: {line}" if line else "Steps",
            "" if number else note,
            _steps_table(tuple(tasks), _signed(f"{line or 'These steps'}: done, open points written down")),
        )


def _steps_table(tasks: tuple[Task, ...], signed: Markup) -> Markup:
    """The steps of a line. The cautions stand in the head, which is printed again on every page. The last steps stay
    with the signature, so that no page has that alone."""
    heads = ("", "", "step", "look for", "time", "found, name, time")
    cautions = " ".join(dict.fromkeys(task.caution for task in tasks if task.caution))
    row = el("tr", el("th", "Caution. " + cautions, colspan=len(heads), class_="caution")) if cautions else ""
    head = el("thead", row, el("tr", *(el("th", head, scope="col") for head in heads)))
    rows = [_step(task) for task in tasks]
    end = el("tr", el("td", signed, colspan=len(heads)))
    first = [el("tbody", *rows[:-_TOGETHER])] if rows[:-_TOGETHER] else []
    return el("table", head, *first, el("tbody", *rows[-_TOGETHER:], end, class_="together"), class_="grid steps")


def _step(task: Task) -> Markup:
    result = el("strong", task.result + ". ") if task.result else ""
    return el(
        "tr", el("td", BOX, class_="tick"), el("td", str(task.number), class_="few"), el("td", task.what),
        el("td", result, task.look), el("td", cell(task.handling)), el("td", class_="found"),
    )  # fmt: skip


def _signed(what: str) -> Markup:
    blanks = (el("span", name, el("span", class_="blank")) for name in ("name", "date", "signature"))
    return el("p", el("span", what), *blanks, class_="signed")


def _record(document: Document) -> Iterator[Markup]:
    for one in document.done:
        yield _page(document, f"As commissioned: {one.line}", *record_markup(one))


def _silent(document: Document) -> Iterator[Markup]:
    for one in document.silent:
        rows = (
            el("tr", el("td", str(number), class_="few"), el("td", ask), el("td", yes), el("td", no))
            for number, (ask, yes, no) in enumerate(one.tree, 1)
        )
        heads = (el("th", head, scope="col") for head in ("", "ask", "yes", "no"))
        yield _page(
            document,
            f"A camera does not answer: {one.line}",
            el("p", CAUTION, class_="caution"),
            el("table", el("thead", el("tr", *heads)), el("tbody", *rows), class_="grid"),
            table(one.table),
        )


def _labels(document: Document) -> Iterator[Markup]:
    rows = []
    for first in range(0, len(document.labels), _ACROSS):
        across = [el("td", label_markup(one)) for one in document.labels[first : first + _ACROSS]]
        across += [el("td")] * (_ACROSS - len(across))
        rows.append(el("tr", *across))
    if rows:
        yield _page(document, "Labels", el("table", el("tbody", *rows), class_="labels"), name="cut")
