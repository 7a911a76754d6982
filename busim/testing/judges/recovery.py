"""Recovery: is everything normal soon after a fault is over?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

from busim.protocols import READ
from busim.testing.judging import ENDED, OUTCOME, SENT, About, Answered, Asked, Ground, Judge, Scene, Settled
from busim.testing.judging.hidden import outage
from busim.testing.judging.pauses import Pauses

_MOST_FAILED: Final = 2  # exchanges in a row without a cause
_LONGEST_PAUSE: Final = 5_000_000_000  # ns between two probes of a camera that is offline
_SLACK: Final = 500_000_000  # ns: other cameras and operators may go first


@dataclass(slots=True)
class _Left:
    """A camera since its last request: the instant of it (ns), and the chatter of its line by then."""

    since: int = 0
    chatter: int = 0


class Recovery(Judge):
    """Counts exchanges that fail without a cause, and checks whether each camera is polled again."""

    about = About(
        name="recovery",
        title="Recovery: a past fault leaves no trace",
        passes="at most 2 exchanges in a row fail for the controller although the camera answered soundly; each "
        "camera is polled again within the longest pause between probes, so its return is noticed; and a camera of "
        "which fewer than 3 exchanges have failed keeps its polls: no pause is twice the longest one before the first "
        "fault",
        catches="a parser that never resynchronises, a half frame that stays, a controller that gives up a camera, "
        "too early or for ever, or never connects again",
        needs="bursts; for the first part the controller's own report of its exchanges",
        bound="2 exchanges on the wire, 5 s from probe to probe, and one time-out; 3 failures before a camera is given "
        "up (common practice, no source). Twice the usual pause, and at least 300 ms more (our own choice). A reply "
        "with noise beside it may be dropped: MODBUS over Serial Line V1.02 ends a frame by silence. Time in which "
        "noise or bursts that nobody asked for leave no quiet does not count: a controller that listens waits",
    )

    def __init__(self, ground: Ground, scene: Scene) -> None:
        super().__init__(ground, scene)
        self._lost: dict[int, int] = {}  # line -> failed in a row although answered
        self._left: dict[tuple[int, int], _Left] = {}  # line, camera
        self._wait = 0
        self._pauses = Pauses()

    def unasked(self, event: Answered) -> None:
        self._pauses.unasked(event.line, event.start, event.end)

    def heard(self, record: tuple[Any, ...]) -> None:
        _, line, station, first, last, _, _ = record
        if station not in self.ground.ours:
            return
        past = self.pasts[line]
        if past.request is None or past.answers:  # else the exchange counts whole
            self._pauses.unasked(line, first, last)
        # A receiver may take noise and a reply for one frame, which is damaged.
        way = self.ground.lines[line].way
        self._pauses.disturbed(line, last + way.packing + 2 * way.latency)

    def asked(self, event: Asked) -> None:
        line, camera, at = event.line, event.camera, event.start
        if camera and event.request.verb == READ:
            pause = self._pauses.polled(event)
            if pause is not None:
                self._neglected(line, camera, at, pause)
        left = self._left.get((line, camera))
        if left is None:
            left = self._left[line, camera] = _Left()
        elif at - left.since > _LONGEST_PAUSE:
            self._asked_again(line, camera, left, at)
        left.since = at
        left.chatter = self._pauses.chatter.sums.get(line, 0)

    def settled(self, event: Settled) -> None:
        asked = event.asked
        line = asked.line
        if asked.camera:
            held_back = bool(self.hides) and self.hidden(line, asked.start, asked.start, "late-requests")
            self._pauses.settled(event, held_back)
        if asked.wait > self._wait:
            self._wait = asked.wait
        claim = self.pasts[line].claim
        if not event.answers or not event.sure or not claim:
            return
        outcome, ended = claim[OUTCOME], claim[ENDED]
        if claim[3] != asked.camera or not claim[SENT] <= asked.start <= ended:
            return
        if outcome == "ok" or outcome == "refused" or not event.answers[0].in_time:
            self.judged += 1
            self._lost[line] = 0
            return
        lost = self._lost[line] = self._lost.get(line, 0) + 1
        self.state = "losing"
        if lost > _MOST_FAILED:
            self.fail(
                ended,
                line,
                f"{lost} exchanges in a row failed for the controller although the cameras answered "
                f"soundly and in time, now {self.ground.name(asked.camera)}",
            )

    def entered(self, record: tuple[Any, ...]) -> None:
        if record[4] == "open":
            self._linked(record[2], record[1])

    def took_effect(self, record: tuple[Any, ...]) -> None:
        if record[3] in ("reboot", "clients", "idle"):
            self._linked(record[2], record[1] + outage(record[4]))
        elif record[2] in self.ground.port_lines:
            self._pauses.disturbed(self.ground.port_lines[record[2]], record[1])

    def _linked(self, port: int, at: int) -> None:
        """A connection came or went: without one nothing can be polled, so the pause counts from here."""
        line = self.ground.port_lines.get(port)
        if line is not None:
            self._pauses.disturbed(line, at)
        for (of, _), left in self._left.items():
            if of == line:
                left.since = max(left.since, at)

    def _asked_again(self, line: int, camera: int, left: _Left, at: int) -> None:
        """Whether a camera was left alone for longer than the longest pause."""
        if not camera:
            return
        ground, last = self.ground.lines[line], left.since
        chatter = self._pauses.chatter.sums.get(line, 0) - left.chatter
        allowed = max(_LONGEST_PAUSE, ground.slowest) + 2 * self._wait + _SLACK + chatter
        if at - last > allowed and not self.hidden(line, at - allowed, at, "swallowed-requests", "late-requests"):
            self.judged += 1
            self.fail(at, line, f"{self.ground.name(camera)} was not asked for {(at - last) / 1e9:.1f} s")

    def _neglected(self, line: int, camera: int, at: int, pause: tuple[int, int, int]) -> None:
        waited, allowed, failed = pause
        self.judged += 1
        why = f"only {failed} of its exchanges failed" if failed else "it answers soundly and in time"
        self.fail(
            at,
            line,
            f"{self.ground.name(camera)} was not polled for {waited / 1e6:.0f} ms, though {why}; {allowed / 1e6:.0f} "
            "ms are allowed",
        )

    def ended(self, until: int) -> None:
        for line, camera, pause in self._pauses.left(until):
            self._neglected(line, camera, until, pause)
        for (line, camera), left in self._left.items():
            self._asked_again(line, camera, left, until)


JUDGE = Recovery
