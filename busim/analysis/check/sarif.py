"""Findings as SARIF 2.1.0, so that an editor or a code review shows them at their lines.

SARIF is an open standard (OASIS, Static Analysis Results Interchange Format 2.1.0). The log holds the tool with
its rules (3.19, 3.49), a result for each finding (3.27) with its place (3.28 to 3.30), and silenced findings as
suppressed in the source, with their reason (3.35). Section numbers are from memory.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any
from urllib.parse import quote

from busim.analysis.check.catalogue import all_rules, page
from busim.analysis.check.checked import Checked
from busim.foundation.diagnostics import Finding

_SCHEMA = "https://docs.oasis-open.org/sarif/sarif/v2.1.0/errata01/os/schemas/sarif-schema-2.1.0.json"


def sarif(checked: Checked, version: str) -> dict[str, Any]:
    """A SARIF log with one run, JSON-ready. `version`: that of busim."""
    known = {name: number for number, name in enumerate(all_rules())}
    results = [_result(finding, known) for finding in checked.findings]
    for one in checked.silenced:
        suppressed = {"kind": "inSource", "justification": one.reason}
        results.append({**_result(one.finding, known), "suppressions": [suppressed]})
    driver = {"name": "busim", "version": version, "rules": list(_rules())}
    run = {"tool": {"driver": driver}, "columnKind": "unicodeCodePoints", "results": results}
    return {"$schema": _SCHEMA, "version": "2.1.0", "runs": [run]}


def _rules() -> Iterable[dict[str, Any]]:
    for rule in all_rules().values():
        yield {
            "id": rule.id,
            "shortDescription": {"text": rule.title},
            "fullDescription": {"text": rule.explanation},
            "help": {"text": f"{rule.remedy()} Source: {rule.source}.", "markdown": page(rule.id)},
            "defaultConfiguration": {"level": rule.severity},
            "properties": {"tags": [rule.area]},
        }


def _result(finding: Finding, known: Mapping[str, int]) -> dict[str, Any]:
    result: dict[str, Any] = {"ruleId": finding.code}
    if finding.code in known:
        result["ruleIndex"] = known[finding.code]
    words = ("found", finding.found), ("expected", finding.expected), ("to mend", finding.mend)
    said = "".join(f" {name.capitalize()}: {text.rstrip('.')}." for name, text in words if text)
    result["level"] = finding.severity
    result["message"] = {"text": f"{finding.what}.{said}"}
    if finding.file:
        place: dict[str, Any] = {"artifactLocation": {"uri": _uri(finding.file)}}
        if finding.line:
            place["region"] = {"startLine": finding.line, "startColumn": finding.column or 1}
        where: dict[str, Any] = {"physicalLocation": place}
        if finding.field:
            where["logicalLocations"] = [{"fullyQualifiedName": finding.field}]
        result["locations"] = [where]
    return result


def _uri(path: str) -> str:
    file = Path(path)
    return file.as_uri() if file.is_absolute() else quote(file.as_posix())
