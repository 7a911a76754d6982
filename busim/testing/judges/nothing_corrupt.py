"""Nothing corrupt accepted: does the controller accept only sound frames of the right camera as answers?"""

from __future__ import annotations

from collections import deque
from typing import Any, Final

from busim.protocols import Reply, Request
from busim.testing.judging import ENDED, NO_HOOK, OUTCOME, SENT, About, Answered, Ground, Judge, Scene

_KEPT: Final = 16


class NothingCorrupt(Judge):
    """Compares each accepted answer with the characters that the controller's receiver heard."""

    about = About(
        name="nothing-corrupt",
        title="Nothing corrupt accepted: a damaged or foreign frame changes nothing",
        passes="each exchange that the controller calls good contains a sound reply of the right camera to that "
        "request, heard by its receiver without a flag",
        catches="an unverified check, noise, malformed replies, a wrong ID, the controller's own echo",
        needs="the controller's own report: exchange records of a master that busim plays, or beliefs",
        bound="none: no such frame may be accepted",
    )

    def __init__(self, ground: Ground, scene: Scene) -> None:
        super().__init__(ground, scene)
        if ground.played or not ground.hooked:  # values count where beliefs are judged
            self.ignores = frozenset(("answered", "believed"))
        self._odd: deque[tuple[int, int, int, bytes, bytes]] = deque(maxlen=_KEPT)  # line, first, last, data, flags
        self._sent: set[tuple[int, str, str]] = set()

    def answered(self, event: Answered) -> None:
        asked, reply = event.asked, event.reply
        if asked is not None and reply is not None:
            self._keep(event.line, event.camera, asked.request, reply)

    def _keep(self, line: int, camera: int, request: Request, reply: Reply) -> None:
        names = self.ground.lines[line].cameras[camera].names
        for number, value in enumerate(reply.values or request.values):
            self._sent.add((camera, names.get(reply.key + number, ""), str(value)))

    def heard(self, record: tuple[Any, ...]) -> None:
        _, line, station, first, last, data, flags = record
        if station not in self.ground.ours:
            return
        self._odd.append((line, first, last, data, flags))
        if self.ground.played:
            return
        for asked, reply in self.pasts[line].replies_in(data, first, self.ground.lines[line].protocol):
            self._keep(line, asked.camera, asked.request, reply)  # the check lets some noise through

    def claimed(self, record: tuple[Any, ...]) -> None:
        outcome = record[OUTCOME]
        if outcome not in ("ok", "refused"):
            return
        self.judged += 1
        self.state = "judging"
        line, address, sent, ended = record[1], record[4], record[SENT], record[ENDED]
        way = self.ground.lines[line].way
        for answer in reversed(self.pasts[line].sound):
            if self.pasts[line].arrived(answer, way.latency) <= sent:
                break
            if answer.start <= ended and answer.asked is not None and answer.asked.request.address == address:
                if answer.exact and not self.ground.lines[line].packet:  # a converter forwards bytes without flags
                    self._hold_against_ear(answer, line, ended)
                return
        if any(of == line and first <= ended and last >= sent for of, first, last, _, _ in self._odd):
            return  # damaged bytes may have been heard as sound ones, or a collision as a sound frame
        if self.hidden(line, sent, ended, "late-replies") or self._answered_by_another(line, sent, ended):
            return
        if self.met(line, sent, ended):
            return
        if outcome == "refused" and self.hidden(line, sent, ended, "replies"):
            return  # a gateway may refuse by itself
        self.fail(
            ended,
            line,
            f"{record[6]} of {self.ground.name(record[3])}: taken for answered, but no sound reply of bus ID "
            f"{address} was on the line {self.ground.lines[line].name}",
        )

    def _answered_by_another(self, line: int, sent: int, ended: int) -> bool:
        """Whether another camera has just sent a sound reply under the ID that was asked: nobody can know."""
        past = self.pasts[line]
        foreign, asked = past.foreign, past.request
        if asked is None or foreign is None or not sent < foreign.end <= ended:
            return False
        return self.ground.lines[line].protocol.decode_reply(foreign.data, asked.request) is not None

    def _hold_against_ear(self, answer: Answered, line: int, ended: int) -> None:
        """If the receiver heard something different, that must be sound too."""
        asked = answer.asked
        assert asked is not None
        for of, first, last, data, flags in self._odd:
            if of != line or last < answer.start or first > answer.end + self.ground.lines[line].char:
                continue
            if not any(flags):
                continue
            finder = self.ground.lines[line].protocol.stream_framer()
            finder.expect(asked.request)
            clean = bytes(value for value, flag in zip(data, flags, strict=True) if not flag)
            if answer.data in data and finder.feed(clean, ended) is None:
                self.fail(
                    ended,
                    line,
                    f"a reply was taken whose characters came with framing or parity errors: {data.hex(' ')}",
                )

    def believed(self, record: tuple[Any, ...]) -> None:
        _, line, camera, at, kind, name, value, _, _ = record
        if kind != "value":
            return
        self.judged += 1
        if (camera, name, value) not in self._sent and not self.hidden(line, at, at, "late-replies"):
            self.fail(at, line, f"{name} of {self.ground.name(camera)} = {value} is in no sound reply of this camera")

    def lacks(self) -> str:
        return "" if self.ground.played or self.ground.hooked else NO_HOOK


JUDGE = NothingCorrupt
