"""What keeps a plan from being an installation, as rules: every command refuses it, in the same words.

The findings come with the installation; a rule gives each kind of them its page. A plan cannot silence them.
"""

from __future__ import annotations

from collections.abc import Callable

from busim.analysis.check.rule import Spot, Spots
from busim.analysis.check.survey import Survey


def told(code: str) -> Callable[[Survey], Spots]:
    """What finds the findings with this code, for a rule that `refuses`."""

    def find(survey: Survey) -> Spots:
        for one in survey.site.findings:
            if one.code == code:
                yield Spot(one.field or "", one.what, one.found or "", one.expected or "", one.mend or "")

    return find
