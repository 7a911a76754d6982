"""Commissioning, rehearsed: the steps of the site, in virtual time, on the emulated installation.

Public: `planned` (the cameras as they are to be), `steps` (those of a plan, written in it or made from it), `rehearse`,
what comes of it (`Rehearsal`, `Done`, `Reason`), and what can go wrong (`what_ifs`, `what_if_steps`).
"""

from busim.rehearse.rehearse import rehearse
from busim.rehearse.result import FAILED, OK, SCHEMA, SKIPPED, Done, Reason, Rehearsal
from busim.rehearse.script import Planned, generated, planned
from busim.rehearse.steps import KINDS, Assumed, Step
from busim.rehearse.what_ifs import Setting, WhatIf, find_what_if, setting_for, what_if_steps, what_ifs

__all__ = [
    "FAILED",
    "KINDS",
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
    "find_what_if",
    "generated",
    "planned",
    "rehearse",
    "setting_for",
    "what_if_steps",
    "what_ifs",
]
