"""Cases for controllers: events for an installation, drawn, run, judged, reduced and saved.

In: a plan, a master or a program. Out: failures, each a small case that can be repeated. Open `campaign.py` first (the
loop), then `pure.py` (one case for a master that is a pure object), `served.py` (for a program, in wall time),
`case.py` and `injected.py` (the possible events).
"""

from busim.testing.fuzzing.accepted import Accepted, read_accepted
from busim.testing.fuzzing.campaign import Campaign, Failure, fuzz
from busim.testing.fuzzing.case import Action, Case, FaultEvent, case_of
from busim.testing.fuzzing.drawing import Space, space_of
from busim.testing.fuzzing.injected import KINDS
from busim.testing.fuzzing.pure import PureRun, Result, run_pure
from busim.testing.fuzzing.saving import Saved, fragment, load, save
from busim.testing.fuzzing.served import STAYS_UP, ServedRun
from busim.testing.fuzzing.shrinking import shrink
from busim.testing.fuzzing.watching import Watched
from busim.testing.fuzzing.workers import Workers

__all__ = [
    "KINDS",
    "STAYS_UP",
    "Accepted",
    "Action",
    "Campaign",
    "Case",
    "Failure",
    "FaultEvent",
    "PureRun",
    "Result",
    "Saved",
    "ServedRun",
    "Space",
    "Watched",
    "Workers",
    "case_of",
    "fragment",
    "fuzz",
    "load",
    "read_accepted",
    "run_pure",
    "save",
    "shrink",
    "space_of",
]
