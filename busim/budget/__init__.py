"""The budget: what the lines of a plan can do, by arithmetic and without a simulation.

Public: `budget` (a plan to a `Budget` of plain data), `cases` and `Pace` for who varies one thing (a case is one
master on one line), `Mix` and `waits` (moves at one master, exactly), and the formulas, over numbers or arrays,
each with its source in its docstring.
"""

from busim.budget.age import mean_age, worst_age
from busim.budget.budget import ASSUMPTIONS, budget
from busim.budget.case import Case, Move, cases
from busim.budget.cycle import mean_cycle, paced_cycle
from busim.budget.line import line_budget
from busim.budget.load import PROBE_PAUSE
from busim.budget.mixes import Mix, Waits
from busim.budget.moves import IN_A_ROW, waits
from busim.budget.obstacles import missing_quiet
from busim.budget.pace import Pace
from busim.budget.response import Flow, lowest_response, worst_responses
from busim.budget.result import (
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
from busim.budget.sharing import carrier_sense, pure_aloha, undisturbed
from busim.budget.timing import Timing, Varied, timing
from busim.budget.waiting import fixed_service_wait, priority_waits, service_wait, vacation_wait

__all__ = [
    "ASSUMPTIONS",
    "IN_A_ROW",
    "PROBE_PAUSE",
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
    "vacation_wait",
    "waits",
    "worst_age",
    "worst_responses",
]
