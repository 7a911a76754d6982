"""The budget of a plan."""

from __future__ import annotations

from busim.analysis.budget.assumptions import ASSUMPTIONS, MOST_NEEDED
from busim.analysis.budget.case import cases
from busim.analysis.budget.line import line_budget
from busim.analysis.budget.result import Budget
from busim.analysis.budget.sources import sources
from busim.foundation.errors import UserError
from busim.installation import Installation, resolve
from busim.plan import Plan


def budget(
    plan: Plan | Installation, *, need: float | None = None, what_ifs: bool = True, streams: bool = True
) -> Budget:
    """The budget of every master on every line of a plan. `need`: polls per second wanted for the values polled most.

    `what_ifs` False leaves out changes, dead cameras, noise, more operators and more joysticks; `streams` False only
    the last two, which take most of the time.
    Raises Findings as `resolve` does, and UserError for a need that is no rate.
    """
    if need is not None and not 0 < need <= MOST_NEEDED:
        raise UserError(
            "no such rate can be needed",
            found=f"{need:g} /s",
            expected=f"more than 0, and at most {MOST_NEEDED:.0f} /s",
            mend="need for example 10 Hz",
        )
    site = resolve(plan)
    found = cases(site)
    lines = (
        line_budget(
            case, need, what_ifs=what_ifs, more_streams=streams, masters=[one for one in found if one.line == case.line]
        )
        for case in found
    )
    return Budget(site.plan.name, tuple(lines), ASSUMPTIONS, sources(site))
