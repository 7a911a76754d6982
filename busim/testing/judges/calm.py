"""Calm: is there no flood of requests after a recovery?"""

from __future__ import annotations

from collections import deque
from typing import Any, Final

from busim.testing.judging import About, Asked, Ground, Judge, Scene

_WINDOW: Final = 1_000_000_000  # ns over which requests are counted
_BUDGET: Final = 0.5  # repeats beyond the wanted rate


class Calm(Judge):
    """Compares the requests of each second with the plan's polls, commands and repeats."""

    about = About(
        name="calm",
        title="Calm: no flood of requests, not even after a recovery",
        passes="each second has at most as many requests as the plan's polls need, half as many again for repeats and "
        "probes, and 4 per operator's move",
        catches="a queue emptied after a stall, repeats without a pause",
        needs="bursts; a plan with a rate for each poll group (for polls that never rest, the quiet line and the wait "
        "for each answer limit the rate)",
        bound="1.5 times the wanted rate, and 4 attempts per move (common practice, no source)",
    )

    def __init__(self, ground: Ground, scene: Scene) -> None:
        super().__init__(ground, scene)
        self._recent: dict[int, deque[int]] = {number: deque() for number in ground.lines}
        self._moves: deque[int] = deque()
        self._allowed = {
            line.number: line.wanted * (1 + _BUDGET) + line.polls for line in self.ground.lines.values() if line.wanted
        }
        if not self._allowed:
            self.ignores = frozenset(("asked",))

    def intended(self, record: tuple[Any, ...]) -> None:
        self._moves.append(record[3])

    def asked(self, event: Asked) -> None:
        most = self._allowed.get(event.line)
        if most is None:
            return
        self.judged += 1
        at = event.start
        recent = self._recent[event.line]
        recent.append(at)
        while recent[0] <= at - _WINDOW:
            recent.popleft()
        while self._moves and self._moves[0] <= at - 3 * _WINDOW:
            self._moves.popleft()
        allowed = most + 4 * len(self._moves)  # with one round more: polls of two seconds may meet in one window
        self.state = "busy" if 2 * len(recent) > allowed else "judging"
        if len(recent) > allowed and not self.hidden(event.line, at - _WINDOW, at, "requests"):
            self.fail(at, event.line, f"{len(recent)} requests within 1 s; {allowed:.0f} are wanted with all repeats")
            recent.clear()


JUDGE = Calm
