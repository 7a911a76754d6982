"""The report of a rehearsal or a campaign, from the JSON that its command wrote."""

from __future__ import annotations

import json
from pathlib import Path

from busim.foundation.errors import UserError
from busim.web.report.campaign import campaign_sections
from busim.web.report.pages import document
from busim.web.report.rehearsal import rehearsal_sections


def told_report(text: str, path: str, *, paper: str = "a4") -> str:
    """The report of what `busim rehearse --json` or `busim fuzz --json` wrote. Raises UserError for anything else.

    Pictures of a campaign's failures come from the traces that were saved with it: the paths in the JSON are tried from
    where this process runs, then from the folder of `path`.
    """
    try:
        given = json.loads(text)
    except (ValueError, RecursionError):
        given = None
    if isinstance(given, dict) and isinstance(given.get("steps"), list) and "wire_s" in given:
        return document(f"Rehearsal: {given.get('plan')}", list(rehearsal_sections(given)), paper=paper)
    if isinstance(given, dict) and isinstance(given.get("failures"), list) and "cases" in given:
        folders = [Path(), Path(path).parent]
        return document("Campaign", list(campaign_sections(given, folders)), paper=paper)
    raise UserError(
        "this is neither a trace, a rehearsal nor a campaign", file=path,
        expected="a trace, or what `busim rehearse --json` or `busim fuzz --json` wrote",
        mend="record a run with --trace, or write the JSON into a file",
    )  # fmt: skip
