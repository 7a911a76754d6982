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
        "whole burst), the timer and both latencies more (computed). A controller that goes on before it could time "
        "out has the reply, so it knows of that at once. Where others leave no such silence for 250 ms, a controller "
        "may go on without it (our own choice)",
    )

    def __init__(self, *parts: Any) -> None:
        super().__init__(*parts)
        self._bursts: dict[int, deque[tuple[int, int, bool]]] = {}  # line -> start, end, ours
        self._restless: dict[int, tuple[int, int]] = {}  # line -> since when others leave no gap, end of the last burst
        self._last: dict[int, Asked] = {}  # line -> the last request of the controller
        self._reply: dict[int, Answered] = {}  # line -> the first sound reply to it
        self._stray: dict[int, int] = {}  # line -> until when another burst may still come to the controller, ns

    def asked(self, event: Asked) -> None:
        line = event.line
        if not event.ours:
            self._strays(line, event.start, event.end)
        elif any(self.hidden(line, event.start, event.end, what) for what in ("requests", "late-requests")):
            self._last.pop(line, None)
            return  # it may be somebody else's, or have been held back
        self._burst(line, event.start, event.end, event.ours)
        if event.ours:
            last, reply = self._last.get(line), self._reply.pop(line, None)
            if last is not None and reply is not None and not self._early(last, event.start):
                self._strays(line, reply.start, reply.end)  # it may have timed out without it
            self._last[line] = event

    def answered(self, event: Answered) -> None:
        line = event.line
        if event.reply is None or event.asked is not self._last.get(line) or event.exact or line in self._reply:
            self._strays(line, event.start, event.end)
        else:
            self._reply[line] = event
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
            if not self._deaf(line, start):
                self._request(ground, start, kept)
        else:
            since, over = self._restless.get(line, (start, start))
            gone = start - over >= ground.silence
            self._restless[line] = (start if gone else since), max(over, end)
            # It ended later, so it is reported later: a request may have begun inside it. Bursts come by their ends.
            for since, over, mine in reversed(kept):
                if over <= start:
                    break
                if mine and ground.known(start, end) < since < end and not self._deaf(line, since):
                    self._into(line, since, start)
        kept.append((start, end, ours))

    def _request(self, ground: LineGround, at: int, kept: deque[tuple[int, int, bool]]) -> None:
        self.judged += 1
        self.state = "judging"
        line, gap = ground.number, -1
        for start, end, mine in reversed(kept):  # in order of ends: the first that is over ended last
            if (start + ground.reaction if mine else ground.known(start, end)) >= at and not self._took(line, end, at):
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

    def _deaf(self, line: int, at: int) -> bool:
        """Whether the converter may hold bursts of others back: then nobody knows when the controller knew of them."""
        return any(self.hidden(line, at, at, what) for what in ("replies", "late-replies"))

    def _strays(self, line: int, start: int, end: int) -> None:
        """A burst that need not be the answer to the last request."""
        self._stray[line] = max(self._stray.get(line, 0), self.ground.lines[line].known(start, end))

    def _early(self, last: Asked, at: int) -> bool:
        """Whether a controller that goes on at `at` ns cannot have timed out."""
        time_out = self.ground.lines[last.line].time_out
        return at - last.start < (last.response if time_out is None else min(last.response, time_out))

    def _took(self, line: int, end: int, at: int) -> bool:
        """Whether the burst that ended at `end` is the reply which let the controller go on at `at` ns: it goes on too
        early for a time-out, and nothing else has come to it since its last request.
        """
        last, reply = self._last.get(line), self._reply.get(line)
        if last is None or reply is None or reply.end != end or end > at or not self._early(last, at):
            return False
        if self._stray.get(line, 0) > last.start:
            return False
        return self.ground.lines[line].protocol.decode_reply(reply.data, last.request) is not None

    def _into(self, line: int, at: int, since: int) -> None:
        self.fail(at, line, f"a request while the line has been busy for {(at - since) / 1e6:.3f} ms")


JUDGE = QuietLine
