"""The report of a rehearsal or a campaign, from the JSON that its command wrote."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

from markupsafe import Markup

from busim.foundation.errors import UserError
from busim.foundation.markup import el
from busim.foundation.version import VERSION
from busim.web.report.pages import document
from busim.web.report.tables import table

_MOST = 300  # rows; the others are counted
_LONGEST = 300  # characters of a cell


def told_report(text: str, path: str, *, paper: str = "a4") -> str:
    """The report of what `busim rehearse --json` or `busim fuzz --json` wrote. Raises UserError for anything else."""
    try:
        given = json.loads(text)
    except (ValueError, RecursionError):
        given = None
    if isinstance(given, dict) and isinstance(given.get("steps"), list) and "wire_s" in given:
        return document(f"Rehearsal: {given.get('plan')}", list(_rehearsal(given)), paper=paper)
    if isinstance(given, dict) and isinstance(given.get("failures"), list) and "cases" in given:
        return document("Campaign", list(_campaign(given)), paper=paper)
    raise UserError(
        "this is neither a trace, a rehearsal nor a campaign", file=path,
        expected="a trace, or what `busim rehearse --json` or `busim fuzz --json` wrote",
        mend="record a run with --trace, or write the JSON into a file",
    )  # fmt: skip


def _said(value: Any) -> str:
    """A value as people read it: a number with its origin, a list with commas."""
    if isinstance(value, dict) and value.keys() == {"value", "kind"}:
        number = value["value"]
        text = f"{f'{number:.4g}' if isinstance(number, float) else number} ({value['kind']})"
    elif isinstance(value, bool):
        text = "yes" if value else "no"
    elif isinstance(value, list):
        text = ", ".join(map(_said, value[:_MOST]))
    else:
        text = value if isinstance(value, str) else json.dumps(value, ensure_ascii=False)
    return text if len(text) <= _LONGEST else text[: _LONGEST - 1] + "…"


def _pairs(given: dict[str, Any], names: tuple[str, ...]) -> Markup:
    rows = [(name.replace("_", " "), _said(given[name])) for name in names if name in given]
    return table(("what", "value"), rows)


def _rows(given: list[Any]) -> Iterator[Markup]:
    """Entries of one shape as a table: a column for each key that any of them has."""
    entries = [one for one in given if isinstance(one, dict)]
    heads = list(dict.fromkeys(key for one in entries for key in one))
    rows = [[_said(one[key]) if one.get(key) is not None else "" for key in heads] for one in entries[:_MOST]]
    yield table([head.replace("_", " ") for head in heads], rows)
    if len(entries) > _MOST:
        yield el("p", f"Not shown: {len(entries) - _MOST} more.", class_="note")


def _rehearsal(given: dict[str, Any]) -> Iterator[Markup]:
    good = bool(given.get("ok"))
    said = "Every step was done." if good else "A step failed."
    yield el("h1", str(given.get("plan")))
    yield el("p", f"Report of a rehearsed commissioning, busim {VERSION}.", class_="note")
    yield el("p", el("strong", said), class_="verdict" if good else "verdict missed")
    yield el("p", "Caution: on supplies, on ladders and under loads the local code and licensed people decide.",
             class_="note")  # fmt: skip
    yield el("h2", "Times")
    yield _pairs(given, ("wire_s", "handling_s", "seed", "what_if"))
    yield el("h2", "Steps")
    yield from _rows(given["steps"])
    yield el("h2", "Assumptions")
    yield el("ul", *(el("li", _said(one)) for one in given.get("assumed", [])))


def _campaign(given: dict[str, Any]) -> Iterator[Markup]:
    new = [one for one in given["failures"] if isinstance(one, dict) and not one.get("accepted")]
    number = len(new)
    said = f"{number} failure{'' if number == 1 else 's'} that nobody accepted" if new else "No failure is new"
    yield el("h1", "Campaign")
    yield el("p", f"Report of `busim fuzz`, busim {VERSION}.", class_="note")
    yield el("p", el("strong", said + "."), class_="verdict missed" if new else "verdict")
    yield el("h2", "What was tried")
    yield _pairs(given, ("seed", "cases", "cases_wanted", "runs", "ended_by_ctrl_c", "reached", "effects", "outcomes"))
    yield el("h2", "What failed")
    yield from _rows(given["failures"])
    yield el("h2", "Measured beside it")
    yield _pairs(given.get("measured") or {}, ("late_max_s", "memory_max_bytes", "cpu_max_s", "killed"))
