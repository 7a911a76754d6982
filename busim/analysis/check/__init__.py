"""Checks of a valid plan: rules, each with its reason, source, advice and examples.

Public: `check` (a plan to its findings, as `Checked`), `Rule`, `all_rules` (by identifier), `page` (one of them as
markdown), `AREAS`, `CAUTION` (ends each remedy that has a person touch the installation), and `sarif` (findings as
SARIF 2.1.0). For authors of rules: `Spot` (the result of a rule) and `Survey` (the plan with the look-ups that rules
and the printed sheet share); DEVELOPERS.md explains how.

Open `run.py` first.
"""

from busim.analysis.check.catalogue import all_rules, page
from busim.analysis.check.checked import SCHEMA, Checked, Silenced, unreadable
from busim.analysis.check.examples import SOUND, edited, marked
from busim.analysis.check.feeds import Feed, feed_on
from busim.analysis.check.joined import joined, same_voltage
from busim.analysis.check.rule import AREAS, CAUTION, Edits, Rule, Spot, Spots
from busim.analysis.check.run import check
from busim.analysis.check.sarif import sarif
from busim.analysis.check.survey import Survey, Timed
from busim.analysis.check.wiring import TERMINATOR_OHMS, Wiring

__all__ = [
    "AREAS",
    "CAUTION",
    "SCHEMA",
    "SOUND",
    "TERMINATOR_OHMS",
    "Checked",
    "Edits",
    "Feed",
    "Rule",
    "Silenced",
    "Spot",
    "Spots",
    "Survey",
    "Timed",
    "Wiring",
    "all_rules",
    "check",
    "edited",
    "feed_on",
    "joined",
    "marked",
    "page",
    "same_voltage",
    "sarif",
    "unreadable",
]
