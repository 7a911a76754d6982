"""Bounded work: does a controller give up after a few attempts?"""

from __future__ import annotations

from typing import Any, Final

from busim.protocols import READ
from busim.testing.judging import About, Ground, Judge, Scene, Settled

_MOST: Final = 4  # attempts for one action


class BoundedWork(Judge):
    """Counts attempts for one action, and exchanges with a silent camera while others wait."""

    about = About(
        name="bounded-work",
        title="Bounded work: few attempts, and no growing queue",
        passes="no write is on the wire more than 4 times per intent, and no silent camera is polled more than 4 "
        "times in a row while others wait",
        catches="retries that multiply, one slow camera that delays all others",
        needs="bursts; intents, to distinguish a repeat from another move",
        bound="4 attempts per action (common practice, no source)",
    )

    def __init__(self, ground: Ground, scene: Scene) -> None:
        super().__init__(ground, scene)
        self._tries: dict[tuple[int, int, int, tuple[int, ...]], int] = {}
        self._row: dict[int, tuple[int, int]] = {}  # line -> camera asked in vain, how often in a row
        self._polled: dict[int, dict[int, int]] = {}  # line -> camera that has answered, its failed polls since

    def intended(self, record: tuple[Any, ...]) -> None:
        _, line, camera, _, name, value, _, _ = record
        ground = self.ground.lines[line].cameras[camera]
        for key in [one for one in self._tries if one[:2] == (line, camera) and ground.names.get(one[2]) == name]:
            if value == " ".join(map(str, key[3])):
                self._tries[key] -= _MOST  # the same move again has attempts of its own
            else:
                del self._tries[key]

    def settled(self, event: Settled) -> None:
        asked = event.asked
        line, camera, request = asked.line, asked.camera, asked.request
        self.judged += 1
        self.state = "working"
        if self.hides and self.hidden(line, event.before, asked.start, "lost-connection"):
            self._row.pop(line, None)
            self._polled.pop(line, None)  # any of them may be offline by now
        if self.hides and self.hidden(line, asked.start, asked.start, "added-requests", "late-requests"):
            self._row.pop(line, None)
            self._polled.get(line, {}).pop(camera, None)
            return  # it may be another client's, the repeat of a gateway, or have come late with others
        if request.verb != READ:
            key = line, camera, request.key, request.values
            tries = self._tries[key] = self._tries.get(key, 0) + 1
            if event.answers and event.sure and tries <= _MOST:
                self._tries[key] = 0
            elif tries > _MOST:
                self.fail(
                    asked.start, line, f"{request.verb} {request.key} of {self.ground.name(camera)}: attempt {tries}"
                )
            return
        polled = self._polled.get(line)
        if polled is None:
            polled = self._polled[line] = {}
        if event.answers:
            if event.sure:
                polled[camera] = 0
            else:  # it may have failed for the controller, and be offline by now
                polled.pop(camera, None)
            self._row[line] = camera, 0
            return
        if camera in polled:
            polled[camera] += 1
        of, count = self._row.get(line, (camera, 0))
        count = count + 1 if of == camera else 1
        self._row[line] = camera, count
        if count <= _MOST:
            return
        # One that has failed as often may be offline: then it waits for its next probe, not for its turn.
        others = sum(1 for who, failed in polled.items() if who != camera and failed < self.ground.offline_after)
        if others:
            self.fail(
                asked.start,
                line,
                f"{self.ground.name(camera)} is asked in vain {count} times in a row, while {others} more "
                f"{'camera waits' if others == 1 else 'cameras wait'}",
            )


JUDGE = BoundedWork
