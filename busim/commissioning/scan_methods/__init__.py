"""Scan methods: ways to find the cameras of a line without harm. Questions go out, answers come in; no clock.

Public: `listen_first`, `scan`, `by_serial`, `slotted`, `duplicates`, `give_ids`, generators that yield a `Question`,
are sent its `Answer` and return what came of it (`Quiet`, `Found`, `Doubt`, `Scanned`, `Searched`, `Checked`, `Given`);
a `Pace` says how long each question is listened for. What they take, computed: `scan_questions`, `probes`, `probes_of`,
`most_probes`, `rounds`, `slotted_time`, `most_slotted`, `spans_of`,
`best_slots`.

Open `questions.py` first.
"""

from busim.commissioning.scan_methods.computed import (
    best_slots,
    most_probes,
    most_slotted,
    probes,
    probes_of,
    rounds,
    scan_questions,
    slotted_time,
    spans_of,
)
from busim.commissioning.scan_methods.each import CHECKS, Checked, Doubt, Scanned, duplicates, scan
from busim.commissioning.scan_methods.listen_first import Quiet, listen_first
from busim.commissioning.scan_methods.questions import Answer, Found, Pace, Procedure, Question
from busim.commissioning.scan_methods.serials import Given, Searched, by_serial, give_ids, slotted

__all__ = [
    "CHECKS",
    "Answer",
    "Checked",
    "Doubt",
    "Found",
    "Given",
    "Pace",
    "Procedure",
    "Question",
    "Quiet",
    "Scanned",
    "Searched",
    "best_slots",
    "by_serial",
    "duplicates",
    "give_ids",
    "listen_first",
    "most_probes",
    "most_slotted",
    "probes",
    "probes_of",
    "rounds",
    "scan",
    "scan_questions",
    "slotted",
    "slotted_time",
    "spans_of",
]
