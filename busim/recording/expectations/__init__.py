"""Expectations: what a plan says its figures shall be, and whether a run's were so.

Public: `expectations` (those of a plan, looked up), `wrong` (what is wrong with them), `judge` (against figures).
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
