"""Quiet line: does the controller never interrupt another station, and keep the pause of the protocol?"""

from __future__ import annotations

from collections import deque
from typing import Any, Final

from busim.installation import POLICY
from busim.testing.judging import About, Answered, Asked, Ground, Judge, LineGround, Scene

_KEPT: Final = 8  # bursts of a line that may still overlap another
_PARTS: Final = frozenset(("fault cut-cable", "fault intermittent-joint"))  # while on, one half may not hear the other


class _Line:
    """One line as it was lately. `bursts`: start, end and whether it is the controller's. `since`, `over`: since when
    others leave no gap, and the end of their last burst. `last`: the controller's last request, `reply`: the first
    sound one to it; `stray`: until when another burst may still be under way to the controller. `held`: the camera that
    holds the pair at space, 0 for none; `parted`: the pair may be cut. Times in ns.
    """

    __slots__ = ("bursts", "ground", "held", "last", "over", "parted", "reply", "since", "stray")

    def __init__(self, ground: LineGround) -> None:
        self.ground = ground
        self.bursts: deque[tuple[int, int, bool]] = deque(maxlen=_KEPT)
        self.since = self.over = -1
        self.last: Asked | None = None
        self.reply: Answered | None = None
        self.stray = self.held = 0
        self.parted = False

    def strays(self, start: int, end: int) -> None:
        """A burst that need not be the answer to the last request."""
        self.stray = max(self.stray, self.ground.known(start, end))

    def early(self, last: Asked, at: int) -> bool:
        """Whether a controller that goes on at `at` ns cannot have timed out."""
        time_out = self.ground.time_out
        return at - last.start < (last.response if time_out is None else min(last.response, time_out))

    def took(self, end: int, at: int) -> bool:
        """Whether the burst that ended at `end` is the reply which let the controller go on at `at` ns: it goes on too
        early for a time-out, and nothing else has come to it since its last request.
        """
        last, reply = self.last, self.reply
        if last is None or reply is None or reply.end != end or end > at or not self.early(last, at):
            return False
        return self.stray <= last.start and self.ground.protocol.decode_reply(reply.data, last.request) is not None


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

    def __init__(self, ground: Ground, scene: Scene) -> None:
        super().__init__(ground, scene)
        self._lines = {number: _Line(ground) for number, ground in self.ground.lines.items()}

    def asked(self, event: Asked) -> None:
        line, start, end = self._lines[event.line], event.start, event.end
        if self.hides and self.hidden(event.line, start, end, "requests", "late-requests"):
            line.last = None
            return  # it may be somebody else's, or have been held back
        if not self._deaf(line, start):
            self._request(line, start)
        line.bursts.append((start, end, True))
        last, reply = line.last, line.reply
        if last is not None and reply is not None and not line.early(last, start):
            line.strays(reply.start, reply.end)  # it may have timed out without it
        line.last, line.reply = event, None

    def others_asked(self, event: Asked) -> None:
        line = self._lines[event.line]
        line.strays(event.start, event.end)
        self._others(line, event.start, event.end)

    def answered(self, event: Answered) -> None:
        line = self._lines[event.line]
        if event.asked is not line.last or event.exact or line.reply is not None:
            line.strays(event.start, event.end)
        else:
            line.reply = event
        self._burst(line, event)

    def unasked(self, event: Answered) -> None:
        line = self._lines[event.line]
        line.strays(event.start, event.end)
        self._burst(line, event)

    def _burst(self, line: _Line, event: Answered) -> None:
        """A camera has sent."""
        end = event.end
        if not event.data:  # a steady level has no characters: no receiver knows how long it lasts
            if event.camera == line.held:
                line.held = 0
        elif not (line.held or line.parted):
            if event.exact:
                if self._full_of_holes(line.ground, event):
                    return
                end -= self._unheard(line, event)
            self._others(line, event.start, end)
        else:
            self._busy(line, event.start, end)

    @staticmethod
    def _full_of_holes(ground: LineGround, event: Answered) -> bool:
        """Whether a receiver may find the pauses that a controller waits for inside a burst: a character at a much
        lower baud may be one start bit to it, and then a steady level.
        """
        each = (event.end - event.start) // len(event.data)
        return each - ground.char >= max(ground.silence, 2 * ground.char)

    @staticmethod
    def _unheard(line: _Line, event: Answered) -> int:
        """By how many ns a receiver of the line may hear a burst end before it does."""
        each, char = (event.end - event.start) // len(event.data), line.ground.char
        collided = event.start < line.over  # a receiver may be out of step with it from there on
        if collided or event.reply is None or abs(each - char) > char // 5:
            return each  # else at another baud: its last character may end in ones, as silence does
        return char // 10  # a stop bit more than the line's is silence to every other station

    def took_effect(self, record: tuple[Any, ...]) -> None:
        """While a camera holds the pair at space, nobody hears the others."""
        _, _, who, fault, text = record
        if fault == "stuck-transmitter" and text == "space" and who in self.ground.camera_lines:
            self._lines[self.ground.camera_lines[who]].held = who

    def changed(self, record: tuple[Any, ...]) -> None:
        _, _, who, what, text = record
        if what in _PARTS and who in self._lines:
            self._lines[who].parted = text.startswith("on")

    def _others(self, line: _Line, start: int, end: int) -> None:
        """A burst of another station. It ended later than a request, so it is reported later: the request may have
        begun inside it.
        """
        ground = line.ground
        self._busy(line, start, end)
        for since, over, mine in reversed(line.bursts):  # bursts come by their ends
            if over <= start:
                break
            if mine and ground.known(start, end) < since < end and not self._deaf(line, since):
                self._into(ground.number, since, start)
        line.bursts.append((start, end, False))

    @staticmethod
    def _busy(line: _Line, start: int, end: int) -> None:
        """A burst of another station, heard or not: whether others leave a gap."""
        if line.over < 0:
            line.since = line.over = start
        elif start - line.over >= line.ground.silence:
            line.since = start
        line.over = max(line.over, end)

    def _request(self, line: _Line, at: int) -> None:
        self.judged += 1
        self.state = "judging"
        ground, gap = line.ground, -1
        for start, end, mine in reversed(line.bursts):  # in order of ends: the first that is over ended last
            if (start + ground.reaction if mine else ground.known(start, end)) >= at and not line.took(end, at):
                continue  # its sender could not know of this burst
            if end <= at:
                gap = at - end
                break
            self._into(ground.number, at, start)
        if 0 <= gap < ground.silence - ground.char // 100:
            endless = at - line.over < ground.silence and at - line.since > POLICY.longest_drain
            if line.over < 0 or not endless:
                self.fail(
                    at,
                    ground.number,
                    f"a request {gap / 1e6:.3f} ms after the frame before, {ground.silence / 1e6:g} ms are wanted",
                )

    def _deaf(self, line: _Line, at: int) -> bool:
        """Whether the converter may hold bursts of others back: then nobody knows when the controller knew of them."""
        return bool(self.hides) and self.hidden(line.ground.number, at, at, "replies", "late-replies")

    def _into(self, line: int, at: int, since: int) -> None:
        self.fail(at, line, f"a request while the line has been busy for {(at - since) / 1e6:.3f} ms")


JUDGE = QuietLine
