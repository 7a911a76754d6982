"""Conformance of one device: the tool asks as master and compares what comes with protocol and camera model.

In: a `RealTool`, a model and a bus ID. Out: a `Conformance` of verdicts with their evidence. Reads alone, and frames
damaged out of reads that no cut can turn into a write (`damage.py`); rubbish, broadcasts and writes only if allowed.

Open `conforming.py` first.
"""

from busim.onsite.conform.conforming import CHECKS, conform
from busim.onsite.conform.damage import Damage, damaged, harmless
from busim.onsite.conform.device import Device
from busim.onsite.conform.verdicts import DIFFERS, FAILS, HOLDS, LEFT_OUT, UNCLEAR, Conformance, Verdict

__all__ = [
    "CHECKS",
    "DIFFERS",
    "FAILS",
    "HOLDS",
    "LEFT_OUT",
    "UNCLEAR",
    "Conformance",
    "Damage",
    "Device",
    "Verdict",
    "conform",
    "damaged",
    "harmless",
]
