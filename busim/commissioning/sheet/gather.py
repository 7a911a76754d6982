"""Build the sheet of a plan."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Sequence

from busim.analysis.check import Survey, check
from busim.analysis.diff import TASKS, diff
from busim.commissioning.sheet.as_done import as_done
from busim.commissioning.sheet.bill import bill
from busim.commissioning.sheet.cables import line_parts
from busim.commissioning.sheet.labels import labels
from busim.commissioning.sheet.model import Changes, Checks, Document, Facts, Task
from busim.commissioning.sheet.said import Said, computed
from busim.commissioning.sheet.settings import loose_cards, settings
from busim.commissioning.sheet.silent import silent
from busim.commissioning.sheet.tasks import tasks
from busim.commissioning.site_record import SiteRecord
from busim.foundation.diagnostics import Findings
from busim.handbook import page
from busim.installation import Installation, outline
from busim.plan import Plan

_BULLET = re.compile(r"^- \*\*(.+?)\.\*\* (.+?)(?=^- |\Z)", re.MULTILINE | re.DOTALL)
_CAUTIONS = ("Supply power", "Rigging above people", "Moving heads", "Earth", "A live converter", "Settings")


def sheet(
    plan: Plan | Installation,
    *,
    version: str,
    date: str,
    revision: str = "",
    author: str = "",
    rehearsed: bool = False,
    since: Plan | None = None,
    records: Sequence[SiteRecord] = (),
) -> Document:
    """The sheet of a plan. `version` of busim, `date`, `revision` and `author` are printed as given.

    `rehearsed`: the steps are run on the emulated site first. `since`: the plan of the last print; what changed is on
    the first page. `records`: what was done on the real lines, printed as it was found. A plan with errors has a sheet
    too, with the errors on its first page. Raises nothing but Defect.
    """
    site = outline(plan)
    plan, survey, said = site.plan, Survey(site), Said(site)
    checked = check(plan, survey)
    lines = line_parts(survey, said)
    on_lines = {one.name for part in lines for one in part.cards}
    steps, note = _tasks(site, rehearsed=rehearsed)
    return Document(
        name=plan.name,
        path=plan.path,
        digest=digest(plan),
        version=version,
        date=date,
        facts=_facts(plan),
        checks=Checks(checked.findings, tuple((one.finding, one.reason) for one in checked.silenced), checked.assumed),
        lines=lines,
        settings=settings(survey, said),
        bill=bill(survey, said),
        tasks=steps,
        labels=labels(survey, lines),
        loose=loose_cards(survey, said, on_lines),
        tasks_note=note,
        cautions=_cautions(),
        revision=revision,
        author=author,
        changes=None if since is None else _changes(since, plan),
        silent=silent(survey, said, lines),
        done=tuple(as_done(one, digest(plan)) for one in records),
    )


def digest(plan: Plan) -> str:
    """Twelve hexadecimal digits of SHA-256 over the plan's text and the files that it names."""
    texts = [plan.source, *(f"{name}\n{text}" for name, text in sorted(plan.files.items()))]
    return hashlib.sha256("\0".join(texts).encode("utf-8", "surrogatepass")).hexdigest()[:12]


def _facts(plan: Plan) -> Facts:
    kinds = ("lines", "converters", "cameras", "masters", "panels", "supplies", "spares", "places")
    return tuple((kind, computed(len(getattr(plan, kind)))) for kind in kinds)


def _changes(since: Plan, plan: Plan) -> Changes:
    found = diff(since, plan)
    texts = ((title, tuple(one.text for one in found.said if one.task == task)) for task, title in TASKS.items())
    tasks = tuple((title, said) for title, said in texts if said)
    return Changes(since.path or since.name, digest(since), tasks, found.caution)


def _tasks(site: Installation, *, rehearsed: bool) -> tuple[tuple[Task, ...], str]:
    try:
        return tasks(site, rehearsed=rehearsed)
    except Findings as error:
        first = error.findings[0]
        return (), f"No steps: correct the plan first. {first.code}: {first.what}."


def _cautions() -> tuple[tuple[str, str], ...]:
    """Title and text of the handbook's cautions about work on site."""
    said = {
        name: " ".join(text.split()).replace("`", "")
        for section in page("cautions").split("\n## ")[1:]
        for name, text in _BULLET.findall(section + "\n")
    }
    return tuple((name, said[name]) for name in _CAUTIONS)
