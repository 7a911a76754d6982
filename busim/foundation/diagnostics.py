"""What a reader or a rule has to say, as data; how it looks is decided in one place.

A person who mends a plan wants every mistake in one go, each with its place. So findings are collected and leave
together in one exception, instead of one exception each.
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
    """One thing found. `line` and `column` count from 1; `field` is a path such as `lines[0].baud`.

    `code` is a short fixed word to search and filter by; `what` is one sentence; `why` gives the reason or the
    source behind a rule.
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
        """The finding, of severity error, that says what a UserError says."""
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
        """A key that sorts findings as a reader meets them in the file."""
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
    """Everything found wrong at once, at least one finding; as a UserError it has the place of the first."""

    def __init__(self, findings: Iterable[Finding]) -> None:
        self.findings = tuple(findings)
        if not self.findings:
            raise Defect("Findings was raised with nothing found")
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
        # An exception is pickled by its message; this one crosses process borders whole.
        return type(self), (self.findings,)
