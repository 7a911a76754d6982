"""The figures of a real line, folded from its exchanges: what the terminal shows while a tap runs.

All of them are measured where the bytes pass, so the turnaround includes both wire times, the converter's latency and
its packing. `busim measure` takes these apart.

A capture has millions of exchanges, so times are collected and counted many at once.
"""

from __future__ import annotations

from array import array
from collections.abc import Callable

from busim.onsite.heard.conversation import Exchange
from busim.protocols import READ, Request
from busim.recording.figures import Age, Histogram

_MOST = 4096  # different reads of one camera whose age is kept
_TOGETHER = 4096  # times that are counted at once


class Times:
    """Times in ns, counted many at once."""

    __slots__ = ("_histogram", "_waiting", "add")

    def __init__(self) -> None:
        self._histogram = Histogram()
        self._waiting = array("q")
        self.add = self._waiting.append

    def settle(self) -> None:
        """Count what waits, if it is worth it."""
        if len(self._waiting) >= _TOGETHER:
            self._count()

    def _count(self) -> None:
        self._histogram.add_all(self._waiting)
        del self._waiting[:]

    @property
    def counted(self) -> Histogram:
        """The counts of all times so far."""
        if self._waiting:
            self._count()
        return self._histogram


class Camera:
    """What answers (or should) at one address. `outcomes`: how many exchanges ended in each way. `ages`: of each read,
    by its first register and their number. `late`: replies behind the next request; `unanswered`: in a row, up to now.
    """

    __slots__ = ("_reply", "_turnaround", "ages", "late", "outcomes", "retries", "unanswered")

    def __init__(self) -> None:
        self.outcomes: dict[str, int] = {}
        self.ages: dict[tuple[int, int], Age] = {}
        self.retries = self.late = self.unanswered = 0
        self._turnaround, self._reply = Times(), Times()

    @property
    def exchanges(self) -> int:
        return sum(self.outcomes.values())

    @property
    def turnaround(self) -> Histogram:
        """ns from the last byte of a request to the first byte of its reply."""
        return self._turnaround.counted

    @property
    def reply(self) -> Histogram:
        """ns from the last byte of a request to the last byte of its reply."""
        return self._reply.counted

    def oldest(self, until: int) -> tuple[int, int] | None:
        """The register whose age was the largest so far, and that age in ns; None if nothing was read. A register in
        several reads counts with the rarest of them.
        """
        found = [(age.longest(until) or 0, key) for (key, _), age in self.ages.items()]
        if not found:
            return None
        longest, key = max(found)
        return key, longest

    def take(self, one: Exchange) -> None:
        """Fold one exchange."""
        outcome, reply = one.outcome, one.reply
        self.outcomes[outcome] = self.outcomes.get(outcome, 0) + 1
        if one.attempt > 1:
            self.retries += 1
        if reply is None:
            if outcome != "unanswered":
                self.unanswered += 1
            return
        self.unanswered = 0
        asked, ended = one.asked, one.ended
        self._turnaround.add(one.first - asked)
        self._reply.add(ended - asked)
        request = one.request
        if request.verb == READ and outcome == "ok":
            place = request.key, request.size
            age = self.ages.get(place)
            if age is None:
                if len(self.ages) >= _MOST:
                    return
                age = self.ages[place] = Age()
            age.deliver(ended, one.sent)

    @property
    def times(self) -> tuple[Callable[[int], None], Callable[[int], None]]:
        """What takes a turnaround, and what takes the time to the end of a reply."""
        return self._turnaround.add, self._reply.add

    def settle(self) -> None:
        """Count the times that wait, if there are many."""
        self._turnaround.settle()
        self._reply.settle()


class Watched:
    """Takes exchanges. `cameras`: by address; `ended`: ns of the end of the last exchange, -1 before it."""

    def __init__(self) -> None:
        self.cameras: dict[int, Camera] = {}
        self.exchanges = 0
        self.ended = -1
        self._gaps = Times()

    @property
    def gaps(self) -> Histogram:
        """ns from the end of one exchange to the next request."""
        return self._gaps.counted

    def take(self, one: Exchange) -> None:
        """Fold one exchange."""
        if self.exchanges:
            gap = one.sent - self.ended
            self._gaps.add(gap if gap > 0 else 0)
        self.ended = one.ended
        self.exchanges += 1
        address = one.request.address
        camera = self.cameras.get(address)
        if camera is None:
            camera = self.cameras[address] = Camera()
        camera.take(one)
        if not self.exchanges % _TOGETHER:
            self.settle()

    def settle(self) -> None:
        """Count the times that wait, where there are many."""
        self._gaps.settle()
        for each in self.cameras.values():
            each.settle()

    def again(self, request: Request, sent: Callable[[int], None]) -> Again | None:
        """For a request that was folded before; `sent` gets the instant of each. None if no age is kept of a read."""
        camera = self.cameras[request.address]
        age = camera.ages.get((request.key, request.size))
        return None if request.verb == READ and age is None else Again(self, camera, age, self._gaps.add, sent)

    def take_late(self, one: Exchange, at: int) -> None:
        """The reply to this exchange came at `at` ns, behind the next request."""
        self.cameras.setdefault(one.request.address, Camera()).late += 1


class Again:
    """Folds exchanges of one request, each with a sound reply to its first attempt, as `Watched.take` does. Camera and
    age are looked up once; the user settles `watched`.
    """

    __slots__ = ("_age", "_camera", "_gap", "_reply", "_sent", "_turnaround", "_watched")

    def __init__(
        self, watched: Watched, camera: Camera, age: Age | None, gap: Callable[[int], None],
        sent: Callable[[int], None],
    ) -> None:  # fmt: skip
        self._watched, self._camera, self._age, self._gap, self._sent = watched, camera, age, gap, sent
        self._turnaround, self._reply = camera.times

    def take(self, sent: int, asked: int, first: int, ended: int) -> None:
        """Fold one exchange: its instants, ns."""
        watched, camera, age = self._watched, self._camera, self._age
        self._sent(sent)
        gap = sent - watched.ended
        self._gap(gap if gap > 0 else 0)
        watched.ended = ended
        watched.exchanges += 1
        camera.outcomes["ok"] = camera.outcomes.get("ok", 0) + 1
        camera.unanswered = 0
        self._turnaround(first - asked)
        self._reply(ended - asked)
        if age is not None:
            age.deliver(ended, sent)
