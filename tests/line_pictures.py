"""The pictures of the README, drawn from the scenarios: `tools/renew-pictures` writes them, and a test holds them true.

As a program it writes them anew into `pictures/`.
"""

from __future__ import annotations

from fault_halls import MS, S
from line_traces import Shown, scenario_trace
from markupsafe import Markup
from places import TOP

from busim.foundation.markup import el
from busim.web.picture import svg
from busim.web.report import picture_style

# file -> scenario, s of its run, the window in ns
PICTURES = {
    "climbing-hall.svg": ("climbing-hall", 10, 2 * S, 2 * S + 120 * MS),
    "two-masters.svg": ("two-masters", 8, 7 * S + 30 * MS, 7 * S + 180 * MS),
}
FOLDER = TOP / "pictures"


def drawn(name: str) -> str:
    """A picture as a file of its own: its style is inside."""
    scenario, seconds, since, until = PICTURES[name]
    picture = svg(Shown(scenario_trace(scenario, seconds)).picture(since, until))
    return str(picture).replace("<title>", f"{el('style', Markup(picture_style()))}<title>", 1) + "\n"


if __name__ == "__main__":
    FOLDER.mkdir(exist_ok=True)
    for each in PICTURES:
        (FOLDER / each).write_text(drawn(each), encoding="utf-8")
