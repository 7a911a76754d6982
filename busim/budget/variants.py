"""What would be: a pace in which one thing differs, with whatever stays the same taken over and not worked out again.

None of them is exact (`Pace`), and all are of the same case of the unknowns as the pace they come of.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence

from busim.budget.case import Case, Poll
from busim.budget.layout import Row
from busim.budget.pace import Pace
from busim.budget.timing import asked_of, timed


def noisy(pace: Pace, rate: float) -> Pace:
    """The same at another bit error rate."""
    times = [one.noisy(rate) for one in pace.times]
    return Pace(pace.case, pace.unknown, exact=False, counted=pace.layout, times=times, each=pace.each)


def without(pace: Pace, units: Collection[int]) -> Pace:
    """The same with these units dead; of its `case` they are not."""
    counted = pace.layout.without(units)
    return Pace(pace.case, pace.unknown, exact=False, counted=counted, times=pace.times, each=pace.each)


def only(pace: Pace, polls: Callable[[Poll], bool]) -> Pace:
    """With these polls alone."""
    own, case = pace.layout, pace.case
    asked = [(poll, row) for poll, row in zip(case.polls, own.polls, strict=True) if polls(poll)]
    left = case._replace(polls=tuple([poll for poll, _ in asked]))
    counted = own.polled(own.kinds, left.polls, [row for _, row in asked])
    each, service = pace.each, pace.service
    return Pace(left, pace.unknown, exact=False, counted=counted, times=pace.times, each=each, service=service)


def of_units(pace: Pace, units: Collection[int]) -> Pace:
    """With the polls and moves of these units alone."""
    case = pace.case
    polls = tuple([poll for poll in case.polls if poll.unit in units])
    moves = tuple([move for move in case.moves if move.unit in units])
    left, counted = case._replace(polls=polls, moves=moves), pace.layout.of_units(units)
    return Pace(left, pace.unknown, exact=False, counted=counted, times=pace.times, each=pace.each)


def merged(pace: Pace, polls: Sequence[tuple[int, Poll]]) -> Pace:
    """With these polls instead, each of the camera of one of its own (its number), where it differs of other length."""
    own, case = pace.layout, pace.case
    kinds, times, each = [*own.kinds], [*pace.times], [*pace.each]
    known: dict[tuple[int, int, int, int], int] = {}
    rows = []
    for number, poll in polls:
        row = own.polls[number]
        if poll is not case.polls[number]:
            key = row.kind, poll.request, poll.reply, poll.escapes
            kind = known.get(key)
            if kind is None:
                kind = known[key] = len(kinds)
                kinds.append(asked_of(case, poll))
                times.append(timed(pace.wire, kinds[-1]))
                each.append(times[-1].occupied(pace.unknown))
            row = Row(kind, row.unit, row.way)
        rows.append(row)
    case = case._replace(polls=tuple([poll for _, poll in polls]))
    counted = own.polled(kinds, case.polls, rows)
    return Pace(case, pace.unknown, exact=False, counted=counted, times=times, each=each, service=pace.service)


def varied(pace: Pace, case: Case) -> Pace:
    """A case in which the same is asked in another time: at another baud, packing, latency, gap or time-out."""
    return Pace(case, pace.unknown, exact=False, counted=pace.layout)
