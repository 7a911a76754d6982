"""Rules for unresolved names in a plan: every command refuses them, with the same diagnostic.

The findings come from the installation; a rule gives each kind its page. A plan cannot silence them.
"""

from __future__ import annotations

from collections.abc import Callable

from busim.analysis.check.rule import Spot, Spots
from busim.analysis.check.survey import Survey


def told(code: str) -> Callable[[Survey], Spots]:
    """The `find` of a rule that `refuses`: the findings with this code."""

    def find(survey: Survey) -> Spots:
        for one in survey.site.findings:
            if one.code == code:
                yield Spot(one.field or "", one.what, one.found or "", one.expected or "", one.mend or "")

    return find
