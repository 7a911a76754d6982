"""Pauses between two polls of a camera, as the wire shows them: usual ones, and those that are too long.

A controller polls each camera at some rate of its own. One or two failed polls, of this camera or of others, must not
change that: a camera that is left alone was given up too early, or its sound replies are not understood. So a pause is
compared with the longest one before anything went wrong. Exchanges that failed do not count as part of it.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from typing import Final

from busim.testing.judging.chatter import Chatter
from busim.testing.judging.events import Asked, Settled

_LEAST: Final = 5  # usual pauses to compare with
_CLEAN: Final = 1_000_000_000  # ns over which they must have been seen
_TWICE: Final = 2
_SLACK: Final = 300_000_000  # ns: operators' moves go first
_GIVEN_UP: Final = 3  # failed exchanges after which a camera may be given up


@dataclass(slots=True)
class _Camera:
    first: int = -1  # ns, when first polled
    last: int = 0
    wasted: int = 0  # of its line when it was last polled
    usual: int = 0
    count: int = 0
    failed: int = 0  # exchanges since its last sound reply
    known: bool = False  # that reply has come, and nothing has disturbed the line since


@dataclass(slots=True)
class _Line:
    cameras: defaultdict[int, _Camera] = field(default_factory=lambda: defaultdict(_Camera))
    wasted: int = 0  # ns spent in failed exchanges
    spoilt: bool = False
    disturbed: int = -1


class Pauses:
    """The pauses of all cameras of a run, and the `chatter` in them."""

    def __init__(self) -> None:
        self.chatter = Chatter()
        self._lines: defaultdict[int, _Line] = defaultdict(_Line)

    def disturbed(self, line: int, at: int) -> None:
        """Something between the line and the controller has changed: what it knows now is not known."""
        of = self._lines[line]
        of.disturbed = at
        of.spoilt |= bool(of.cameras)
        for camera in of.cameras.values():
            camera.known = False

    def unasked(self, line: int, start: int, end: int) -> None:
        """A camera has sent a burst that nobody asked for: meanwhile, and until quiet has returned, a controller that
        listens waits.
        """
        of = self._lines[line]
        of.wasted += self.chatter.unasked(line, start, end)
        of.spoilt |= bool(of.cameras)

    def settled(self, event: Settled, held_back: bool) -> None:
        """An exchange is over. `held_back`: its request may have waited in a converter, so that a reply which is in
        time on the line came too late.
        """
        asked = event.asked
        line = self._lines[asked.line]
        camera = line.cameras[asked.camera]
        sure = event.sure and not held_back
        if event.answers and event.answers[0].in_time:
            if not camera.known or camera.failed >= _GIVEN_UP:  # it is back: its pauses count from here
                camera.last, camera.wasted = event.over, line.wasted
            camera.known = sure and line.disturbed < asked.start
            camera.failed = 0
            line.spoilt |= not sure
            return
        line.wasted += event.over - asked.start
        line.spoilt = True
        camera.failed += 1
        camera.known &= sure

    def polled(self, event: Asked) -> tuple[int, int, int] | None:
        """A poll begins. The pause before it, the longest allowed (ns) and the failed exchanges, if it is too long."""
        line, start = self._lines[event.line], event.start
        camera = line.cameras[event.camera]
        pause, found = start - camera.last, None
        if pause > camera.usual:
            found = self._too_long(line, camera, start)
        if camera.first < 0:
            camera.first = start
        elif not line.spoilt:
            if pause > camera.usual:
                camera.usual = pause
            camera.count += 1
        camera.last, camera.wasted = start, line.wasted
        return found

    def left(self, until: int) -> list[tuple[int, int, tuple[int, int, int]]]:
        """At the end of the run: lines and cameras that have been left alone for too long."""
        found = []
        for number, line in self._lines.items():
            for who, camera in line.cameras.items():
                pause = self._too_long(line, camera, until)
                if pause is not None:
                    found.append((number, who, pause))
        return found

    @staticmethod
    def _too_long(line: _Line, camera: _Camera, at: int) -> tuple[int, int, int] | None:
        if not camera.known or camera.failed >= _GIVEN_UP or camera.count < _LEAST:
            return None
        if camera.usual * camera.count < _CLEAN // _TWICE:
            return None
        pause = at - camera.last - (line.wasted - camera.wasted)
        allowed = max(_TWICE * camera.usual, camera.usual + _SLACK)
        return (pause, allowed, camera.failed) if pause > allowed else None
