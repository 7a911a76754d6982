"""Verify: the budget's expectations beside a simulated run of the same plan.

Public: `verify` returns a `Verification`: per master on each line a `LineVerification` of `Check`s, each with its
verdict (`HOLDS`, `TOO_FEW`, `DIFFERS`); `long_enough` computes a sufficient length.

Open `verify.py` first.
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
