"""Rehearsal of a commissioning: its steps, in simulated time, on the emulated installation.

Public: `planned` (the cameras and their target IDs), `steps_of` (steps written in a plan or generated from it),
`rehearse`, its results (`Rehearsal`, `Done`, `Reason`), mistakes and mishaps to try (`what_ifs`, `what_if_steps`),
`crews` (lines that can be done side by side). The block of a plan itself is read in `busim.installation.rehearsal`.

Open `rehearse.py` first.
"""

from busim.commissioning.rehearse.rehearse import rehearse
from busim.commissioning.rehearse.result import FAILED, OK, SCHEMA, SKIPPED, Done, Reason, Rehearsal
from busim.commissioning.rehearse.script import Planned, generated, planned
from busim.commissioning.rehearse.steps import CAUTIONS, Assumed, Step
from busim.commissioning.rehearse.switching import crews
from busim.commissioning.rehearse.what_if import Setting, WhatIf
from busim.commissioning.rehearse.what_ifs import find_what_if, setting_for, what_if_steps, what_ifs
from busim.commissioning.rehearse.written import steps_of

__all__ = [
    "CAUTIONS",
    "FAILED",
    "OK",
    "SCHEMA",
    "SKIPPED",
    "Assumed",
    "Done",
    "Planned",
    "Reason",
    "Rehearsal",
    "Setting",
    "Step",
    "WhatIf",
    "crews",
    "find_what_if",
    "generated",
    "planned",
    "rehearse",
    "setting_for",
    "steps_of",
    "what_if_steps",
    "what_ifs",
]
