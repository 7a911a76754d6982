"""The mistakes in a declared file: noted by field, raised all together."""

from __future__ import annotations

from busim.foundation.diagnostics import Finding, Findings
from busim.foundation.schema.wording import at
from busim.foundation.yaml_source import Declared, join


class Notebook:
    """Findings about one document."""

    def __init__(self, document: Declared) -> None:
        self._document = document
        self.found: list[Finding] = []

    def note(self, field: str, code: str, what: str, *, at_key: bool = False, **words: str | None) -> None:
        """One more mistake; `words`: found, expected, mend."""
        self.found.append(at(self._document, field, code, what, at_key=at_key, **words))

    def below(self, field: str, name: str) -> str:
        """The field path of a named entry."""
        return join(field, name)

    def close(self, most: int) -> None:
        """Raises Findings if there are any."""
        if self.found:
            raise Findings(sorted(self.found, key=lambda finding: finding.order)[:most])
