"""Listening: what is on a line, from what is overheard there. Nothing is ever sent.

Public: `Survey` (addresses, polls, who is late, a second master), `Overheard` (requests and replies in one stream),
`fits` (how protocols explain pieces, as `Fit`s), `as_well`, `least_baud`, `guessed` and `settings` (trying baud and
format at a port), `heard` (the pieces that come at a target).

Open `survey.py` first.
"""

from busim.onsite.listening.guess import LIKELY, NONE, SURE, WEAK, Fit, as_well, fits, least_baud, settings
from busim.onsite.listening.live import guessed, heard
from busim.onsite.listening.overheard import Overheard
from busim.onsite.listening.survey import Group, Poll, Survey

__all__ = [
    "LIKELY",
    "NONE",
    "SURE",
    "WEAK",
    "Fit",
    "Group",
    "Overheard",
    "Poll",
    "Survey",
    "as_well",
    "fits",
    "guessed",
    "heard",
    "least_baud",
    "settings",
]
