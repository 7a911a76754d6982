"""At most once: is each step or toggle carried out once for each intent?"""

from __future__ import annotations

from typing import Any

from busim.protocols import READ, STEP
from busim.testing.judging import About, Answered, Asked, Ground, Judge, Scene


class AtMostOnce(Judge):
    """Counts relative commands on the wire against the intents behind them."""

    about = About(
        name="at-most-once",
        title="At most once: a relative command is not repeated blindly",
        passes="the wire has no more steps of a control than operators wanted, unless the control was read back "
        "before the repeat",
        catches="a command carried out twice because its reply was lost",
        needs="intents with steps, and a protocol that has steps",
        bound="one execution per intent (common practice, no source)",
    )

    def __init__(self, ground: Ground, scene: Scene) -> None:
        super().__init__(ground, scene)
        self._wanted: dict[tuple[int, str], int] = {}

    def intended(self, record: tuple[Any, ...]) -> None:
        _, _, camera, _, name, value, _, _ = record
        if value.startswith("step"):
            self._wanted[camera, name] = self._wanted.get((camera, name), 0) + 1

    def answered(self, event: Answered) -> None:
        asked = event.asked
        if not self._wanted or asked is None or asked.request.verb != READ:
            return  # where no step was wanted, none can have been sent before
        camera = self.ground.lines[event.line].cameras[event.camera]
        for number in range(asked.request.size):
            key = event.camera, camera.names.get(asked.request.key + number, "")
            if self._wanted.get(key, 0) < 0:
                self._wanted[key] = 0

    def commanded(self, event: Asked) -> None:
        if event.request.verb != STEP:
            return
        if self.hidden(event.line, event.start, event.start, "added-requests"):
            return  # it may be another client's, or the repeat of a gateway
        camera = self.ground.lines[event.line].cameras.get(event.camera)
        if camera is None:
            return
        key = event.camera, camera.names.get(event.request.key, "")
        self.judged += 1
        self.state = "stepping"
        left = self._wanted[key] = self._wanted.get(key, 0) - 1
        if left < 0:
            self.fail(
                event.start,
                event.line,
                f"a step of {key[1]} of {camera.name} without an intent, or sent a second time without a read between",
            )


JUDGE = AtMostOnce
