"""The steps of a rehearsal along the clock: a row per camera, a mark per step, as wide as its duration.

As in the bar charts of H. L. Gantt, about 1910 (from memory), as handbooks of planning have them. Time on the
wire is dark, hands are light, and what failed is crossed, so that it reads in grey.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from markupsafe import Markup

from busim.foundation.markup import el, void

_LEFT, _WIDTH, _ROW, _TOP, _FOOT = 150.0, 720.0, 15.0, 6.0, 18.0
_MOST_ROWS = 60
_NICE = (1, 2, 5, 10, 15, 30, 60, 120, 300)  # minutes between two ticks


@dataclass(frozen=True, slots=True)
class Step:
    """One step: its row, its start, its time on the wire and its time by hand (s)."""

    row: str
    begins: float
    wire: float
    handling: float
    failed: bool
    text: str

    @property
    def ends(self) -> float:
        """Its end, s."""
        return self.begins + self.wire + self.handling


def step_chart(steps: Sequence[Step]) -> Iterator[Markup]:
    """The chart; rows beyond the most are counted."""
    rows = list(dict.fromkeys(step.row for step in steps))
    shown = {row: place for place, row in enumerate(rows[:_MOST_ROWS])}
    end = max((step.ends for step in steps), default=0.0)
    if not end:
        return
    across = (_WIDTH - _LEFT) / end
    height = _TOP + len(shown) * _ROW + _FOOT
    parts = [*_ticks(end, across, height)]
    for row, place in shown.items():
        parts.append(el("text", row[:28], x=0, y=f"{_TOP + place * _ROW + 10:g}", class_="time"))
    for step in steps:
        if step.row in shown:
            parts += _bars(step, across, _TOP + shown[step.row] * _ROW)
    yield el("svg", *parts, xmlns="http://www.w3.org/2000/svg", viewBox=f"0 0 {_WIDTH:g} {height:g}", role="img")
    if len(rows) > len(shown):
        yield el("p", f"Not shown: {len(rows) - len(shown)} more rows.", class_="note")


def _ticks(end: float, across: float, height: float) -> Iterator[Markup]:
    apart = next((one for one in _NICE if end / 60 / one <= 12), _NICE[-1])
    for minute in range(0, int(end / 60) + 1, apart):
        x = f"{_LEFT + minute * 60 * across:.1f}"
        yield void("line", x1=x, x2=x, y1=_TOP, y2=height - _FOOT, class_="tick")
        yield el("text", f"{minute} min", x=x, y=f"{height - 5:g}", class_="time")


def _bars(step: Step, across: float, top: float) -> Iterator[Markup]:
    x = _LEFT + step.begins * across
    for long, kind in ((step.wire, "wire"), (step.handling, "hands")):
        if long:
            wide = f"{max(0.8, long * across):.2f}"
            yield el("rect", el("title", step.text), x=f"{x:.2f}", y=f"{top + 2:g}", width=wide, height=f"{_ROW - 4:g}",
                     class_=kind)  # fmt: skip
        x += long * across
    if step.failed:
        left, right, high, low = f"{x - 5:.1f}", f"{x + 5:.1f}", f"{top + 2:g}", f"{top + _ROW - 2:g}"
        yield void("path", d=f"M{left},{high} L{right},{low} M{right},{high} L{left},{low}", class_="cross")
