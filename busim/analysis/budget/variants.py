"""Utilisation with one thing changed: other times, more dead cameras, noise, fewer polls.

Each function takes the schedule of the plan and gives the `Utilisation` of the changed one; everything else is taken
over, the share of moves that newer ones replace too.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from typing import NamedTuple

from busim.analysis.budget.case import Case, Poll
from busim.analysis.budget.layout import Row, Share
from busim.analysis.budget.noise import failing as damaged
from busim.analysis.budget.poll_schedule import PollSchedule, costs_of
from busim.analysis.budget.timing import Timing, asked_of, timed, wire_of
from busim.analysis.budget.utilisation import Costs, Utilisation

Work = tuple[str, str]  # group, and what of it is read in one exchange


def varied(pace: PollSchedule, case: Case) -> Utilisation:
    """The same requests with other times: at another baud, packing, latency, gap or time-out."""
    wire = wire_of(case)
    costs = costs_of([timed(wire, asked) for asked in pace.layout.kinds], pace.unknown)
    return Utilisation(*pace.taken(costs), pace.sent)


def noisy(pace: PollSchedule, rate: float) -> tuple[Utilisation, list[float]]:
    """The same at another bit error rate; and which share of each kind of exchange that damages."""
    failing = [float(damaged(one.exposed, rate, pace.wire.chatter)) for one in pace.times]
    return Utilisation(*pace.taken(pace.costs._replace(failing=failing)), pace.sent), failing


def without(pace: PollSchedule, gone: Collection[int]) -> Utilisation:
    """The same with these units dead, in addition to the dead ones."""
    alive: list[Share] = []
    dead: list[Share] = []
    for unit, share in enumerate(pace.layout.shares):
        (dead if share.trouble or unit in gone else alive).append(share)
    return _shared(pace, alive, dead)


def of_units(pace: PollSchedule, units: Iterable[int]) -> Utilisation:
    """With the polls and moves of these units alone, which answer."""
    return _shared(pace, [pace.layout.shares[unit] for unit in units], [])


def _shared(pace: PollSchedule, alive: list[Share], dead: list[Share]) -> Utilisation:
    """What units that answer and units that do not are asked."""
    costs, polls = pace.costs, 0
    asked, moved = [], []
    for own, moves, way, _ in alive:
        for (every, kind), count in own.items():
            asked.append((every, kind, count, count * way))
            polls += count
        for kind, often in moves.items():
            moved.append((kind, often, often * way))
    probed: list[float] = []
    lost: dict[int, float] = {}
    for own, moves, _, _ in dead:
        if own:
            probed.append(costs.probe([(kind, count) for (_, kind), count in own.items()]))
        for kind, often in moves.items():
            lost[kind] = lost.get(kind, 0.0) + often
    given = costs.moves(moved)
    rate = given.rate + sum(lost.values())
    service = costs.service(given, 1 + pace.case.retries, lost)
    return Utilisation(costs.polls(asked), polls, probed, rate, service, pace.sent)


class _Asked(NamedTuple):
    """What some polls take, once each, by the wanted time between two; how many are answered; and of those that never
    are, unit and kind."""

    paces: dict[float, float]
    polls: int
    probed: list[tuple[int, int]]


class Works:
    """The polls of a pace by what is read in one exchange: what would be if less were asked, or more together.

    `first`: the first poll of each; `holes`: groups of which more could be read together.
    """

    def __init__(self, pace: PollSchedule) -> None:
        self._pace = pace
        self.first: dict[Work, Poll] = {}
        self.holes: set[str] = set()
        polls: dict[Work, list[tuple[float, Row]]] = {}
        for poll, row in zip(pace.case.polls, pace.layout.polls, strict=True):
            work = poll.group, poll.work
            if work not in polls:
                self.first[work], polls[work] = poll, []
            if poll.hole:
                self.holes.add(poll.group)
            polls[work].append((poll.every, row))
        self._asked = {work: self._taken(pace.costs, some) for work, some in polls.items()}

    def without(self, work: Work) -> Utilisation:
        """All polls except these."""
        return self._load([asked for other, asked in self._asked.items() if other != work])

    def merged(self, group: str, polls: Sequence[tuple[int, Poll]]) -> Utilisation:
        """With these polls in place of a group's, each of the camera of one of those (its number in the case), where it
        differs of other length."""
        pace, rows = self._pace, []
        kinds: dict[tuple[int, float, float, float], int] = {}
        times: list[Timing] = []
        for number, poll in polls:
            row = pace.layout.polls[number]
            if poll is not pace.case.polls[number]:
                key = row.kind, poll.request, poll.reply, poll.escapes
                if key not in kinds:
                    kinds[key] = len(pace.times) + len(times)
                    times.append(timed(pace.wire, asked_of(pace.case, poll)))
                row = Row(kinds[key], row.unit, row.way)
            rows.append((poll.every, row))
        costs = pace.costs.beside(costs_of(times, pace.unknown))
        others = [asked for (other, _), asked in self._asked.items() if other != group]
        return self._load([*others, self._taken(costs, rows)], costs)

    def _taken(self, costs: Costs, polls: Sequence[tuple[float, Row]]) -> _Asked:
        shares = self._pace.layout.shares
        alive = [(every, row.kind, 1, row.way) for every, row in polls if not shares[row.unit].trouble]
        dead = [(row.unit, row.kind) for _, row in polls if shares[row.unit].trouble]
        return _Asked(costs.polls(alive), len(alive), dead)

    def _load(self, asked: Sequence[_Asked], costs: Costs | None = None) -> Utilisation:
        pace, polls = self._pace, 0
        paces: dict[float, float] = {}
        dead: dict[int, list[tuple[int, int]]] = {}
        for taken, many, probed in asked:
            polls += many
            for every, time in taken.items():
                paces[every] = paces.get(every, 0.0) + time
            for unit, kind in probed:
                dead.setdefault(unit, []).append((kind, 1))
        probes = [(costs or pace.costs).probe(some) for some in dead.values()]
        return Utilisation(paces, polls, probes, pace.move_rate, pace.service, pace.sent)
