"""The result of a check, as plain data and as JSON."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from busim.analysis.check.characters import ARBITRARY
from busim.foundation.diagnostics import Finding, Severity

SCHEMA = 1
_ORDER: Mapping[Severity, int] = {"error": 0, "warning": 1, "note": 2}
_PARTS = ("file", "line", "column", "field", "what", "found", "expected", "mend", "why")


@dataclass(frozen=True, slots=True)
class Silenced:
    """A finding that the plan silences, and its reason."""

    finding: Finding
    reason: str


@dataclass(frozen=True, slots=True)
class Checked:
    """The findings about a plan, errors first, then by place. `covered`: number of entries of each kind.

    `rules`: number of rules. `assumed`: assumptions of the findings beyond the plan. `readable`: False if the plan
    could not be read; then the findings come from the reader.
    """

    plan: str
    path: str
    findings: tuple[Finding, ...]
    silenced: tuple[Silenced, ...] = ()
    rules: int = 0
    covered: Mapping[str, int] | None = None
    assumed: tuple[str, ...] = ()
    readable: bool = True

    def also(self, findings: Iterable[Finding]) -> Checked:
        """The same result with more findings."""
        return replace(self, findings=in_order((*self.findings, *findings)))

    def count(self, severity: Severity) -> int:
        return sum(1 for finding in self.findings if finding.severity == severity)

    @property
    def arbitrary(self) -> bool:
        """Whether a run of this plan shows one arbitrary outcome of many: stations at an exact even ratio of bauds."""
        return any(ARBITRARY in (finding.found or "") for finding in self.findings)

    def as_json(self) -> dict[str, Any]:
        """JSON-ready; `schema` counts up when a meaning changes."""
        return {
            "schema": SCHEMA,
            "plan": self.plan,
            "file": self.path,
            "readable": self.readable,
            "rules": self.rules,
            "covered": dict(self.covered or {}),
            "counts": {
                **{f"{severity}s": self.count(severity) for severity in _ORDER},
                "silenced": len(self.silenced),
            },
            "findings": [_plain(finding) for finding in self.findings],
            "silenced": [{**_plain(one.finding), "reason": one.reason} for one in self.silenced],
            "assumed": list(self.assumed),
        }


def unreadable(path: str, findings: Iterable[Finding]) -> Checked:
    """The result for a plan that cannot be read."""
    return Checked("", path, in_order(findings), readable=False)


def in_order(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Findings in order: errors first, then by place."""
    return tuple(sorted(findings, key=lambda finding: (_ORDER[finding.severity], finding.order)))


def _plain(finding: Finding) -> dict[str, Any]:
    return {
        "rule": finding.code,
        "severity": finding.severity,
        **{part: getattr(finding, part) for part in _PARTS},
    }
