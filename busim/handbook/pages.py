"""The pages: markdown files in this folder, each named by its topic.

A page begins with its title (`# ...`), an empty line and its summary of one line. Topics are listed in the order of
reading for newcomers, not by the alphabet.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

from busim.foundation.errors import UserError

_HERE = Path(__file__).parent
_TOPICS = (
    "cautions",
    "words",
    "symptoms",
    "shared-line",
    "cable",
    "scenarios",
    "figures",
    "budget",
    "one-number",
    "sweep",
    "plan",
    "site",
    "check",
    "scan",
    "conform",
    "measure",
    "line-test",
    "changes",
    "spreadsheets",
    "rehearsal",
    "commissioning",
    "sheet",
    "connect",
    "testing",
    "fuzz",
    "pytest",
    "hook",
    "faults",
    "judges",
    "converters",
    "tap",
    "listen",
    "as-built",
    "library",
    "modbus-rtu",
    "protocols",
    "cameras",
    "trace",
    "page",
    "exactness",
)


def topics() -> dict[str, str]:
    """Every topic with its summary, one line, in reading order."""
    return {topic: page(topic).split("\n", 3)[2] for topic in _TOPICS}


@cache
def page(topic: str) -> str:
    """The page as markdown, with unfilled placeholders. Raises UserError for an unknown topic."""
    if topic not in _TOPICS:
        raise UserError(
            "the handbook has no such topic",
            found=repr(topic[:60]),
            expected="one of " + ", ".join(_TOPICS),
            mend="`busim explain` lists them",
        )
    return (_HERE / f"{topic}.md").read_text(encoding="utf-8")
