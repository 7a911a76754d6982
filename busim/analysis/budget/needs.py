"""The inverse questions: the settings that still reach a wanted rate, and the room for more cameras."""

from __future__ import annotations

import math
from collections.abc import Callable
from fractions import Fraction

from busim.analysis.budget.case import Case
from busim.analysis.budget.changes import bauds_of, with_baud
from busim.analysis.budget.poll_schedule import PollSchedule
from busim.analysis.budget.result import Need

_ROOM = 0.3  # headroom to leave
_LONGEST = 1e9  # ns of packing
_SEEN = 0.005  # of polls lost: less does not show in a rate of three digits


def more_cameras(mean: PollSchedule, room: float = _ROOM) -> int:
    """How many more cameras like the average of those there, until the headroom falls under `room`; moves stay. No more
    than unit loads and bus IDs leave room for; supplies are not looked at."""
    alive = sum(not unit.trouble for unit in mean.case.units)
    polls = mean.polls_demand
    if not alive or not polls:
        return 0
    return max(0, min(mean.case.room, math.floor((1 - room - mean.demand) / (polls / alive) + 1e-9)))


def need(case: Case, rate: float) -> Need:
    """What reaches `rate` polls a second for the values polled most: lowest baud, most cameras, longest packing.

    Polls without a wanted rate are to have it, or where all have one, those that are wanted most often.
    """
    asked = _asking(case, rate)
    if not asked.polls:
        return Need(rate, False, 0.0, None, None, None, ("nothing is polled here",))
    pace = PollSchedule(asked, exact=False)
    load = pace.demand
    cameras = _most_cameras(pace)
    texts: list[str] = []
    able = bauds_of(case)
    baud = next((float(one) for one in able if _demand(with_baud(asked, Fraction(one))) < 1), None)
    packing: float | None = None
    if case.converter:
        packing = _bisect(lambda idle: _demand(_packed(asked, idle)) < 1, 0.0, _LONGEST)
    if load >= 1:
        texts.append(f"{rate:g} polls a second need {load:.0%} of the master's time, {load - 1:.0%} too much")
        if baud is None:
            fastest = f"at {able[-1]} Bd" if able else "at the line's baud, the only one that all cameras support,"
            least = _demand(with_baud(asked, Fraction(able[-1]))) if able else load
            none = f"no standard baud of these cameras reaches it: {fastest} it still needs {least:.0%}"
            at_fastest = bool(able) and case.baud == able[-1]
            texts.append(f"no faster standard baud of these cameras: {able[-1]} Bd is the last" if at_fastest else none)
        if packing is None and case.converter:
            texts.append(f"no packing reaches it: without any it still needs {_demand(_packed(asked, 0.0)):.0%}")
        if not cameras:
            beside = " beside the moves" if case.moves else ""
            texts.append(f"not even one camera alone can be polled so often{beside}")
    lost = max((float(pace.timing(number).failing) for number in pace.layout.living), default=0.0)
    if lost >= _SEEN:
        texts.append(f"noise loses {lost:.1%} of the polls, so that {rate * (1 - lost):.3g} a second are answered")
    return Need(rate, load < 1, load, baud, cameras, None if packing is None else packing / 1e9, tuple(texts))


def _asking(case: Case, rate: float) -> Case:
    """The case with the wanted rate for its most polled values."""
    fastest = min((poll.every for poll in case.polls), default=0)
    every = max(1, round(1e9 / rate))
    polls = tuple(poll._replace(every=every) if poll.every == fastest else poll for poll in case.polls)
    return case._replace(polls=polls)


def _demand(case: Case) -> float:
    """Share of the master's time that everything with a wanted rate needs."""
    return PollSchedule(case, exact=False).demand


def _packed(case: Case, idle: float) -> Case:
    return case._replace(packing_idle=round(idle))


def _most_cameras(pace: PollSchedule) -> int:
    """How many cameras like the average of those there can be polled so often, with the moves there are. No more than
    unit loads and bus IDs leave room for."""
    alive = sum(not unit.trouble for unit in pace.case.units)
    polls = pace.polls_demand
    left = 1 - (pace.demand - polls)
    most = len(pace.case.units) + pace.case.room
    return max(0, min(most, math.ceil(left / (polls / alive)) - 1)) if alive and polls else 0


def _bisect(reached: Callable[[float], bool], sure: float, other: float) -> float | None:
    """The value farthest from `sure` towards `other` that still suffices, to 0.1 %; None if `sure` does not suffice."""
    if not reached(sure):
        return None
    if reached(other):
        return other
    for _ in range(40):
        middle = math.sqrt(sure * other) if min(sure, other) > 1000 else (sure + other) / 2
        sure, other = (middle, other) if reached(middle) else (sure, middle)
        if abs(sure - other) <= 1e-3 * max(sure, other):
            break
    return sure
