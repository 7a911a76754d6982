"""Figures: named quantities folded from trace records, and confidence intervals of measured numbers.

Open `fold.py` first.
"""

from busim.recording.figures.age import Age
from busim.recording.figures.fold import Fold
from busim.recording.figures.histogram import Histogram
from busim.recording.figures.hook import NAMES as HOOK
from busim.recording.figures.intervals import (
    mean_interval,
    quantile_interval,
    repeated_interval,
    standard_error,
    student,
)
from busim.recording.figures.quantities import QUANTITIES, SCHEMA, Quantity, Value

__all__ = [
    "HOOK",
    "QUANTITIES",
    "SCHEMA",
    "Age",
    "Fold",
    "Histogram",
    "Quantity",
    "Value",
    "mean_interval",
    "quantile_interval",
    "repeated_interval",
    "standard_error",
    "student",
]
