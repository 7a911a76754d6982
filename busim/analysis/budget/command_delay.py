"""Operators' moves at one master: how long each waits, exactly as the master serves them.

The textbook laws (`waiting`) have commands before polls, always, and every command a customer of its own. The master
differs in two ways that are felt from moderate load on: after four commands in a row a poll that is due has its
turn, and a new move of a control replaces one of the same control that still waits. Both are a Markov chain over the
number of waiting commands at the ends of polls: with p controls that move at random, each of those that do not wait
begins to wait within a time D with the chance 1 - e^(-rate D / p). Rates are per ns.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from busim.analysis.budget.mixes import TINY, Mix, Waits, mixes_of
from busim.installation import POLICY

Array = npt.NDArray[np.float64]

IN_A_ROW = POLICY.commands_in_a_row  # arrays below have this many columns
_POINTS = 6  # of each stretch at most, and where several chains are followed for what would be
_PADDING = 20_000  # numbers that are worked out for nothing sooner than another round of numpy calls is begun
_MOST = 60  # waiting commands looked at; more are so rare, or so many, that it makes no difference

# What follows is for as many waiting commands as there may be; chains take the first of it.
_NUMBERS = np.arange(_MOST + 1)
_LOG_FACTORIALS = np.log(np.maximum(1, _NUMBERS)).cumsum()
_MORE = _NUMBERS - _NUMBERS[:, np.newaxis]  # [before, after]
_NOT_FEWER = np.triu(np.ones(_MORE.shape))
# Starts of phases, counted together: of the last command of a row, of the last two, ..., of the whole row; of those
# from which moves wait for one poll more if the most wait; and of what is between commands.
_ROW, _LAST, _POLLS, _STARTS = IN_A_ROW - 1, IN_A_ROW, IN_A_ROW + 1, IN_A_ROW + 2
# From which of them moves come, by how many then wait: those for which the most wait and one poll more, whatever waits;
# all that come in commands; those of them that wait for one poll more; those that come between commands.
_COUNTED = np.array([[_LAST, _ROW, waiting % IN_A_ROW, _POLLS] for waiting in _NUMBERS.tolist()]).T
_FOUND = _COUNTED[..., np.newaxis] - _MORE * _STARTS  # [kind, after, more]: places in [waiting, start], if in a row
# Of so many points of a stretch: where in it each is, and what each stands for, [how many, point].
_PARTS = np.minimum(1.0, (np.arange(_POINTS) + 0.5) / np.maximum(1, np.arange(_POINTS + 1.0))[:, np.newaxis])
_EACH = (_PARTS < 1) / np.maximum(1, np.arange(_POINTS + 1.0))[:, np.newaxis]


class Chain(NamedTuple):
    """Moves at `rate` in all over `controls` that are alike. `service`: how long the master is inside one command.

    `between`: what it does while none waits, and after four: a poll, or a little of nothing where polls rest.
    """

    rate: float
    controls: float
    service: Mix
    between: Mix


def waits(rate: float, controls: float, service: Mix, between: Mix) -> Waits:
    """How moves wait: of a `Chain` of these."""
    return many_waits([[Chain(rate, controls, service, between)]])[0][0]


def many_waits(groups: Sequence[Sequence[Chain]]) -> list[list[Waits]]:
    """How moves wait, for several groups of chains: a chain that is alone in its group as `waits` has it, those of a
    larger one in a coarser way, which is enough for what would be.

    What comes out for a group does not depend on the others; they are worked out together where they are of about one
    size, since for the few numbers of a chain most of the time goes into calling numpy at all.
    """
    shapes = [_shape(group) for group in groups]
    order = sorted(range(len(groups)), key=lambda place: shapes[place].numbers)
    found: dict[int, list[Waits]] = {}
    while order:
        taken = _alike(order, groups, shapes)
        order = order[len(taken) :]
        chains = [(chain, shapes[place]) for place in taken for chain in groups[place]]
        made = iter(_Chains(*zip(*chains, strict=True)).waits())
        found |= {place: [next(made) for _ in groups[place]] for place in taken}
    return [found[place] for place in range(len(groups))]


class _Shape(NamedTuple):
    """Of a chain: how many waiting commands are told apart, how many points each phase has, how many phases."""

    size: int
    points: int
    service: int
    between: int

    @property
    def numbers(self) -> int:
        """In the largest of its arrays."""
        return self.size * max(4 * self.size, self.points * (3 * self.service + self.between))

    def around(self, other: _Shape) -> _Shape:
        """The smallest that holds both."""
        return _Shape(*map(max, self, other))


def _shape(group: Sequence[Chain]) -> _Shape:
    """Of every chain of a group. So many commands hardly ever wait."""
    one, load = (8, 30) if len(group) == 1 else (4, 12)
    size = served = rested = 1
    known = None  # the chains of a group mostly have one thing between their commands
    for rate, controls, service, between in group:
        if between is not known:
            known, mean, longest = between, between.mean, max(between.values)
            rested = max(rested, len(between.values))
        served = max(served, len(service.values))
        busy = rate * (service.mean + mean / IN_A_ROW)
        reach = one * (1 + rate * (max(service.values) + longest))
        expected = reach + load * busy / max(0.2, 1 - busy)
        size = max(size, 1 + int(min(_MOST, math.ceil(max(1.0, controls)), expected)))
    points = min(_POINTS, max(4, 100 // size)) if len(group) == 1 else _POINTS
    return _Shape(size, points, served, rested)


def _alike(order: Sequence[int], groups: Sequence[Sequence[Chain]], shapes: Sequence[_Shape]) -> Sequence[int]:
    """The first groups of an order that are worked out together without much for nothing."""
    whole, own, chains = shapes[order[0]], 0, 0
    for count, place in enumerate(order):
        shape, many = shapes[place], len(groups[place])
        whole, own, chains = whole.around(shape), own + many * shape.numbers, chains + many
        if count and chains * whole.numbers > 2 * own + _PADDING:
            return order[:count]
    return order


class _Chains:
    """Chains side by side: all arrays begin with [chain]. In matrices rows are the waiting commands before, columns
    after. Of times come those of commands first, then those of what is between. Arrays have the size of the largest;
    what others have no use for keeps the weight 0.

    Binomial: of those still quiet before, so many `more` begin to wait in a time, with the chance
    (quiet before)! / (more! (quiet after)!) (1 - q)^more q^(quiet after), where q = e^(-pace time). That is not worked
    out for all times with all numbers before and after: it is a product of what depends on the number before, on the
    time and how many more, and on the time and the number after.
    """

    def __init__(self, chains: Sequence[Chain], shapes: Sequence[_Shape]) -> None:
        controls = np.array([[max(1.0, chain.controls)] for chain in chains])
        self._rates = np.array([[chain.rate] for chain in chains])
        self._controls, self._pace = controls, self._rates / controls  # of one control
        service, between = (mixes_of(mixes) for mixes in zip(*[chain[2:] for chain in chains], strict=True))
        self._cut = service[0].shape[1]  # so many values of the first phase
        self._values = np.concatenate([service[0], between[0]], axis=1)
        self._weights = np.concatenate([service[1], between[1]], axis=1)
        self._times = self._values * self._weights
        self._means = self._by_phase(self._times)
        most, points = max([shape.points for shape in shapes]), [shape.points for shape in shapes]
        self._parts, self._each = _PARTS[points, :most], _EACH[points, :most]
        sizes = [shape.size for shape in shapes]
        self._size = size = max(sizes)
        self._last = last = np.array(sizes)[:, np.newaxis] - 1
        self._number = number = _NUMBERS[:size]
        self._left = np.maximum(0.0, controls - number)  # how many controls are quiet
        falling = np.ones((len(chains), size))
        np.multiply.accumulate(1 - number[:-1] / controls, axis=1, out=falling[:, 1:])
        self._after = np.maximum(0.0, falling) * (number <= last)
        quiet_ones = self._left > 0
        self._before = quiet_ones / np.where(quiet_ones, falling, 1.0)
        # where what is missing of each number before waits: at the last, or where it was if none is quiet
        self._rest = np.where(quiet_ones, last, number)[..., np.newaxis] == number
        self._exponents = np.zeros((len(chains), 2 * size, 4))
        begin, quiet = self._exponents[:, :size], self._exponents[:, size:]
        begin[..., 0], begin[..., 3] = number, -_LOG_FACTORIALS[:size]
        quiet[..., 1], quiet[..., 2], quiet[..., 3] = self._left, 1.0, np.log(np.maximum(TINY, self._after))

    def _by_phase(self, what: Array) -> Array:
        """[chain, phase]: sums of [chain, value]."""
        return np.asarray(np.add.reduceat(what, [0, self._cut], axis=1))

    def _chances(self, time: Array, often: Array) -> tuple[Array, Array]:
        """By a number of commands and a time, [chain, number, time]: what depends on how many begin to wait in it, and
        what on how many then do. The latter is multiplied by how `often` each time comes, [chain, time]."""
        passed = self._pace * -time
        begin = np.log(np.maximum(TINY, np.expm1(passed) * -self._controls))
        # powers by way of logarithms: numpy's own take several times as long
        terms = np.ones((len(time), 4, time.shape[1]))
        terms[:, 0], terms[:, 1], terms[:, 2] = begin, passed, np.log(np.maximum(TINY, often))
        both = self._exponents @ terms
        np.exp(both, out=both)
        return both[:, : self._size], both[:, self._size :]

    def _steps(self, begin: Array, quiet: Array) -> Array:
        """[phase, chain, before, after]: waiting commands after a whole phase, with none served in it."""
        size, cut = self._size, self._cut
        mixed = np.empty((2, len(begin), size, size))  # [phase, chain, more, after]
        np.matmul(begin[..., :cut], quiet[..., :cut].swapaxes(1, 2), out=mixed[0])
        np.matmul(begin[..., cut:], quiet[..., cut:].swapaxes(1, 2), out=mixed[1])
        at = _MORE[:size, :size] * size + _NUMBERS[:size]
        steps: Array = mixed.reshape(*mixed.shape[:2], -1).take(at, axis=2)
        steps *= _NOT_FEWER[:size, :size] * self._before[..., np.newaxis]
        missing = np.maximum(0.0, 1 - steps @ np.ones(size))
        steps += missing[..., np.newaxis] * self._rest
        return steps

    def _begun_time(self) -> Array:
        """[chain, phase]: how long a control that is quiet at the start of a phase waits in it."""
        part = self._pace * self._values
        # time - (1 - e^-part) / pace, by its series where the difference would be all rounding
        begun = np.where(part < 1e-4, part / 2 - part**2 / 6, 1 + np.expm1(-part) / part)
        return self._by_phase(begun * self._times)

    def waits(self) -> list[Waits]:
        size, values = self._size, self._values
        chains, many = values.shape
        inside = (values[..., np.newaxis] * self._parts[:, np.newaxis]).reshape(chains, -1)
        share = (self._times[..., np.newaxis] * self._each[:, np.newaxis]).reshape(chains, -1)
        times, often = np.concatenate([values, inside], axis=1), np.concatenate([self._weights, share], axis=1)
        begin, quiet = self._chances(times, often)
        served, rested = self._steps(begin[..., :many], quiet[..., :many])
        command = np.zeros((chains, size, size))
        command[:, 1:] = served[:, :-1]  # the one that goes no longer waits
        # from one end of a poll to the next begin: up to four commands, fewer where none waits any more
        twice = command @ command
        to_between = twice @ twice
        to_between[:, :, 0] += command[:, :, 0] + twice[:, :, 0] + (twice @ command[:, :, :1])[:, :, 0]
        to_between[:, 0, 0] += 1.0
        ends = _stationary(to_between @ rested)[:, np.newaxis]
        starts = [ends, ends @ command, ends @ twice, ends @ twice @ command]  # before command 1, 2, ...
        begins = np.zeros((chains, IN_A_ROW, size))  # waiting once that command has gone
        begins[:, :, :-1] = np.concatenate(starts, axis=1)[:, :, 1:]
        before = ends @ to_between
        phases = np.concatenate([begins.sum(axis=1, keepdims=True), before], axis=1)  # how often each begins
        commands = phases[:, 0].sum(axis=1)
        time = commands * self._means[:, 0] + self._means[:, 1]
        quiet_ones = (phases @ self._left[..., np.newaxis])[..., 0]
        waiting = (phases @ self._number * self._means + quiet_ones * self._begun_time()).sum(axis=1) / commands
        carried = commands / time
        replaced = np.maximum(0.0, 1 - carried / self._rates[:, 0])
        weights = self._come(begins, before, begin[..., many:], quiet[..., many:], share)
        times, stretches = self._lasting(inside)
        numbers = zip(waiting.tolist(), carried.tolist(), replaced.tolist(), strict=True)
        arrays = zip(times, weights, stretches, strict=True)
        return [Waits(*three, *others) for three, others in zip(numbers, arrays, strict=True)]

    def _come(self, begins: Array, before: Array, begin: Array, quiet: Array, share: Array) -> Array:
        """[chain, move]: how often moves come, by how many wait before them, and then by the points spread over each
        phase: of those that come in a command of a row and wait for no poll more than those that wait before them have
        whole rows; of those that wait for one poll more; and of those that come between commands.

        `begins` [chain, command] and `before`: what waits at the start of each phase; `begin`, `quiet` and `share`: of
        the time since. Polls take one turn more if the command is one of the last of its row: how many of these count
        depends on how many wait, and nothing else of where in the row it is matters.
        """
        size, chains = self._size, len(begins)
        # After those that may wait come as many numbers for nothing: what counts from the end is before 0.
        starts = np.zeros((chains, 2 * size, _STARTS))
        waiting = starts[:, :size]
        np.add.accumulate(begins[:, ::-1].swapaxes(1, 2), axis=2, out=waiting[..., :IN_A_ROW])
        waiting[..., _LAST] = waiting[np.arange(chains), :, self._last[:, 0] % IN_A_ROW]
        waiting[..., _POLLS] = before[:, 0]
        whole = np.ones(size) @ waiting
        waiting *= self._before[..., np.newaxis]
        begun = starts.reshape(chains, -1).take(_FOUND[:, :size, :size], axis=1)  # [chain, kind, after, more]
        begun[:, 1] -= begun[:, 2]
        cut = self._cut * self._each.shape[1]
        come = np.empty((chains, size, 2 * cut + begin.shape[2]))  # by kinds, one after the other
        commands, polls = come[..., : 3 * cut].reshape(chains, size, 3, cut), come[..., 3 * cut :]
        np.matmul(begun[:, :3], begin[:, np.newaxis, :, :cut], out=commands.swapaxes(1, 2))
        np.matmul(begun[:, 3], begin[..., cut:], out=polls)
        commands *= quiet[:, :, np.newaxis, :cut]
        polls *= quiet[..., cut:]
        # all that is missing waits at the last
        found = np.ones(size) @ come
        if_last, found = found[:, :cut], found[:, cut:]
        found[:, :cut] += found[:, cut : 2 * cut] - if_last
        found[:, cut : 2 * cut] = if_last
        row, last, between = whole[:, [_ROW, _LAST, _POLLS]].T[..., np.newaxis]
        served, rested = share[:, :cut], share[:, cut:]
        missing = np.concatenate([(row - last) * served, last * served, between * rested], axis=1) - found
        moves = come[..., cut:]
        moves[np.arange(chains), self._last[:, 0]] += np.maximum(0.0, missing)
        return (moves * self._left[..., np.newaxis]).reshape(chains, -1)

    def _lasting(self, inside: Array) -> tuple[Array, Array]:
        """[chain, move]: how long the moves of `_come` wait, and for what stretch around that each stands."""
        serving, resting = self._means[:, :1], self._means[:, 1:]
        number = np.minimum(self._number, self._last)
        ahead = number * serving + number // IN_A_ROW * resting
        points = self._each.shape[1]
        cut = self._cut * points
        left = self._values.repeat(points, axis=1) - inside
        left = np.concatenate([left[:, :cut], left[:, :cut] + resting, left[:, cut:]], axis=1)
        times = left[:, np.newaxis] + ahead[..., np.newaxis]
        around = (self._values * self._each[:, :1]).repeat(points, axis=1)
        stretches = np.empty(times.shape)
        stretches[:] = np.concatenate([around[:, :cut], around], axis=1)[:, np.newaxis]
        return times.reshape(len(times), -1), stretches.reshape(len(times), -1)


def _stationary(step: Array) -> Array:
    """[chain, state]: the distribution that a step of each chain leaves as it is."""
    chains, size, _ = step.shape
    equations = step.swapaxes(1, 2).copy()
    equations.reshape(chains, -1)[:, :: size + 1] -= 1
    equations[:, -1] = 1.0
    ones = np.zeros((1, size, 1))
    ones[:, -1] = 1.0
    return np.asarray(np.maximum(0.0, np.linalg.solve(equations, ones)[..., 0]))
