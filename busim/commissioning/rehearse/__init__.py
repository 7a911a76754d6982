"""Commissioning, rehearsed: the steps of the site, in virtual time, on the emulated installation.

Public: `planned` (the cameras as they are to be), `steps_of` (written in a plan or made from it), `rehearse`, what
comes of it (`Rehearsal`, `Done`, `Reason`), what can go wrong (`what_ifs`, `what_if_steps`), `json_schema` (of what a
plan may write).
"""

from busim.commissioning.rehearse.rehearse import rehearse
from busim.commissioning.rehearse.result import FAILED, OK, SCHEMA, SKIPPED, Done, Reason, Rehearsal
from busim.commissioning.rehearse.script import Planned, generated, planned
from busim.commissioning.rehearse.steps import KINDS, Assumed, Kind, Step
from busim.commissioning.rehearse.what_ifs import Setting, WhatIf, find_what_if, setting_for, what_if_steps, what_ifs
from busim.commissioning.rehearse.written import json_schema, steps_of, wrong

__all__ = [
    "FAILED",
    "KINDS",
    "OK",
    "SCHEMA",
    "SKIPPED",
    "Assumed",
    "Done",
    "Kind",
    "Planned",
    "Reason",
    "Rehearsal",
    "Setting",
    "Step",
    "WhatIf",
    "find_what_if",
    "generated",
    "json_schema",
    "planned",
    "rehearse",
    "setting_for",
    "steps_of",
    "what_if_steps",
    "what_ifs",
    "wrong",
]
