"""The pictures of the README, drawn from the scenarios: `tools/renew-pictures` writes them, and a test holds them true.

As a program it writes them anew, each beside its plan.
"""

from __future__ import annotations

from pathlib import Path

from fault_halls import MS, S
from line_traces import Shown, scenario_trace
from markupsafe import Markup
from places import SCENARIOS

from busim.foundation.markup import el
from busim.web.picture import svg
from busim.web.report import picture_style

# scenario -> s of its run, the window in ns
PICTURES = {
    "climbing-hall": (10, 2 * S, 2 * S + 120 * MS),
    "two-masters": (8, 7 * S + 30 * MS, 7 * S + 180 * MS),
}


def place_of(scenario: str) -> Path:
    """Where the picture of this scenario stands."""
    return SCENARIOS / scenario / "line.svg"


def drawn(scenario: str) -> str:
    """The picture of a scenario as a file of its own: its style is inside."""
    seconds, since, until = PICTURES[scenario]
    picture = svg(Shown(scenario_trace(scenario, seconds)).picture(since, until))
    return str(picture).replace("<title>", f"{el('style', Markup(picture_style()))}<title>", 1) + "\n"


if __name__ == "__main__":
    for each in PICTURES:
        place_of(each).write_text(drawn(each), encoding="utf-8")
