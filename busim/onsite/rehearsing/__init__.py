"""A commissioning on the real line: the steps of a rehearsal, each write agreed to, each step kept in a record.

In: a plan, an open target, a `Person` (or `Script`) who does, agrees and looks. Out: each step as `Done`, and the
record as a file, whole up to the step that was interrupted.

Open `running.py` first.
"""

from busim.onsite.rehearsing.person import Person, Script
from busim.onsite.rehearsing.real_site import RealSite
from busim.onsite.rehearsing.record_file import RecordFile, load_record
from busim.onsite.rehearsing.resuming import done_before
from busim.onsite.rehearsing.running import commission, counted, sign, steps_here

__all__ = [
    "Person",
    "RealSite",
    "RecordFile",
    "Script",
    "commission",
    "counted",
    "done_before",
    "load_record",
    "sign",
    "steps_here",
]
