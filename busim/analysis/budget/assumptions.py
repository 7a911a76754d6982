"""What every budget stands on, in words, and the largest need that it is asked about."""

from __future__ import annotations

from busim.installation import POLICY

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
