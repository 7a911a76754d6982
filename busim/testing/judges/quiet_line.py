"""Quiet line: does the controller never interrupt another station, and keep the pause of the protocol?"""

from __future__ import annotations

from collections import deque
from typing import Any

from busim.installation import POLICY
from busim.testing.judging import About, Answered, Asked, Judge, LineGround

_KEPT = 8  # bursts of a line that may still overlap another


class QuietLine(Judge):
    """Compares the start of each request with all other bursts of its line."""

    about = About(
        name="quiet-line",
        title="Quiet line: no interruption of others",
        passes="the controller never sends while the line is busy (after the time to notice), nor before the silence "
        "of the protocol",
        catches="a short gap, no pause after a broadcast, interrupting a second master, an early or a late reply, "
        "requests in pieces",
        needs="bursts",
        bound="the protocol's silence (MODBUS over Serial Line V1.02: t3.5, 1.75 ms above 19200 Bd). The time to "
        "notice is two characters on the line; behind a converter it is the longest packet (with a timer alone, the "
        "whole burst), the timer and both latencies more (computed). Where others leave no such silence for 250 ms, a "
        "controller may go on without it (our own choice)",
    )

    def __init__(self, *parts: Any) -> None:
        super().__init__(*parts)
        self._bursts: dict[int, deque[tuple[int, int, bool]]] = {}  # line -> start, end, ours
        self._restless: dict[int, tuple[int, int]] = {}  # line -> since when others leave no gap, end of the last burst

    def asked(self, event: Asked) -> None:
        if event.ours and any(
            self.hidden(event.line, event.start, event.end, what) for what in ("requests", "late-requests")
        ):
            return  # it may be somebody else's, or have been held back
        self._burst(event.line, event.start, event.end, event.ours)

    def answered(self, event: Answered) -> None:
        if event.data:  # a steady level has no characters: no receiver knows how long it lasts
            end = event.end
            if event.exact and event.reply is None:  # at another baud its last character is heard to end before it does
                end -= (event.end - event.start) // len(event.data)
            elif event.exact:  # a stop bit more than the line's is silence to every other station
                end -= self.ground.lines[event.line].char // 10
            self._burst(event.line, event.start, end, False)

    def _burst(self, line: int, start: int, end: int, ours: bool) -> None:
        kept = self._bursts.get(line)
        if kept is None:
            kept = self._bursts[line] = deque(maxlen=_KEPT)
        ground = self.ground.lines[line]
        if ours:
            self._request(ground, start, kept)
        else:
            since, over = self._restless.get(line, (start, start))
            gone = start - over >= ground.silence
            self._restless[line] = (start if gone else since), max(over, end)
            # It ended later, so it is reported later: a request may have begun inside it. Bursts come by their ends.
            for since, over, mine in reversed(kept):
                if over <= start:
                    break
                if mine and ground.known(start, end) < since < end:
                    self._into(line, since, start)
        kept.append((start, end, ours))

    def _request(self, ground: LineGround, at: int, kept: deque[tuple[int, int, bool]]) -> None:
        self.judged += 1
        self.state = "judging"
        line, gap = ground.number, -1
        for start, end, mine in reversed(kept):  # in order of ends: the first that is over ended last
            if (start + ground.reaction if mine else ground.known(start, end)) >= at:
                continue  # its sender could not know of this burst
            if end <= at:
                gap = at - end
                break
            self._into(line, at, start)
        if 0 <= gap < ground.silence - ground.char // 100:
            since, over = self._restless.get(line, (at, at))
            endless = at - over < ground.silence and at - since > POLICY.longest_drain
            if not endless:
                self.fail(
                    at,
                    line,
                    f"a request {gap / 1e6:.3f} ms after the frame before, {ground.silence / 1e6:g} ms are wanted",
                )

    def _into(self, line: int, at: int, since: int) -> None:
        self.fail(at, line, f"a request while the line has been busy for {(at - since) / 1e6:.3f} ms")


JUDGE = QuietLine
