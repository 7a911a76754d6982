"""A cable proven before cameras hang on it: bytes from an adapter at one end to an adapter at the other.

In: a `Link` at each end, with cameras off the pair. Out: a `CableTest` of runs by baud and direction, each with its
errors and what they bound. Then the laptop answers as each camera of a plan (`answer_as`), through the real cable.

Open `proving.py` first.
"""

from busim.onsite.line_test.answering import Answered, answer_as
from busim.onsite.line_test.bounds import bound, rule_of_three
from busim.onsite.line_test.pattern import Tally, block, compared, reversed_pair
from busim.onsite.line_test.proving import RATES, CableTest, Run, loop_back, prove_cable
from busim.onsite.line_test.signs import FAILS, HOLDS, INCONCLUSIVE, Sign

__all__ = [
    "FAILS",
    "HOLDS",
    "INCONCLUSIVE",
    "RATES",
    "Answered",
    "CableTest",
    "Run",
    "Sign",
    "Tally",
    "answer_as",
    "block",
    "bound",
    "compared",
    "loop_back",
    "prove_cable",
    "reversed_pair",
    "rule_of_three",
]
