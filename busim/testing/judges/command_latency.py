"""Command latency: does an operator's move reach the wire soon?"""

from __future__ import annotations

from typing import Any, Final

from busim.testing.judging import About, Answered, Asked, Ground, Judge, Scene, Settled
from busim.testing.judging.chatter import Chatter

_DRAIN: Final = 250_000_000  # ns that a controller may wait for silence after a failure
_DISTURBED: Final = 1_000_000_000  # ns after a fault's effect within which exchanges may fail, or since one failed
_AHEAD: Final = 2  # exchanges that may go first: the present one, and a due poll


# since (ns), line, value, moves ahead of it; ns of repeats and of chatter by then
_Waiting = tuple[int, int, str, int, int, int]


class CommandLatency(Judge):
    """Compares each intent with the first request that carries it out."""

    about = About(
        name="command-latency",
        title="Command latency: operators do not wait for polls",
        passes="each operator's move that no later one replaces is on the wire after the exchange under way, one poll "
        "and the moves before it with their repeats; near a fault each of these may take a time-out and a drain",
        catches="polls before commands, a dead camera's time-out and repeats before commands",
        needs="intents: the moves sent to the controller",
        bound="one exchange and gap, or one time-out with a dead camera (common practice, no source); one more poll, "
        "so that polls do not starve. Time in which noise or bursts that nobody asked for leave no quiet does not "
        "count",
    )

    def __init__(self, ground: Ground, scene: Scene) -> None:
        super().__init__(ground, scene)
        self._open: dict[tuple[int, str], _Waiting] = {}  # camera, control -> its move that is not on the wire yet
        self._chatter = Chatter()
        self._last: dict[int, Asked] = {}  # line -> the last command on the wire
        self._again: dict[int, bool] = {}  # whether it repeats the one before
        self._repeats: dict[int, int] = {}  # line -> ns that repeats without an answer have taken
        self._effect = -_DISTURBED - 1
        self._intents = False
        self._began: dict[int, int] = {}  # line -> ns of the controller's first request

    def took_effect(self, record: tuple[Any, ...]) -> None:
        self._effect = record[1]

    def unanswered(self, event: Settled) -> None:
        """A fault that lasts takes effect once, and exchanges fail as long as it lasts."""
        self._effect = event.over
        line = event.asked.line
        if self._again.get(line) and self._last[line] is event.asked:
            self._repeats[line] = self._repeats.get(line, 0) + event.over - event.asked.start

    def intended(self, record: tuple[Any, ...]) -> None:
        _, line, camera, at, name, value, _, _ = record
        self._intents = True
        ahead = sum(1 for key, one in self._open.items() if one[1] == line and key != (camera, name))
        repeats = self._repeats.get(line, 0)
        self._open[camera, name] = at, line, value, ahead, repeats, self._chatter.sums.get(line, 0)
        self.state = "waiting"

    def asked(self, event: Asked) -> None:
        self._began.setdefault(event.line, event.start)

    def unasked(self, event: Answered) -> None:
        self._chatter.unasked(event.line, event.start, event.end)

    def heard(self, record: tuple[Any, ...]) -> None:
        _, line, station, first, last, _, _ = record
        past = self.pasts[line]
        if station not in self.ground.ours:
            return
        # An exchange that fails counts with its time-out and its drain. Behind it an idle controller may listen.
        failing = None if past.answers else past.request
        if failing is None or first > failing.start + failing.wait + _DRAIN:
            self._chatter.unasked(line, first, last)

    def commanded(self, event: Asked) -> None:
        line = event.line
        camera = self.ground.lines[line].cameras.get(event.camera)
        if camera is None:
            return
        name = camera.names.get(event.request.key, "")
        wanted = self._open.get((event.camera, name))
        last = self._last.get(line)
        self._again[line] = last is not None and last.request == event.request
        self._last[line] = event
        if wanted is None:
            return
        if event.request.verb == "write" and str(event.request.values[0]) != wanted[2]:
            return  # an older one, still under way
        del self._open[event.camera, name]
        self._judge(event.start, line, name, event.camera, wanted)

    def _judge(self, at: int, line: int, name: str, camera: int, wanted: _Waiting) -> None:
        _, _, value, ahead, _, _ = wanted
        self.judged += 1
        self.state = "sent"
        since, allowed = self._since(wanted), self._allowed(wanted)
        if at - since > allowed and not self.hidden(line, since, at, "requests", "late-requests"):
            self.fail(
                at,
                line,
                f"{name} of {self.ground.name(camera)} to {value}: on the wire after {(at - since) / 1e6:.1f} ms, "
                f"{allowed / 1e6:.1f} ms allowed with {ahead} moves ahead",
            )

    def _since(self, wanted: _Waiting) -> int:
        """When its move came to a controller that had begun: a program takes a while to start."""
        return max(wanted[0], self._began.get(wanted[1], 0))

    def _allowed(self, wanted: _Waiting) -> int:
        since, line, _, ahead, repeats, chatter = wanted
        past = self.pasts[line]
        slot = past.response + self.ground.lines[line].silence
        near = since - self._effect <= _DISTURBED or self._effect >= since
        if near or self.hidden(line, since, since):
            slot = max(slot, past.wait + _DRAIN)
        under_way = 1  # a move on the wire is not ahead any more, and may fail and be repeated
        again = min(self._repeats.get(line, 0) - repeats, (ahead + under_way) * self.ground.retries * slot)
        return (_AHEAD + ahead) * slot + again + self._chatter.sums.get(line, 0) - chatter

    def ended(self, until: int) -> None:
        for (camera, name), wanted in self._open.items():
            _, line, value, *_ = wanted
            since = self._since(wanted)
            waited = until - since
            if (
                self.pasts[line].request
                and waited > self._allowed(wanted)
                and not self.hidden(line, since, until, "requests", "late-requests")
            ):
                self.judged += 1
                self.fail(
                    until,
                    line,
                    f"{name} of {self.ground.name(camera)} to {value}: not on the wire after "
                    f"{waited / 1e6:.1f} ms, at the end of the run",
                )

    def lacks(self) -> str:
        return "" if self._intents else "no operator moved anything"


JUDGE = CommandLatency
