"""The turns of the master, written out one after the other: for moves beside joysticks, and for `lost_places`.

Positions of a joystick come at a steady rate and in groups, one move for each of its controls. A Markov chain of them
(`command_delay`) would need the phase of every joystick as its state. So the turns are written out instead: the next
turn begins where the last one ends, as in the recursion of Lindley 1952 (from memory),

    W' = max(0, W + S - A)

with the master's own rules: commands before polls, a due poll after four commands, a newer move replaces a waiting one.
What an operator feels comes from moves that cost no time and are written in at random instants (PASTA, Wolff 1982, from
memory: what comes at random instants meets the mean over time).

Drawn times are the same in every budget: numbers of a counter mixed by SplitMix64 (Steele, Lea, Flood 2014, constants
from memory). Times in ns, rates per ns.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from heapq import heapify, heapreplace
from itertools import count
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from busim.analysis.budget.command_delay import COMMANDS_IN_A_ROW, Waits
from busim.analysis.budget.distribution import Distribution

Array = npt.NDArray[np.float64]

MOVES = 6000
_POLLS = 20_000  # that are written out at most, where few moves come
_LONGEST = 1e13  # ns, where nothing is polled and few moves come
_BLOCK = 4096
_DISTANCES = 25  # between joysticks, that are looked at
_AT_FIRST = 0.02  # share of the turns that is left out, because nothing waits at the beginning


class Work(NamedTuple):
    """One poll or command. `time`: the master is inside it for this long when it is answered, evenly spread over
    `width`; `lost`: when it is not; `failing`: the chance of that. `tries`: attempts."""

    time: float
    width: float
    lost: float
    failing: float
    tries: int = 1


class PollTurn(NamedTuple):
    """A poll and the wanted time between two; for a probe (`pause` > 0) the pause after each. `quiet`: how long the
    master still pauses after the answer, which is a part of `work`."""

    work: Work
    every: float
    pause: float = 0.0
    quiet: float = 0.0


class Positions(NamedTuple):
    """A joystick: moves of `commands` (numbers) every `every`, up to `jitter` late."""

    commands: tuple[int, ...]
    every: float
    jitter: float


@dataclass(frozen=True)
class Turns:
    """The turns that were written out: `ends` of all polls, and `polled`, the time inside polls until then; `begun`: of
    each poll, when it began."""

    ends: Array
    polled: Array
    begun: list[Array]

    def added(self, turns: float) -> float:
        """ns^2 that commands add to the variance of the time of so many turns in a row (as `command_delay.Turn`)."""
        row = max(1, min(round(turns), len(self.ends) // 4))
        if len(self.ends) <= row:
            return 0.0
        times, polls = (moments[row:] - moments[:-row] for moments in (self.ends, self.polled))
        return max(0.0, float(times.var() - polls.var())) * turns / row


@dataclass(frozen=True)
class Written:
    """`waits`: of all moves together; `busy`: share of the time inside commands; `delays`: how long moves of each
    command wait that are sent, None where none is; `beside`: how long the move of another control waits; `replaced`: of
    each command, the share that a newer one replaces."""

    waits: Waits
    busy: float
    delays: list[Distribution | None]
    beside: Distribution
    replaced: list[float]


class Queue(NamedTuple):
    """What a master has to do. `operators`: the rate of random moves of each command."""

    polls: Sequence[PollTurn]
    commands: Sequence[Work]
    operators: Sequence[float]
    joysticks: Sequence[Positions]

    @property
    def rate(self) -> float:
        """All moves per ns."""
        return sum(self.operators) + sum(len(stick.commands) / stick.every for stick in self.joysticks)

    def turns(self, polls: int) -> Turns:
        """Those of about so many polls that keep a wanted interval."""
        span = polls / sum(1 / poll.every for poll in self.polls if poll.every)
        found = _Turns(self, *_arrivals(self, span, 0))
        found.until(span)
        return found.settled()

    def span(self, moves: int) -> float:
        """ns in which so many moves come."""
        times = [poll.work.time for poll in self.polls]
        longest = _POLLS * sum(times) / len(times) if times else _LONGEST
        return min(longest, moves / self.rate) if self.rate else longest


def written(queue: Queue, moves: int = MOVES, beside: int = MOVES) -> Written:
    """The waits of moves, after writing out about so many; `beside`: how many of another control, 0 if their wait is
    not asked for. MOVES make a mean wait right to about 1 %."""
    span = queue.span(moves)
    instants, keys = _arrivals(queue, span, beside)
    turns = _Turns(queue, instants, keys)
    turns.until(span)
    sent = [np.array(one) for one in turns.waited]
    together = np.concatenate([*sent, np.zeros(0)])
    came = np.bincount(keys[keys >= 0], minlength=len(sent)).tolist()
    left = _left(len(together), sum(came))
    waits = Waits(
        float(together.mean()) if len(together) else 0.0,
        (1 - left) * queue.rate,
        left,
        _seen(together) or Distribution.certain(0.0),
        turns.settled(),
    )
    replaced = [_left(len(one), many) for one, many in zip(sent, came, strict=True)]
    felt = _seen(np.array(turns.beside)) or waits.delay
    return Written(waits, turns.commanded / span, [_seen(one) for one in sent], felt, replaced)


def _left(sent: int, came: int) -> float:
    """The share of moves that is not sent."""
    return max(0.0, 1 - sent / came) if came else 0.0


def _seen(times: Array) -> Distribution | None:
    """What was seen, each as likely."""
    if not len(times):
        return None
    return Distribution(times, np.full(len(times), 1 / len(times)), np.zeros(len(times))).regrouped()


def _arrivals(queue: Queue, span: float, beside: int) -> tuple[Array, npt.NDArray[np.int64]]:
    """When moves come, in order, and of which command; -1: a move of another control, which costs no time."""
    times, keys = [_even(beside, 1) * span], [np.full(beside, -1)]
    for number, rate in enumerate(queue.operators):
        if rate:
            # a Poisson process
            apart = -np.log1p(-_even(int(2 * span * rate) + 20, 100 + number)) / rate
            came = np.cumsum(apart)
            came = came[came < span]
            times.append(came)
            keys.append(np.full(len(came), number))
    for number, stick in enumerate(queue.joysticks):
        # joysticks of one rate keep their distance in a run: several distances here, so that none decides
        count = int(span / stick.every)
        begin = np.repeat(_even(_DISTANCES, 1_000_000 + number), -(-count // _DISTANCES))[:count]
        at = stick.every * (np.arange(count) + begin) + stick.jitter * _even(count, 2_000_000 + number)
        for place, command in enumerate(stick.commands):
            times.append(at + place)  # one after the other, as they are given
            keys.append(np.full(count, command))
    every = np.concatenate(times)
    order = np.argsort(every, kind="stable")
    return every[order], np.concatenate(keys)[order]


class _Turns:
    """The master from turn to turn. `waited`: of each command; `beside`: of moves that cost no time."""

    def __init__(self, queue: Queue, instants: Array, keys: npt.NDArray[np.int64]) -> None:
        self._polls, self._commands = queue.polls, queue.commands
        self._instants, self._keys = instants.tolist(), keys.tolist()
        self._draws = _draws()
        self.waited: list[list[float]] = [[] for _ in queue.commands]
        self.beside: list[float] = []
        self.ends: list[float] = []
        self.polled: list[float] = []
        self.begun: list[list[float]] = [[] for _ in queue.polls]
        self.commanded = 0.0

    def settled(self) -> Turns:
        """Those after the beginning."""
        first = int(_AT_FIRST * len(self.ends))
        begun = [np.array(one[int(_AT_FIRST * len(one)) :]) for one in self.begun]
        return Turns(np.array(self.ends[first:]), np.array(self.polled[first:]), begun)

    def until(self, span: float) -> None:
        """Write them out up to this instant."""
        # names of this function, which it looks up a hundred thousand times
        polls, commands, waited, beside = self._polls, self._commands, self.waited, self.beside
        keys, instants, ends, polled, lasting = self._keys, self._instants, self.ends, self.polled, self._time
        begun = self.begun
        instants.append(math.inf)
        queue = [(poll.pause, number, number) for number, poll in enumerate(polls)]
        heapify(queue)
        waiting: dict[int, float] = {}  # by command, in the order of the queue; below 0: costs no time
        now = inside = commanded = 0.0
        order, arrived, row, following = len(queue), 0, 0, instants[0]
        first_due = queue[0][0] if queue else math.inf
        while now < span:
            while following <= now:
                key = keys[arrived]
                waiting.setdefault(key if key >= 0 else -1 - arrived, following)
                arrived += 1
                following = instants[arrived]
            if waiting and (row < COMMANDS_IN_A_ROW or first_due > now):
                key = next(iter(waiting))
                wait = now - waiting.pop(key)
                if key < 0:
                    beside.append(wait)
                    continue
                row += 1
                waited[key].append(wait)
                time = lasting(commands[key])
                now += time
                commanded += time
            elif first_due <= now:
                row = 0
                wanted, _, number = queue[0]
                work, every, pause, quiet = polls[number]
                begun[number].append(now)
                time = lasting(work)
                now += time
                inside += time
                order += 1
                again = now + pause if pause or not every else max(wanted + every, now - quiet)
                heapreplace(queue, (again, order, number))
                first_due = queue[0][0]
                ends.append(now)
                polled.append(inside)
            else:
                now = min(first_due, following, span)
        self.commanded = commanded

    def _time(self, work: Work) -> float:
        """How long this one takes, failed attempts included."""
        time, width, lost, failing, tries = work
        failed = 0.0
        if failing:
            for _ in range(tries):
                if next(self._draws) >= failing:
                    break
                failed += lost
            else:
                return failed
        return failed + time + width * (next(self._draws) - 0.5)


def _draws() -> Iterator[float]:
    """Numbers from 0 up to 1, without end."""
    for block in count():
        yield from _even(_BLOCK, 10_000_000 + block).tolist()


def _even(count: int, which: int) -> Array:
    """Numbers from 0 up to, but not including, 1, as if drawn: a sequence for each `which`."""
    mixed = (np.arange(1, count + 1, dtype=np.uint64) + np.uint64(which * 1_000_003)) * np.uint64(0x9E3779B97F4A7C15)
    mixed = (mixed ^ (mixed >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    mixed = (mixed ^ (mixed >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return np.asarray(((mixed ^ (mixed >> np.uint64(31))) >> np.uint64(11)).astype(float) * 2.0**-53, float)
