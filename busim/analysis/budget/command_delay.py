"""Operators' moves at one master: the wait of each until its command is sent.

The textbook laws (`waiting`) put commands before polls, always, and serve every command. The master differs in two
ways that show from moderate load on: after four commands in a row, a poll that is due has its turn; and a new move of a
control replaces a move of the same control that still waits. So the number of waiting commands is a Markov chain.

The chain has a state n, the number of controls with a waiting move. Moves come at random with the rate r, evenly over
p controls. A quiet control begins to wait within a time t with the chance 1 - q, where q = e^(-r t / p). So n becomes m
in t with the binomial chance

    P(n, m; t) = C(p - n, m - n) (1 - q)^(m - n) q^(p - m)

The master's time is a sequence of phases: commands (up to four in a row, while any waits) and then one poll. The mean
of P over the length of a phase is its matrix. Their product takes the chain from the end of one poll to the end of the
next; its stationary vector says how often each phase begins with n waiting moves. Rates are per ns, times ns.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple, Protocol

import numpy as np
import numpy.typing as npt

from busim.analysis.budget.distribution import Distribution
from busim.installation import POLICY

Array = npt.NDArray[np.float64]

COMMANDS_IN_A_ROW = POLICY.commands_in_a_row
MOST_WAITING = 60  # states of the chain; more commands than this never wait for long, or the line is hopeless
_INSTANTS = 4  # of a phase, at which moves are taken to come
_TINY = 1e-300


class Moments(NamedTuple):
    """Of a part of the chain, as [before, after]: the chance of each state after it, and with it the mean of the time
    that the part takes (ns) and of its square."""

    chance: Array
    time: Array
    square: Array

    @classmethod
    def of(cls, times: Array, weights: Array, after: Array) -> Moments:
        """Of a phase that takes `times` with `weights`. `after`: P(n, m; t) as [time, n, m]."""
        return cls(*(np.tensordot(weights * times**power, after, 1) for power in (0, 1, 2)))

    def then(self, other: Moments) -> Moments:
        """Of this part and then the other, whose length depends on this one only by the state: E[(X + Y)^2] = E[X^2] +
        2 E[X Y] + E[Y^2], state by state."""
        return Moments(
            self.chance @ other.chance,
            self.time @ other.chance + self.chance @ other.time,
            self.square @ other.chance + 2 * self.time @ other.time + self.chance @ other.square,
        )


class _Instants(NamedTuple):
    """Instants of a phase, each with its `weights`. `rest`: ns until the phase ends; `cell`: ns that the instant stands
    for; `after`: P(n, m; t) from the beginning of the phase until it, as [instant, n, m]."""

    rest: Array
    cell: Array
    weights: Array
    after: Array


class Added(Protocol):
    """What commands add to the variance of a round."""

    def added(self, turns: float) -> float:
        """ns^2 that they add to the variance of the time of so many turns in a row."""


@dataclass(frozen=True)
class Turn:
    """One turn of a master that never rests: a poll, then up to four commands. `start`: how often it begins with n
    waiting moves; `one`: its moments; `poll`: variance of the poll in it, ns^2."""

    start: Array
    one: Moments
    poll: float

    def added(self, turns: float) -> float:
        """ns^2 that commands add to the variance of the time of so many turns in a row.

        The longer a poll, the more commands follow it, and after a row of four the moves that still wait come later.
        The moments of n turns are those of n / 2, twice.
        """
        count = max(1, round(turns))
        doubled, left = self.one, count
        total: Moments | None = None
        while left:
            if left % 2:
                total = doubled if total is None else total.then(doubled)
            left //= 2
            doubled = doubled.then(doubled) if left else doubled
        assert total is not None
        time = float((self.start @ total.time).sum())
        variance = float((self.start @ total.square).sum()) - time**2
        return max(0.0, variance * turns / count - turns * self.poll)


@dataclass(frozen=True)
class Waits:
    """How moves wait. `mean`: ns from a move until its command is sent; `carried`: commands sent per ns; `replaced`:
    share of moves that a later move of the same control replaces; `delay`: the distribution of the wait; `turn`: one
    turn of the master, None where it rests."""

    mean: float
    carried: float
    replaced: float
    delay: Distribution
    turn: Added | None = None

    def alternating(self, other: Waits, share: float) -> Waits:
        """Of two long periods that take turns, `other` for this share of the time: commands weighted by their rates."""
        carried = (1 - share) * self.carried + share * other.carried
        part = share * other.carried / carried
        return Waits(
            (1 - part) * self.mean + part * other.mean,
            carried,
            (1 - share) * self.replaced + share * other.replaced,
            Distribution.mixture([(1 - part, self.delay), (part, other.delay)]),
        )


def waits(rate: float, controls: float, service: Distribution, between: Distribution, *, turns: bool = False) -> Waits:
    """How moves wait that come at `rate` in all over `controls` that are moved alike.

    `service`: how long the master is inside one command. `between`: inside a poll, which comes when no command waits
    and after four commands; where polls rest, a short time of nothing. `turns`: whether its `turn` is asked for.
    """
    return _Chain(rate, controls, service, between).solved(turns)


class _Chain:
    """The chain of one master. Vectors are over the number of waiting commands, matrices over [before, after]."""

    def __init__(self, rate: float, controls: float, service: Distribution, between: Distribution) -> None:
        self._rate, self._controls = rate, max(1.0, controls)
        self._service, self._between = service, between
        self._size = self._states()
        self._waiting = np.arange(self._size)
        self._quiet = np.maximum(0.0, self._controls - self._waiting)  # controls without a waiting move
        more = self._waiting - self._waiting[:, np.newaxis]
        falling = np.concatenate([[0.0], np.cumsum(np.log(np.maximum(_TINY, self._quiet[:-1])))])
        factorials = np.array([math.lgamma(number + 1) for number in range(self._size)])
        self._more = np.maximum(0, more)
        # log of C(p - n, m - n); chances of fewer are 0
        self._binomials = np.where(more >= 0, falling - falling[:, np.newaxis] - factorials[self._more], -np.inf)

    def _states(self) -> int:
        """The number of states: those reached with any relevant probability."""
        polled = self._between.mean / COMMANDS_IN_A_ROW
        busy = self._rate * (self._service.mean + polled)
        reach = 8 * (1 + self._rate * (self._service.longest + self._between.longest))
        likely = reach + 30 * busy / max(0.2, 1 - busy)
        return 2 + int(min(MOST_WAITING, math.ceil(self._controls), likely))

    def _after(self, times: Array) -> Array:
        """P(n, m; t) as [time, n, m]. What lies beyond the last state counts as the last state."""
        passed = (self._rate / self._controls) * times[:, np.newaxis, np.newaxis]
        begin = np.log(np.maximum(_TINY, -np.expm1(-passed)))
        chances = np.exp(self._binomials + self._more * begin - passed * self._quiet)
        chances[..., -1] += np.maximum(0.0, 1 - chances.sum(axis=-1))
        return np.asarray(chances, float)

    def solved(self, turns: bool) -> Waits:
        served, rested = self._service.points(), self._between.points()
        in_command, in_poll = self._begun(self._after(served[0])), self._after(rested[0])
        command, poll = np.tensordot(served[1], in_command, 1), np.tensordot(rested[1], in_poll, 1)
        # before the poll: the state after a whole row, or 0 where the commands ran out earlier in the row
        row = [np.eye(self._size)]
        for _ in range(COMMANDS_IN_A_ROW):
            row.append(row[-1] @ command)
        to_poll = row[-1].copy()
        to_poll[:, 0] += sum(step[:, 0] for step in row[:-1])
        start = _stationary(to_poll @ poll)
        before_poll = start @ to_poll
        # waiting moves once the first, second ... command of a row has been sent
        sent = [np.append((start @ step)[1:], 0.0) for step in row[:-1]]
        commands = float(sum(one.sum() for one in sent))
        duration = commands * self._service.mean + self._between.mean
        carried = commands / duration
        phases = [(one, served, place + 1) for place, one in enumerate(sent)] + [(before_poll, rested, 0)]
        # Little's law: the mean wait is the mean number of waiting moves over the rate at which they are sent
        mean = sum(self._area(begins, points) for begins, points, _ in phases) / duration / carried
        of_command, of_poll = self._instants(served), self._instants(rested)
        arrivals = [
            self._arrivals(begins, of_poll if points is rested else of_command, sent) for begins, points, sent in phases
        ]
        # where each control waits again at once, no instant looked at has a quiet one
        found = any(often > 0 for often, _ in arrivals)
        delay = Distribution.mixture(arrivals).regrouped() if found else Distribution.certain(mean)
        replaced = max(0.0, 1 - carried / self._rate)
        turn = None
        if turns:
            one = self._turn(Moments.of(*served, in_command), Moments.of(*rested, in_poll))
            turn = Turn(before_poll, one, self._between.variance)
        return Waits(mean, carried, replaced, delay, turn)

    def _turn(self, command: Moments, poll: Moments) -> Moments:
        """A poll, then commands until none waits, or four."""
        nothing = np.zeros((self._size, self._size))
        row, ended = Moments(np.eye(self._size), nothing, nothing), [nothing.copy() for _ in Moments._fields]
        for _ in range(COMMANDS_IN_A_ROW):
            for whole, part in zip(ended, row, strict=True):
                whole[:, 0] += part[:, 0]
            row = row.then(command)
        return poll.then(Moments(*(whole + part for whole, part in zip(ended, row, strict=True))))

    @staticmethod
    def _begun(after: Array) -> Array:
        """The same where a command begins with the phase: it waits no more. No command begins where none waits."""
        moved = np.zeros_like(after)
        moved[:, 1:] = after[:, :-1]
        return moved

    def _area(self, begins: Array, phase: tuple[Array, Array]) -> float:
        """Waiting moves times ns in a phase, by how many wait at its start: n t + (p - n) (t - (1 - q) p / r)."""
        times, weights = phase
        pace = self._rate / self._controls
        part = pace * times
        # by its series where the difference would be all rounding
        begun = times * np.where(part < 1e-4, part / 2 - part**2 / 6, 1 + np.expm1(-part) / np.maximum(_TINY, part))
        return float((begins @ self._waiting) * (weights @ times) + (begins @ self._quiet) * (weights @ begun))

    def _instants(self, phase: tuple[Array, Array]) -> _Instants:
        """Those of a phase at which moves are taken to come."""
        times, weights = phase
        part = (np.arange(_INSTANTS) + 0.5) / _INSTANTS
        elapsed = np.multiply.outer(times, part).ravel()
        cell = np.repeat(times / _INSTANTS, _INSTANTS)
        rest = np.repeat(times, _INSTANTS) - elapsed
        return _Instants(rest, cell, np.repeat(weights, _INSTANTS), self._after(elapsed))

    def _arrivals(self, begins: Array, at: _Instants, sent: int) -> tuple[float, Distribution]:
        """How many moves begin to wait in a phase, and how long each waits: the rest of the phase, the moves that wait
        before it, and a poll after every four commands. `sent`: commands of the row so far, this one included."""
        waiting = begins @ at.after  # [instant, n]
        often = (at.weights * at.cell)[:, np.newaxis] * waiting * self._quiet
        polls = (sent + self._waiting) // COMMANDS_IN_A_ROW
        ahead = self._waiting * self._service.mean + polls * self._between.mean
        variance = self._waiting * self._service.variance + polls * self._between.variance
        total = float(often.sum())
        delay = Distribution(
            np.add.outer(at.rest, ahead).ravel(),
            often.ravel() / max(_TINY, total),
            np.sqrt(np.add.outer(at.cell**2, 12 * variance)).ravel(),
        )
        return total, delay


def _stationary(step: Array) -> Array:
    """The vector that a step leaves as it is, with the sum 1."""
    equations = step.T - np.eye(len(step))
    equations[-1] = 1.0
    wanted = np.zeros(len(step))
    wanted[-1] = 1.0
    return np.asarray(np.maximum(0.0, np.linalg.solve(equations, wanted)))
