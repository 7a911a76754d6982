"""Cases for controllers: events for an installation, drawn, run, judged, reduced and saved.

In: a plan, a master or a program. Out: failures, each a small case that can be repeated. Open `campaign.py` first (the
loop), then `pure.py` (one case for a master that is a pure object), `virtual.py` (for an asyncio controller in virtual
time), `served.py` (for a program, in wall time), `case.py` and `drawing.py` (the possible events).
"""

from busim.testing.fuzzing.accepted import Accepted, known_faults, read_accepted
from busim.testing.fuzzing.campaign import Campaign, Failure, fuzz
from busim.testing.fuzzing.case import Action, Case, FaultEvent, case_of
from busim.testing.fuzzing.drawing import NOT_DRAWN, Space, space_of
from busim.testing.fuzzing.linked import Link
from busim.testing.fuzzing.pure import PureRun, Result, run_pure
from busim.testing.fuzzing.saving import Saved, fragment, load, save, save_test
from busim.testing.fuzzing.served import ServedRun
from busim.testing.fuzzing.shrinking import shrink
from busim.testing.fuzzing.staying import STAYS_UP
from busim.testing.fuzzing.virtual import VirtualRun
from busim.testing.fuzzing.watching import Watched
from busim.testing.fuzzing.workers import AnyRun, Workers

__all__ = [
    "NOT_DRAWN",
    "STAYS_UP",
    "Accepted",
    "Action",
    "AnyRun",
    "Campaign",
    "Case",
    "Failure",
    "FaultEvent",
    "Link",
    "PureRun",
    "Result",
    "Saved",
    "ServedRun",
    "Space",
    "VirtualRun",
    "Watched",
    "Workers",
    "case_of",
    "fragment",
    "fuzz",
    "known_faults",
    "load",
    "read_accepted",
    "run_pure",
    "save",
    "save_test",
    "shrink",
    "space_of",
]
