"""Figures: named quantities, folded from trace records."""

from busim.figures.fold import Fold
from busim.figures.histogram import Histogram
from busim.figures.quantities import QUANTITIES, SCHEMA, Quantity, Value

__all__ = ["QUANTITIES", "SCHEMA", "Fold", "Histogram", "Quantity", "Value"]
