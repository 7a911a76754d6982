"""The true timing of one real camera, from harmless reads: what of an exchange can be told apart, and what cannot.

In: a `RealTool`, a camera of a plan. Out: a `Measurement` of parts with intervals, and the text of the plan with its
`measured` block. Open `separate.py` first: it says which part shows by which sign.
"""

from busim.onsite.measure.intervals import Interval, interval
from busim.onsite.measure.measuring import Measurement, measure
from busim.onsite.measure.planned import Planned, planned, with_measured
from busim.onsite.measure.separate import BOUND, COMPUTED, MEASURED, Part, Sample, separate

__all__ = [
    "BOUND",
    "COMPUTED",
    "MEASURED",
    "Interval",
    "Measurement",
    "Part",
    "Planned",
    "Sample",
    "interval",
    "measure",
    "planned",
    "separate",
    "with_measured",
]
