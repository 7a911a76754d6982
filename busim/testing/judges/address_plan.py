"""Address plan: does every bus ID answer exactly once, with the same canary?"""

from __future__ import annotations

from typing import Any, Final

from busim.testing.judging import About, Ground, Judge, Scene, Settled

_TIMES: Final = 10


class AddressPlan(Judge):
    """Counts the cameras that answer at each bus ID of the plan. It judges the installation, not the master."""

    about = About(
        name="address-plan",
        title="Address plan: each bus ID is one camera",
        passes="every bus ID of the plan was polled 10 times or more after the last power cycle, and each time exactly "
        "one camera answered, always the same one",
        catches="two cameras with one ID, a lost address, a camera at a wrong ID",
        needs="bursts: at least 10 requests to each ID",
        bound="10 answers (common practice, no source)",
    )

    def __init__(self, ground: Ground, scene: Scene) -> None:
        super().__init__(ground, scene)
        self._asked: dict[tuple[int, int], int] = {}
        self._who: dict[tuple[int, int], int] = {}

    def took_effect(self, record: tuple[Any, ...]) -> None:
        if record[3] == "camera" and record[4] == "has booted":
            self._asked.clear()
            self._who.clear()

    def settled(self, event: Settled) -> None:
        asked = event.asked
        if not asked.camera:
            return
        key, answers = (asked.line, asked.request.address), event.answers
        if len(answers) == 1 and not event.others and self._who.get(key) == answers[0].camera:
            self._asked[key] += 1
            return
        senders = {one.camera for one in answers}
        if event.others:  # cameras with another planned bus ID that answer under this one
            decode = self.ground.lines[asked.line].protocol.decode_reply
            senders.update(one.camera for one in event.others if decode(one.data, asked.request) is not None)
        if not senders:
            return
        self._asked[key] = self._asked.get(key, 0) + 1
        self.state = "counting"
        if len(senders) > 1:
            names = " and ".join(sorted(self.ground.name(one) for one in senders))
            self.fail(asked.start, asked.line, f"bus ID {asked.request.address} is answered by {names}")
            return
        (camera,) = senders
        if self._who.setdefault(key, camera) != camera:
            self.fail(
                asked.start,
                asked.line,
                f"bus ID {asked.request.address} is answered by {self.ground.name(camera)}, and "
                f"was by {self.ground.name(self._who[key])}",
            )

    def ended(self, until: int) -> None:
        wanted = [(line.number, address) for line in self.ground.lines.values() for address in line.by_address]
        self.judged = sum(1 for key in wanted if self._asked.get(key, 0) >= _TIMES)
        self._short = [
            self.ground.lines[line].name + f" ID {address}"
            for line, address in wanted
            if self._asked.get((line, address), 0) < _TIMES
        ]

    def lacks(self) -> str:
        return f"answered fewer than {_TIMES} times: {', '.join(self._short[:6])}" if self._short else ""


JUDGE = AddressPlan
