"""The budget: what the lines of a plan can do, by arithmetic and without a simulation.

Public so far: the formulas, over numbers or arrays, each with its source in its docstring.
"""

from busim.budget.age import mean_age, worst_age
from busim.budget.cycle import mean_cycle, paced_cycle
from busim.budget.response import Flow, worst_responses
from busim.budget.sharing import carrier_sense, pure_aloha, undisturbed
from busim.budget.waiting import fixed_service_wait, priority_waits, service_wait, vacation_wait

__all__ = [
    "Flow",
    "carrier_sense",
    "fixed_service_wait",
    "mean_age",
    "mean_cycle",
    "paced_cycle",
    "priority_waits",
    "pure_aloha",
    "service_wait",
    "undisturbed",
    "vacation_wait",
    "worst_age",
    "worst_responses",
]
