"""Fairness: do healthy cameras keep their poll rate while others are dead?"""

from __future__ import annotations

from typing import Final

from busim.testing.judging import About, Ground, Judge, Scene, Settled

_KEEPS: Final = 0.8
_SETTLES: Final = 4_000_000_000  # ns from the first failure of a camera: 3 failures, 1 s, and the first probes
_LEAST: Final = 1_000_000_000  # ns of clean running, and of running with dead cameras, to compare
_MOST_LOST: Final = 0.02  # share of unanswered polls up to which a camera still counts as healthy


class Fairness(Judge):
    """Compares how often each register of each camera is read before any failure, and while a camera is silent."""

    about = About(
        name="fairness",
        title="Fairness: dead cameras do not slow down the others",
        passes="while some cameras are silent for 4 s or more, each register of each healthy camera keeps 80 % of its "
        "former rate",
        catches="time-outs and repeats that block the line, a queue dropped after one failure",
        needs="bursts: at least 1 s without failures and 1 s with a camera silent for more than 4 s",
        bound="80 % of the clean rate (common practice, no source), by register, since a controller may read "
        "registers at different rates",
    )

    def __init__(self, ground: Ground, scene: Scene) -> None:
        super().__init__(ground, scene)
        self._clean: dict[tuple[int, int, int], int] = {}  # line, camera, key -> reads
        self._later: dict[tuple[int, int, int], int] = {}
        self._lost: dict[tuple[int, int], int] = {}
        self._silent: dict[tuple[int, int], int] = {}  # line, camera -> since when
        self._failed: dict[int, int] = {}  # line -> first failure
        self._since: dict[int, int] = {}  # line -> when counting with dead cameras began
        self._once_silent: set[tuple[int, int]] = set()  # line, camera: not healthy throughout the counting
        self._late: set[tuple[int, int]] = set()  # line, camera: the controller may not have got its last reply in time
        self._spoilt: dict[int, int] = {}
        self._first: dict[int, int] = {}

    def settled(self, event: Settled) -> None:
        asked = event.asked
        line, camera = asked.line, asked.camera
        if not event.sure:
            self._spoilt[line] = asked.start
        if self.hides and self.hidden(line, event.before, asked.start, "lost-connection"):
            self._begin_again(line)
        if asked.request.verb != "read" or not camera:
            return
        if line not in self._first:
            self._first[line] = asked.start
        key, who = (line, camera, asked.request.key), (line, camera)
        if event.answers:
            if not event.answers[0].in_time or not event.sure:
                self._late.add(who)
            elif who in self._late:
                self._late.discard(who)
                self._once_silent.add(who)
            if who in self._silent:
                self._close(line, asked.start, but_for=camera)
                del self._silent[who]
            if line not in self._failed:
                self._clean[key] = self._clean.get(key, 0) + 1
            elif line in self._since:
                self._later[key] = self._later.get(key, 0) + 1
            return
        self._failed.setdefault(line, asked.start)
        since = self._silent.setdefault(who, asked.start)
        if line in self._since:
            self._lost[who] = self._lost.get(who, 0) + 1
        elif asked.start - since >= _SETTLES:
            self._since[line] = asked.start
            self._once_silent.update(self._silent)
            self.state = "comparing"

    def _begin_again(self, line: int) -> None:
        """Without a connection every camera is silent, and may count as offline after it: let all settle first."""
        self._silent = {who: at for who, at in self._silent.items() if who[0] != line}
        self._since.pop(line, None)
        self._forget(line)

    def _forget(self, line: int) -> None:
        """What was counted on this line while a camera was silent."""
        self._later = {key: count for key, count in self._later.items() if key[0] != line}
        self._lost = {key: count for key, count in self._lost.items() if key[0] != line}

    def _close(self, line: int, until: int, but_for: int = 0) -> None:
        """A camera came back, or the run ends: compare, if the others had long enough."""
        others = (at for who, at in self._silent.items() if who[0] == line and who[1] != but_for)
        since = self._since.get(line)
        if since is None or (but_for and any(until - at >= _SETTLES for at in others)):
            return
        del self._since[line]
        later, lost = self._later, self._lost
        once = self._once_silent | self._silent.keys() | self._late
        self._forget(line)
        self._once_silent = {who for who in self._once_silent if who[0] != line}
        clean = self._failed[line] - self._first[line]
        if self._spoilt.get(line, -1) >= since or (
            self.hides and self.hidden(line, since, until, "late-requests", "late-replies")
        ):
            return  # more is wrong than a silent camera, or the converter was slow
        if until - since < _LEAST or clean < _LEAST:
            return
        for (of, camera, key), count in self._clean.items():
            got = later.get((of, camera, key), 0)
            if of != line or (of, camera) in once or lost.get((of, camera), 0) > _MOST_LOST * got + 1:
                continue
            before, now = (count - 1) / clean, got / (until - since)
            self.judged += 1
            if got + 1 < _KEEPS * before * (until - since):  # either stretch may contain one more or less
                self.fail(
                    until,
                    line,
                    f"register {key} of {self.ground.name(camera)}: read {now * 1e9:.1f} times a "
                    f"second while others are silent, {before * 1e9:.1f} or more before",
                )

    def ended(self, until: int) -> None:
        for line in list(self._since):
            self._close(line, until)


JUDGE = Fairness
