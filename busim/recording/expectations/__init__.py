"""Expectations: bounds on figures in a plan, and whether the figures of a run keep to them.

Public: `expectations` (those of a plan, looked up), `wrong` (mistakes in them), `judge` (against figures).
"""

from busim.recording.expectations.judging import INCONCLUSIVE, LOOK, MET, MISSED, Verdict, judge
from busim.recording.expectations.reading import Expectation, expectations, wrong

__all__ = [
    "INCONCLUSIVE",
    "LOOK",
    "MET",
    "MISSED",
    "Expectation",
    "Verdict",
    "expectations",
    "judge",
    "wrong",
]
