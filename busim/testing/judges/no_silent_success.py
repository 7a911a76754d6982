"""No silent success: does a move count as done only after the camera's acknowledgement?"""

from __future__ import annotations

from typing import Any

from busim.protocols import READ
from busim.testing.judging import NO_HOOK, OUTCOME, About, Answered, Ground, Judge, Scene


class NoSilentSuccess(Judge):
    """Compares each move that the controller calls done with the acknowledgements on the wire."""

    about = About(
        name="no-silent-success",
        title="No silent success: done means acknowledged by the right camera",
        passes="a move counts as done only after a sound acknowledgement of the camera with this bus ID, or after the "
        "value was read back",
        catches="success before the acknowledgement, an echo taken for one, an acknowledgement of another camera, "
        "settings that were never applied",
        needs="the controller's own report: exchange records of a master that busim plays, or beliefs",
        bound="none: no move may be called done too early",
    )

    def __init__(self, ground: Ground, scene: Scene) -> None:
        super().__init__(ground, scene)
        if ground.played or not ground.hooked:  # values count where beliefs are judged
            self.ignores = frozenset(("answered", "believed"))
        self._wanted: dict[tuple[int, str], str] = {}
        self._known: set[tuple[int, str, str]] = set()

    def answered(self, event: Answered) -> None:
        asked, reply = event.asked, event.reply
        if asked is None or reply is None or reply.refused:
            return
        camera = self.ground.lines[event.line].cameras[event.camera]
        values = reply.values if asked.request.verb == READ else asked.request.values
        for number, value in enumerate(values):
            self._known.add((event.camera, camera.names.get(reply.key + number, ""), str(value)))

    def claimed(self, record: tuple[Any, ...]) -> None:
        if record[5] != "command" or record[OUTCOME] != "ok":
            return
        _, line, _, camera, address, _, work, _, _, sent, ended, _, _, _, _ = record
        self.judged += 1
        self.state = "judging"
        past = self.pasts[line]
        for answer in past.sound:
            asked, reply = answer.asked, answer.reply
            if asked is None or asked.request.verb == READ or asked.request.address != address:
                continue
            if reply is not None and not reply.refused and answer.start <= ended and sent < answer.end:
                return
        if sent < past.by_another <= ended or self.hidden(line, sent, ended, "late-replies"):
            return
        if self.met(line, sent, ended):
            return
        self.fail(
            ended,
            line,
            f"{work} of {self.ground.name(camera)}: called done, but bus ID {address} has not acknowledged it",
        )

    def intended(self, record: tuple[Any, ...]) -> None:
        _, _, camera, _, name, value, _, _ = record
        self._wanted[camera, name] = value

    def believed(self, record: tuple[Any, ...]) -> None:
        _, line, camera, at, kind, name, value, _, _ = record
        if kind != "value" or self._wanted.get((camera, name)) != value:
            return
        self.judged += 1
        if (camera, name, value) not in self._known and not self.hidden(line, at, at, "late-replies"):
            self.fail(
                at,
                line,
                f"{name} of {self.ground.name(camera)} is believed to be {value}, as wanted, but the "
                "camera has neither acknowledged nor shown it",
            )

    def lacks(self) -> str:
        return "" if self.ground.played or self.ground.hooked else NO_HOOK


JUDGE = NoSilentSuccess
