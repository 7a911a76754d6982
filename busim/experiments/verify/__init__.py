"""Verify: what the budget expects of a plan beside what a simulated run of the same plan has.

Public: `verify` gives a `Verification`: for each master on each line a `LineVerification` of `Check`s, each with its
verdict (`HOLDS`, `TOO_FEW`, `DIFFERS`); `long_enough` says how long to run.
"""

from busim.experiments.verify.checks import DIFFERS, HOLDS, TOLERANCES, TOO_FEW, Check
from busim.experiments.verify.verify import LineVerification, Verification, long_enough, verify

__all__ = [
    "DIFFERS",
    "HOLDS",
    "TOLERANCES",
    "TOO_FEW",
    "Check",
    "LineVerification",
    "Verification",
    "long_enough",
    "verify",
]
