"""Distributions as bars: counts of exchanges by duration, on a scale where each step is a third longer."""

from __future__ import annotations

import math
from collections import Counter

from markupsafe import Markup

from busim.foundation.markup import el, void
from busim.foundation.units import show_time

_RATIO = 10 ** (1 / 8)  # of two edges
_WIDTH, _HEIGHT, _FOOT = 340.0, 90.0, 16.0


class Bars:
    """Counts of times in ns, by steps of equal ratio."""

    def __init__(self) -> None:
        self.counts: Counter[int] = Counter()

    def add(self, ns: int) -> None:
        """Count one."""
        self.counts[math.floor(math.log(max(1, ns), _RATIO))] += 1

    def svg(self, title: str) -> Markup:
        """The bars, each with its count in words as a tooltip; the highest one has its number."""
        if not self.counts:
            return el("p", f"{title}: nothing to count", class_="note")
        low, high = min(self.counts), max(self.counts)
        most = max(self.counts.values())
        wide = _WIDTH / max(8, high - low + 1)
        shapes = []
        for step in range(low, high + 1):
            count = self.counts[step]
            tall = (_HEIGHT - _FOOT - 14) * count / most
            x, y = (step - low) * wide, _HEIGHT - _FOOT - tall
            told = f"{count} from {show_time(_RATIO**step)} to {show_time(_RATIO ** (step + 1))}"
            if count:
                shapes.append(
                    el("rect", el("title", told), x=f"{x:.1f}", y=f"{y:.1f}", width=f"{wide - 1:.1f}",
                       height=f"{max(0.8, tall):.1f}", class_="bar")
                )  # fmt: skip
            if (step - low) % max(1, round((high - low) / 4)) == 0:
                shapes.append(el("text", show_time(_RATIO**step), x=f"{x:.1f}", y=f"{_HEIGHT - 3:.1f}", class_="time"))
        shapes.append(el("text", f"{title}; tallest bar {most} of {self.counts.total()}", x=0, y=9, class_="said"))
        axis = void("line", x1=0, y1=_HEIGHT - _FOOT, x2=_WIDTH, y2=_HEIGHT - _FOOT, class_="tick")
        return el("svg", axis, *shapes, viewBox=f"0 0 {_WIDTH:g} {_HEIGHT:g}", class_="bars", role="img",
                  xmlns="http://www.w3.org/2000/svg")  # fmt: skip
