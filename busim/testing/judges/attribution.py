"""Attribution: did a value stored for a camera come from that camera?"""

from __future__ import annotations

from typing import Any, Final

from busim.protocols import WRITE, Reply, Request
from busim.testing.judging import NO_HOOK, OUTCOME, READ_AT, About, Answered, Ground, Judge, Scene

_KEPT: Final = 16  # values of one parameter that a camera sent, with their instants
_SHIFTED: Final = 2  # consecutive replies to none of their requests: one late reply may be taken once, no more


class Attribution(Judge):
    """Compares each value the controller believes with the values that camera sent for that parameter."""

    about = About(
        name="attribution",
        title="Attribution: each value belongs to its camera and its request",
        passes="each value stored for a camera is the last that this camera sent for this parameter, and no two "
        "exchanges in a row end with a reply to an earlier request",
        catches="late replies taken for the answer to the next request, replies with the wrong ID, answers "
        "to other clients, stale bytes after connecting",
        needs="beliefs (values) of the controller; without them it says `inconclusive: no hook`",
        bound="the canary rule (common practice, no source): cameras start with distinct values and a reading counts "
        "requests, so a value identifies its camera and its request. A protocol without a transaction number cannot "
        "recognise one late reply of the same shape, so one is allowed",
    )

    def __init__(self, ground: Ground, scene: Scene) -> None:
        super().__init__(ground, scene)
        # camera -> parameter -> (ns, value), latest last
        self._sent: dict[int, dict[str, list[tuple[int, int]]]] = {camera: {} for camera in ground.camera_lines}
        self._owners: dict[int, tuple[int, str]] = {}  # value -> its last sender
        self._shifted: dict[int, int] = {}
        if not ground.hooked:  # values count where beliefs are judged
            self.ignores = frozenset(("answered", "believed"))
        self._exact: dict[int, int] = {}  # line -> end of the last burst that may have been heard otherwise

    def unasked(self, event: Answered) -> None:
        if event.poses or event.exact:  # on top of the answer it is as good as that, for all that can be heard
            self._exact[event.line] = event.end

    def heard(self, record: tuple[Any, ...]) -> None:
        """Noise may make another sound reply of the camera's: the check of a protocol lets some of it through."""
        _, line, station, first, last, data, _ = record
        if station not in self.ground.ours:
            return
        for asked, reply in self.pasts[line].replies_in(data, first, self.ground.lines[line].protocol):
            if not reply.refused:
                self._keep(line, asked.camera, last, asked.request, reply)

    def answered(self, event: Answered) -> None:
        asked, reply = event.asked, event.reply
        if asked is None or reply is None or reply.refused:
            return
        self._keep(event.line, event.camera, event.end, asked.request, reply)
        # Another client of the converter may have asked in between: a reply that fits both requests may answer either.
        before = self.pasts[event.line].unanswered
        if before is not None and self.hidden(event.line, asked.start, event.end, "added-requests"):
            fitting = self.ground.lines[event.line].protocol.decode_reply(event.data, before.request)
            if fitting is not None and not fitting.refused:
                self._keep(event.line, event.camera, event.end, before.request, fitting)

    def _keep(self, line: int, camera: int, end: int, request: Request, reply: Reply) -> None:
        """The camera has sent the values of this reply by `end` ns, or has acknowledged those of the request."""
        values = request.values if request.verb == WRITE else reply.values
        names = self.ground.lines[line].cameras[camera].names
        sent = self._sent[camera]
        for key, value in enumerate(values, reply.key):
            name = names.get(key)
            if name is not None:
                kept = sent.get(name)
                if kept is None:
                    kept = sent[name] = []
                elif kept[-1][1] == value:
                    kept[-1] = (end, value)
                    continue
                self._owners[value] = camera, name
                kept.append((end, value))
                if len(kept) > _KEPT:
                    del kept[0]

    def believed(self, record: tuple[Any, ...]) -> None:
        _, line, camera, at, kind, name, text, _, _ = record
        if kind != "value":
            return
        self.judged += 1
        self.state = "judging"
        value = int(text)
        kept, ground = self._sent.get(camera, {}).get(name, []), self.ground.lines[line]
        # Behind a converter the next value may be on the line while this one is still on its way.
        lag = self.ground.lag + (ground.reaction if ground.packet else ground.char)
        since, until = self.pasts[line].packet
        together = since if at - lag <= until else at - lag
        for number in range(len(kept) - 1, -1, -1):
            if kept[number][1] == value:
                if number == len(kept) - 1 or kept[number + 1][0] >= min(together, at - lag):
                    return
                break
        if at - lag <= self._exact.get(line, -1) or self.hidden(line, at, at, "late-replies"):
            return
        if self.met(line, at - lag, at):
            return
        self.fail(at, line, f"{name} of {self.ground.name(camera)} = {value}: {self._whose(camera, name, value)}")

    def _whose(self, camera: int, name: str, value: int) -> str:
        if any(sent == value for _, sent in self._sent.get(camera, {}).get(name, ())):
            return "this camera has sent another value since"
        owner = self._owners.get(value)
        if owner is None:
            return "no camera sent this value"
        return f"this value was sent by {self.ground.name(owner[0])} as its {owner[1]}"

    def claimed(self, record: tuple[Any, ...]) -> None:
        if record[OUTCOME] != "ok":
            return
        if record[READ_AT] >= 0:
            self._shifted[record[3]] = 0
            return
        _, line, _, camera, _, _, _, _, _, sent, ended, _, _, _, exact = record
        if exact:
            return  # the request met another burst: the camera may have missed it
        if (
            sent < self.pasts[line].by_another <= ended
            or self.met(line, sent, ended)
            or self.hidden(line, sent, ended, "late-replies")
        ):
            self._shifted[camera] = 0
            return
        count = self._shifted[camera] = self._shifted.get(camera, 0) + 1
        self.state = "shifted"
        if count >= _SHIFTED:
            self.fail(
                ended,
                line,
                f"{count} answers in a row of {self.ground.name(camera)} belong to earlier requests; the "
                f"camera had not served the one sent at {sent / 1e9:.6f} s",
            )

    def lacks(self) -> str:
        return "" if self.ground.hooked else NO_HOOK


JUDGE = Attribution
