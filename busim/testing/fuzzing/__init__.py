"""Cases for controllers: what happens to an installation, drawn, run, judged, made small and saved.

In: a plan, a master. Out: failures, each a small case that runs again. Open `campaign.py` first (the loop), then
`pure.py` (one case for a master that is a pure object), `case.py` and `injected.py` (what can happen).
"""

from busim.testing.fuzzing.campaign import Campaign, Failure, fuzz
from busim.testing.fuzzing.case import Action, Case, FaultEvent, case_of
from busim.testing.fuzzing.drawing import Space, space_of
from busim.testing.fuzzing.injected import KINDS
from busim.testing.fuzzing.pure import PureRun, Result, run_pure
from busim.testing.fuzzing.saving import Saved, load, save
from busim.testing.fuzzing.shrinking import shrink

__all__ = [
    "KINDS",
    "Action",
    "Campaign",
    "Case",
    "Failure",
    "FaultEvent",
    "PureRun",
    "Result",
    "Saved",
    "Space",
    "case_of",
    "fuzz",
    "load",
    "run_pure",
    "save",
    "shrink",
    "space_of",
]
