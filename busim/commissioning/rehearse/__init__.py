"""Rehearsal of a commissioning: its steps, in simulated time, on the emulated installation.

Public: `planned` (the cameras and their target IDs), `steps_of` (steps written in a plan or generated from it),
`rehearse`, its results (`Rehearsal`, `Done`, `Reason`), `run_steps` (the same steps on any `Site`), mistakes and
mishaps to try (`what_ifs`, `line_for`, `what_if_steps`), `crews` (lines that can be done side by side). The block of a
plan itself is read in `busim.installation.rehearsal`.

Open `rehearse.py` first.
"""

from busim.commissioning.rehearse.rehearse import rehearse, run_steps
from busim.commissioning.rehearse.result import (
    DAMAGED,
    FAILED,
    FOREIGN,
    OK,
    OTHER_ID,
    REFUSED,
    SCHEMA,
    SILENT,
    SKIPPED,
    TWO_ANSWERED,
    UNSEEN,
    Done,
    Outcome,
    Reason,
    Rehearsal,
)
from busim.commissioning.rehearse.script import Planned, generated, planned
from busim.commissioning.rehearse.site import Declined, Site
from busim.commissioning.rehearse.steps import CAUTIONS, Assumed, Step
from busim.commissioning.rehearse.switching import crews
from busim.commissioning.rehearse.what_if import Setting, WhatIf
from busim.commissioning.rehearse.what_ifs import (
    find_what_if,
    line_for,
    setting_for,
    settings_for,
    what_if_steps,
    what_ifs,
)
from busim.commissioning.rehearse.written import steps_of

__all__ = [
    "CAUTIONS",
    "DAMAGED",
    "FAILED",
    "FOREIGN",
    "OK",
    "OTHER_ID",
    "REFUSED",
    "SCHEMA",
    "SILENT",
    "SKIPPED",
    "TWO_ANSWERED",
    "UNSEEN",
    "Assumed",
    "Declined",
    "Done",
    "Outcome",
    "Planned",
    "Reason",
    "Rehearsal",
    "Setting",
    "Site",
    "Step",
    "WhatIf",
    "crews",
    "find_what_if",
    "generated",
    "line_for",
    "planned",
    "rehearse",
    "run_steps",
    "setting_for",
    "settings_for",
    "steps_of",
    "what_if_steps",
    "what_ifs",
]
