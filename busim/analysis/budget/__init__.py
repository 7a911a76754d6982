"""The budget: what the lines of a plan can do, by arithmetic and without a simulation.

Public: `budget` (a plan to a `Budget` of plain data), `cases` and `Pace` for who varies one thing (a case is one master
on one line; `usable_cases` are those of what can be resolved of a plan), `Mix` and `waits` (moves at one master,
exactly), and the formulas, over numbers or arrays, each with its source in its docstring.
"""

from busim.analysis.budget.age import mean_age, worst_age
from busim.analysis.budget.budget import ASSUMPTIONS, budget
from busim.analysis.budget.case import Case, Move, cases, usable_cases
from busim.analysis.budget.command_delay import IN_A_ROW, waits
from busim.analysis.budget.cycle import mean_cycle, paced_cycle
from busim.analysis.budget.line import line_budget
from busim.analysis.budget.mixes import Mix, Waits
from busim.analysis.budget.obstacles import missing_quiet
from busim.analysis.budget.poll_schedule import Pace
from busim.analysis.budget.response import Flow, lowest_response, worst_responses
from busim.analysis.budget.result import (
    SCHEMA,
    ArbitratedBudget,
    Budget,
    CameraBudget,
    Change,
    DeadBudget,
    ExchangeBudget,
    GroupBudget,
    JobBudget,
    LineBudget,
    MoveBudget,
    Need,
    NoiseBudget,
    Range,
    SecondMaster,
    StreamBudget,
)
from busim.analysis.budget.sharing import carrier_sense, pure_aloha, undisturbed
from busim.analysis.budget.timing import Timing, Varied, timing
from busim.analysis.budget.waiting import fixed_service_wait, priority_waits, service_wait, vacation_wait

__all__ = [
    "ASSUMPTIONS",
    "IN_A_ROW",
    "SCHEMA",
    "ArbitratedBudget",
    "Budget",
    "CameraBudget",
    "Case",
    "Change",
    "DeadBudget",
    "ExchangeBudget",
    "Flow",
    "GroupBudget",
    "JobBudget",
    "LineBudget",
    "Mix",
    "Move",
    "MoveBudget",
    "Need",
    "NoiseBudget",
    "Pace",
    "Range",
    "SecondMaster",
    "StreamBudget",
    "Timing",
    "Varied",
    "Waits",
    "budget",
    "carrier_sense",
    "cases",
    "fixed_service_wait",
    "line_budget",
    "lowest_response",
    "mean_age",
    "mean_cycle",
    "missing_quiet",
    "paced_cycle",
    "priority_waits",
    "pure_aloha",
    "service_wait",
    "timing",
    "undisturbed",
    "usable_cases",
    "vacation_wait",
    "waits",
    "worst_age",
    "worst_responses",
]
