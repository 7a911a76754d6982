"""Truthful status: does the controller know which cameras are online?"""

from __future__ import annotations

from typing import Any, Final

from busim.testing.judging import NO_HOOK, About, Ground, Judge, Scene, Settled

_AFTER: Final = 1_000_000_000  # ns of failure, with the count of failed polls


class TruthfulStatus(Judge):
    """Compares the online and offline beliefs of the controller with the cameras that answer."""

    about = About(
        name="truthful-status",
        title="Truthful status: online and offline are right",
        passes="a camera that answers is called online within one cycle; a silent one is called offline by the later "
        "of 3 failed exchanges and 1 s, and none earlier",
        catches="a camera shown with stale values, a flapping status, one camera's failure taken for that of the "
        "whole line",
        needs="beliefs (online, offline); without them it says `inconclusive: no hook`",
        bound="3 failed exchanges and 1 s, whichever is later; one cycle for online (common practice, no source); "
        "plus a time-out for the last exchange",
    )

    def __init__(self, ground: Ground, scene: Scene) -> None:
        super().__init__(ground, scene)
        self._online: dict[int, bool] = {}
        self._told: dict[int, int] = {}  # camera -> instant of that belief
        self._failures: dict[int, list[int]] = {}  # camera -> starts of failed exchanges in a row
        self._doubt: dict[int, bool] = {}  # something may have been heard otherwise
        self._due: dict[int, tuple[int, int, bool]] = {}  # camera -> deadline, line, the status to believe
        self._wait: dict[int, int] = {}  # line -> the longest time-out, ns

    def settled(self, event: Settled) -> None:
        asked = event.asked
        line, camera = asked.line, asked.camera
        if not camera:
            return
        if asked.wait > self._wait.get(line, -1):
            self._wait[line] = asked.wait
        if self._due:
            self._overdue(event.over)
        if not event.sure or (self.hides and self.hidden(line, asked.start, event.over, "late-requests")):
            self._doubt[camera] = True  # it may have been answered, or not: start counting again
            self._failures[camera] = []
            self._due.pop(camera, None)
            return
        if event.answers:
            first = event.answers[0]
            if self._failures.get(camera):
                self._failures[camera] = []
            self._doubt[camera] = not first.in_time
            if first.in_time and self._online.get(camera) is False and first.end > self._told.get(camera, 0):
                self._due.setdefault(camera, (asked.start + self._cycle(line), line, True))
            elif self._due:
                self._due.pop(camera, None)
            return
        failed = self._failures.setdefault(camera, [])
        if failed and self.hides and self.hidden(line, failed[-1], asked.start, "swallowed-requests"):
            self._doubt[camera] = True
            failed.clear()  # something else may have answered one in between, which is on no line
        failed.append(asked.start)
        due = self._due.get(camera)
        if due is not None and due[2]:
            del self._due[camera]
        if len(failed) >= self.ground.offline_after and asked.start - failed[0] >= _AFTER:
            self.state = "silent"
            if self._online.get(camera, False):
                self._due.setdefault(camera, (asked.start + self._cycle(line), line, False))

    def _cycle(self, line: int) -> int:
        """ns that all cameras of a line and one exchange more take at the longest, and a belief after them."""
        ground = self.ground.lines[line]
        return (len(ground.cameras) + 1) * (self._wait[line] + ground.silence) + self.ground.lag

    def took_effect(self, record: tuple[Any, ...]) -> None:
        """A connection broke: exchanges fail that are on no line."""
        _, _, who, fault, _ = record
        if fault in ("reboot", "clients", "idle") and who in self.ground.port_lines:
            for camera in self.ground.lines[self.ground.port_lines[who]].cameras:
                self._doubt[camera] = True
                self._failures[camera] = []

    def believed(self, record: tuple[Any, ...]) -> None:
        _, line, camera, at, kind, _, _, _, _ = record
        if kind not in ("online", "offline"):
            return
        if self._due:
            self._overdue(at)
        self.judged += 1
        self.state = kind
        online = kind == "online"
        self._online[camera] = online
        self._told[camera] = at
        due = self._due.get(camera)
        if due is not None and due[2] is online:
            del self._due[camera]
        failed = self._failures.get(camera, [])
        # It sent the first of them before that was on the line.
        after = _AFTER - self.ground.lines[line].way.latency
        # The last exchange is not settled yet: it counts as one more.
        if (
            not online
            and not self._doubt.get(camera)
            and not self.hidden(line, at, at, "requests", "replies", "late-requests")
            and (len(failed) + 1 < self.ground.offline_after or not failed or at - failed[0] < after)
        ):
            exchanges = f"{len(failed) + 1} failed exchange{'s' if failed else ''}"
            seconds = (at - failed[0]) / 1e9 if failed else 0
            self.fail(at, line, f"{self.ground.name(camera)} is called offline after {exchanges} in {seconds:.2f} s")

    def _overdue(self, at: int) -> None:
        for camera, (by, line, online) in list(self._due.items()):
            if at > by:
                del self._due[camera]
                self.judged += 1
                self.fail(
                    at,
                    line,
                    f"{self.ground.name(camera)} {'answers' if online else 'is silent'} and is not called "
                    f"{'online' if online else 'offline'} by {by / 1e9:.3f} s",
                )

    def ended(self, until: int) -> None:
        self._overdue(until)

    def lacks(self) -> str:
        return "" if self.ground.hooked else NO_HOOK


JUDGE = TruthfulStatus
