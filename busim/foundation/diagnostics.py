"""The findings of readers and rules, as data; one function renders them.

A person who mends a plan wants every mistake at once, each with its place. So findings are collected and leave in one
exception, not in one each.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Literal

from busim.foundation.errors import Defect, UserError
from busim.foundation.printable import printable

Severity = Literal["error", "warning", "note"]


@dataclass(frozen=True, slots=True)
class Finding:
    """One mistake or note. `line` and `column` count from 1; `field` is a path such as `lines[0].baud`.

    `code` is a short fixed word to search and filter by; `what` is one sentence; `why` gives the reason or the source
    behind a rule.
    """

    severity: Severity
    code: str
    what: str
    file: str | None = None
    line: int | None = None
    column: int | None = None
    field: str | None = None
    found: str | None = None
    expected: str | None = None
    mend: str | None = None
    why: str | None = None

    @classmethod
    def of(cls, error: UserError, code: str) -> Finding:
        """The finding, of severity error, with the content of a UserError."""
        return cls(
            "error",
            code,
            error.what,
            error.file,
            error.line,
            error.column,
            error.field,
            error.found,
            error.expected,
            error.mend,
        )

    @property
    def order(self) -> tuple[str, int, int, str, str]:
        """A key that sorts findings in the order of the file."""
        return (self.file or "", self.line or 0, self.column or 0, self.field or "", self.code)


def render(finding: Finding) -> str:
    """Plain text: a line with place, severity, code, field and sentence, then what was found and how to mend it."""
    place = ":".join(str(part) for part in (finding.file, finding.line, finding.column) if part not in (None, ""))
    head = f"{place}: " if place else ""
    head += f"{finding.severity} [{finding.code}] "
    head += f"{finding.field}: " if finding.field else ""
    lines = [head + finding.what]
    for name in ("found", "expected", "mend", "why"):
        text = getattr(finding, name)
        if text is not None:
            lines.append(f"    {name + ':':<10}{text}")
    return printable("\n".join(lines))


class Findings(UserError):
    """All findings at once, at least one; as a UserError it has the place of the first."""

    def __init__(self, findings: Iterable[Finding]) -> None:
        self.findings = tuple(findings)
        if not self.findings:
            raise Defect("Findings was raised without a finding")
        first = self.findings[0]
        more = len(self.findings) - 1
        super().__init__(
            first.what + (f" (and {more} more)" if more else ""),
            file=first.file,
            line=first.line,
            column=first.column,
            field=first.field,
            found=first.found,
            expected=first.expected,
            mend=first.mend,
        )

    def __str__(self) -> str:
        return "\n".join(render(finding) for finding in self.findings)

    def __reduce__(self) -> tuple[Any, ...]:
        # An exception is pickled by its message; this one must cross process borders complete.
        return type(self), (self.findings,)
