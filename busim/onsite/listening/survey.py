"""What is on a line, from what was overheard: addresses, polls and their periods, who is late, a second master.

A second master is heard by its requests: they come while the answer to another request is still awaited, or from
another source. One such request may be a controller's short time-out; the report gives the counts and says how sure
they make it.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from itertools import islice

from busim.onsite.captures import Piece
from busim.onsite.heard import Exchange, Times, Watched
from busim.onsite.listening.overheard import Overheard
from busim.protocols import BusProtocol, Request

_POLLS = 4096  # different requests that are kept
_OFTEN = 1 << 16  # pieces after which collected times are counted
_FEW = 3  # times a request must come to count as a poll
_NEAR = 0.15  # share by which the periods of one group differ
_SLOW = 3.0  # times the median turnaround of the others: such a camera is late
_CROSSED = 3  # requests into a running exchange that make a second master likely


@dataclass(slots=True)
class Poll:
    """One request that comes again and again. `periods`: ns from one to the next, retries left out."""

    request: Request
    count: int = 0
    last: int = -1
    periods: Times = field(default_factory=Times)

    def take(self, sent: int) -> None:
        """It came at `sent` ns, and is no retry."""
        if self.count:
            self.periods.add(sent - self.last if sent > self.last else 0)
        self.count += 1
        self.last = sent

    @property
    def every(self) -> float | None:
        """The median period, ns; None for what came too seldom."""
        return self.periods.counted.quantile(0.5) if self.count >= _FEW else None


@dataclass(frozen=True, slots=True)
class Group:
    """Polls with one period (ns, the median of theirs)."""

    every: float
    polls: tuple[Poll, ...]


class Survey:
    """Takes pieces; all else is asked of it at any time. `overheard` and `watched` have the exchanges.

    `crossed`: requests that came while another was awaited and then answered; `sources`: requests by who sent them.
    """

    def __init__(self, protocol: BusProtocol) -> None:
        self.protocol = protocol
        self.watched = Watched()
        self.overheard = Overheard(protocol, self._exchange, self._asked, self._again)
        self.overheard.conversation.late = self._late
        self.polls: dict[tuple[int, str, int, int], Poll] = {}
        self._by_bytes: dict[bytes, Poll] = {}
        self.sources: Counter[str] = Counter()
        self.crossed = 0

    def take(self, pieces: Iterable[Piece]) -> None:
        """The next bytes. Raises what `pieces` raises; what came before it counts."""
        pieces = iter(pieces)
        while self.overheard.take(islice(pieces, _OFTEN)):
            self.watched.settle()
            for poll in self.polls.values():
                poll.periods.settle()

    def end(self) -> None:
        """Nothing more comes."""
        self.overheard.end()

    @property
    def until(self) -> int:
        """ns of the last piece."""
        return self.overheard.until

    def _asked(self, source: str) -> None:
        if source in self.sources or len(self.sources) < _POLLS:
            self.sources[source] += 1

    def _exchange(self, one: Exchange) -> None:
        self.watched.take(one)
        if one.attempt > 1:
            return
        poll = self._by_bytes.get(one.raw)
        if poll is None:
            poll = self._poll(one)
            if poll is None:
                return
        poll.take(one.sent)

    def _again(self, one: Exchange) -> Callable[[int, int, int, int], None] | None:
        """What counts the clean exchanges of the same request: its poll and its camera are looked up once."""
        poll = self._by_bytes.get(one.raw)
        again = None if poll is None else self.watched.again(one.request, poll.take)
        return None if again is None else again.take

    def _poll(self, one: Exchange) -> Poll | None:
        """The poll of a request that was not seen before with these bytes: a write has other values each time."""
        request = one.request
        key = request.address, request.verb, request.key, request.size
        poll = self.polls.get(key)
        if poll is None:
            if len(self.polls) >= _POLLS:
                return None
            poll = self.polls[key] = Poll(request)
        if len(self._by_bytes) >= _POLLS:
            self._by_bytes.clear()
        self._by_bytes[one.raw] = poll
        return poll

    def _late(self, one: Exchange, at: int) -> None:
        self.watched.take_late(one, at)
        self.crossed += 1

    # -- results --------------------------------------------------------------------------------------------

    @property
    def explained(self) -> float:
        """The share of bytes in requests and sound replies; 0 without any."""
        return min(1.0, self.overheard.conversation.explained / self.overheard.bytes) if self.overheard.bytes else 0.0

    def groups(self) -> list[Group]:
        """The polls by their periods, the fastest first."""
        timed = [(every, poll) for poll in self.polls.values() if (every := poll.every)]
        timed.sort(key=lambda one: (one[0], one[1].request))
        groups: list[list[tuple[float, Poll]]] = []
        for every, poll in timed:
            if groups and every <= groups[-1][0][0] * (1 + _NEAR):
                groups[-1].append((every, poll))
            else:
                groups.append([(every, poll)])
        return [Group(one[len(one) // 2][0], tuple(poll for _, poll in one)) for one in groups]

    def late(self) -> list[tuple[int, str]]:
        """Addresses that are late, and why."""
        medians = {
            address: median
            for address, camera in self.watched.cameras.items()
            if (median := camera.turnaround.quantile(0.5)) is not None
        }
        found = []
        for address, camera in sorted(self.watched.cameras.items()):
            others = sorted(one for other, one in medians.items() if other != address)
            usual = others[len(others) // 2] if others else None
            if camera.late:
                found.append((address, f"{camera.late} replies came behind the next request"))
            elif usual and address in medians and medians[address] > _SLOW * usual:
                found.append((address, f"turnaround {medians[address] / 1e6:.1f} ms, the others {usual / 1e6:.1f} ms"))
            elif camera.outcomes.get("time-out", 0) * 10 > camera.exchanges and camera.reply.count:
                found.append((address, f"{camera.outcomes['time-out']} of {camera.exchanges} requests without a reply"))
        return found

    def second_master(self) -> tuple[str, str]:
        """`seen`, `likely`, `possible` or `not seen`, and the evidence."""
        if len(self.sources) > 1:
            told = ", ".join(f"{source} ({count})" for source, count in self.sources.most_common(4))
            return "seen", f"requests come from {len(self.sources)} sources: {told}"
        if self.crossed >= _CROSSED:
            return "likely", f"{self.crossed} requests came before the reply to the one before, which then came"
        if self.crossed:
            return "possible", f"{self.crossed} such request: a short time-out of the controller looks the same"
        return "not seen", "no request came into a running exchange"
