"""The budget: what the lines of a plan can do, by arithmetic and without a simulation.

In: a plan or a resolved installation. Out: a `Budget`, plain data. Start with `plan_budget.py`, then `line.py`: one
master on one line, quantity by quantity. One module has one quantity, with its equation and source in its docstring:

    timing.py          one exchange, its time-out, the chance that noise damages it
    utilisation.py     the share of the master's time that polls, probes and commands take
    cycle.py           how often each poll comes
    age.py             how old a value on the screen is; usual_longest.py: how old in all but few rounds
    drift.py           how late polls of one interval still are, after they have drifted apart
    lost_places.py     how often they come where commands and other groups cost them their places
    probing.py         how late they are by time-outs of dead cameras, and how many polls those cost
    latency.py         how long answered exchanges take
    command_delay.py   how long an operator's move waits; written_out.py: the same beside joysticks
    waiting.py, sharing.py, response.py, polling_systems.py   the laws of the textbooks

Public: `budget`; `cases` and `PollSchedule` to vary one thing (a case is one master on one line; `usable_cases`: those
of the lines that can be resolved); `Distribution` and `waits`; and the formulas, over numbers or arrays.
"""

from typing import TYPE_CHECKING

from busim.analysis.budget.timing import Timing, Varied, missing_quiet, timing
from busim.foundation.first_use import by_name, fetched

if TYPE_CHECKING:
    from busim.analysis.budget.age import mean_age, worst_age
    from busim.analysis.budget.assumptions import ASSUMPTIONS, MOST_NEEDED
    from busim.analysis.budget.case import Case, Move, cases, usable_cases
    from busim.analysis.budget.command_delay import COMMANDS_IN_A_ROW, Waits, waits
    from busim.analysis.budget.cycle import mean_cycle, paced_cycle
    from busim.analysis.budget.distribution import Distribution
    from busim.analysis.budget.drift import drifts
    from busim.analysis.budget.explained import EXPLAINED, Step, explain
    from busim.analysis.budget.line import line_budget, line_summary
    from busim.analysis.budget.plan_budget import budget
    from busim.analysis.budget.poll_schedule import PollSchedule
    from busim.analysis.budget.polling_systems import (
        exhaustive_wait,
        gated_wait,
        limited_wait,
        timed_token_cycle,
        token_cycle,
    )
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
        JoystickBudget,
        LineBudget,
        MoveBudget,
        Need,
        NoiseBudget,
        Range,
        SecondMaster,
        StreamBudget,
    )
    from busim.analysis.budget.sharing import carrier_sense, persistent_carrier_sense, pure_aloha, undisturbed
    from busim.analysis.budget.waiting import fixed_service_wait, priority_waits, service_wait, vacation_wait
else:
    _MODULES = {  # fetched at first use: most commands need few of them
        "age": "mean_age worst_age",
        "assumptions": "ASSUMPTIONS MOST_NEEDED",
        "case": "Case Move cases usable_cases",
        "command_delay": "COMMANDS_IN_A_ROW Waits waits",
        "cycle": "mean_cycle paced_cycle",
        "distribution": "Distribution",
        "drift": "drifts",
        "explained": "EXPLAINED Step explain",
        "line": "line_budget line_summary",
        "plan_budget": "budget",
        "poll_schedule": "PollSchedule",
        "polling_systems": "exhaustive_wait gated_wait limited_wait timed_token_cycle token_cycle",
        "response": "Flow lowest_response worst_responses",
        "result": "SCHEMA ArbitratedBudget Budget CameraBudget Change DeadBudget ExchangeBudget GroupBudget "
        "JobBudget JoystickBudget LineBudget MoveBudget Need NoiseBudget Range SecondMaster StreamBudget",
        "sharing": "carrier_sense persistent_carrier_sense pure_aloha undisturbed",
        "waiting": "fixed_service_wait priority_waits service_wait vacation_wait",
    }
    __getattr__ = fetched(__name__, by_name(_MODULES))

__all__ = [
    "ASSUMPTIONS",
    "COMMANDS_IN_A_ROW",
    "EXPLAINED",
    "MOST_NEEDED",
    "SCHEMA",
    "ArbitratedBudget",
    "Budget",
    "CameraBudget",
    "Case",
    "Change",
    "DeadBudget",
    "Distribution",
    "ExchangeBudget",
    "Flow",
    "GroupBudget",
    "JobBudget",
    "JoystickBudget",
    "LineBudget",
    "Move",
    "MoveBudget",
    "Need",
    "NoiseBudget",
    "PollSchedule",
    "Range",
    "SecondMaster",
    "Step",
    "StreamBudget",
    "Timing",
    "Varied",
    "Waits",
    "budget",
    "carrier_sense",
    "cases",
    "drifts",
    "exhaustive_wait",
    "explain",
    "fixed_service_wait",
    "gated_wait",
    "limited_wait",
    "line_budget",
    "line_summary",
    "lowest_response",
    "mean_age",
    "mean_cycle",
    "missing_quiet",
    "paced_cycle",
    "persistent_carrier_sense",
    "priority_waits",
    "pure_aloha",
    "service_wait",
    "timed_token_cycle",
    "timing",
    "token_cycle",
    "undisturbed",
    "usable_cases",
    "vacation_wait",
    "waits",
    "worst_age",
    "worst_responses",
]
