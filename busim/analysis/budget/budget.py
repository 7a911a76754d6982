"""The budget of a plan."""

from __future__ import annotations

from busim.analysis.budget.case import cases
from busim.analysis.budget.line import line_budget
from busim.analysis.budget.result import Budget
from busim.analysis.budget.sources import sources
from busim.foundation.errors import UserError
from busim.installation import POLICY, Installation, resolve
from busim.plan import Plan

MOST_NEEDED = 1e6  # polls a second: far more than any serial line carries
ASSUMPTIONS = (
    "turnaround and latency lie evenly between the plan's bounds, each camera and converter for itself; best and worst "
    "have all of them at one end at once",
    "the plan's latency is that of converter and network together, one way; packets of one reply keep their order",
    "operators' moves are a Poisson process, evenly over the controls of their panel; a newer move replaces a waiting "
    "one of the same control",
    f"commands go before polls, and a poll that is due has its turn after {POLICY.commands_in_a_row} of them",
    "polls of one wanted interval drift apart in the course of hours; their ages are the mean over the first hour",
    "a joystick is moved all the time, and its positions come steadily; where newer ones replace waiting ones, the "
    "master's turns are written out one by one",
    f"cameras that are dead have been given up by their master and are probed every {POLICY.longest_pause / 1e9:g} s",
    "noise hits characters, and makes some of the silence beside a request; whatever is hit is lost for its time-out",
    "numbers whose length depends on their value: controls that operators move are evenly spread over their range, all "
    "other values stay at their defaults; time-outs and worst cases count the longest numbers, and as escaped every "
    "byte that may be",
    "one more operator: 2 moves a second on 4 controls; a joystick: 25 positions a second (common practice, no source)",
)


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
