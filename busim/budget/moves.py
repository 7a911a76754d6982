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

from busim.budget.mixes import TINY, Mix, Waits, mixes_of

Array = npt.NDArray[np.float64]

IN_A_ROW = 4  # commands that may go before a poll that is due: as masters do
_POINTS = 6  # of each stretch where several chains are followed for what would be
_PADDING = 20_000  # numbers that are worked out for nothing sooner than another round of numpy calls is begun
_MOST = 60  # waiting commands looked at; more are so rare, or so many, that it makes no difference


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
        return self.size**2 * (1 + self.points) * (self.service + self.between)

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
    points = min(6, max(4, 100 // size)) if len(group) == 1 else _POINTS
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
    after. Arrays have the size of the largest; what others have no use for keeps the weight 0."""

    def __init__(self, chains: Sequence[Chain], shapes: Sequence[_Shape]) -> None:
        rates = np.array([chain.rate for chain in chains])
        self._controls = controls = np.maximum(1.0, [chain.controls for chain in chains])
        self._pace = rates / controls  # of one control
        self._service, self._between = (mixes_of(mixes) for mixes in zip(*(chain[2:] for chain in chains), strict=True))
        self._serving, self._resting = ((mix[0] * mix[1]).sum(axis=1) for mix in (self._service, self._between))
        sizes = np.array([shape.size for shape in shapes])
        self._last, self._rows = sizes - 1, np.arange(len(chains))
        self._size = size = int(sizes.max())
        points = np.array([[shape.points] for shape in shapes])
        self._points = int(points.max())
        self._parts = np.minimum(1.0, (np.arange(self._points) + 0.5) / points)  # [chain, point] of each phase
        self._each = (np.arange(self._points) < points) / points
        self._number = number = np.arange(size)
        self._exponents = np.arange(float(size))
        # Binomial: of those still quiet before, so many more wait after, and the others are still quiet.
        self._more = np.maximum(0, number - number[:, np.newaxis])
        self._left = np.maximum(0.0, controls[:, np.newaxis] - number)
        steps = np.ones((len(chains), size, size))
        np.cumprod((self._left[:, :, np.newaxis] - number[:-1]) / number[1:], axis=2, out=steps[:, :, 1:])
        ways = np.maximum(0.0, steps[:, number[:, np.newaxis], self._more])
        self._ways = ways * ((number >= number[:, np.newaxis]) & (number < sizes[:, np.newaxis, np.newaxis]))
        # the same by how many more and how many then: [chain, more, after], and how many before that were
        self._fewer = number - number[:, np.newaxis]
        self._reached = self._ways[:, np.maximum(0, self._fewer), number] * (self._fewer >= 0)

    def _chances(self, time: Array) -> tuple[Array, Array]:
        """After each time [chain, time], by a number of commands [chain, time, number]: the chance that these have
        begun to wait, whichever they are, and that all but so many are still quiet."""
        passed = (-self._pace[:, np.newaxis] * time)[:, :, np.newaxis]
        # powers by way of logarithms: numpy's own take several times as long
        begin = np.log(np.maximum(TINY, -np.expm1(passed)))
        return np.exp(begin * self._exponents), np.exp(passed * self._left[:, np.newaxis])

    def _begun(self, begin: Array, quiet: Array) -> Array:
        """[chain, time, before, after]: waiting commands after times with these chances, with none served in them."""
        return self._whole(begin.take(self._more, axis=2) * self._ways[:, np.newaxis], quiet, 1.0)

    def _later(self, before: Array, begin: Array, quiet: Array) -> Array:
        """[chain, time, start, after]: `before` [chain, start, waiting] @ `_begun`, in fewer steps where there are more
        times than starts: what does not depend on the time, by how many begin and how many then wait, comes first."""
        chains, starts, size = before.shape
        begun = (before[:, :, self._fewer] * self._reached[:, np.newaxis]).transpose(0, 2, 1, 3)
        result = (begin @ begun.reshape(chains, size, -1)).reshape(chains, -1, starts, size)
        return self._whole(result, quiet, before.sum(axis=2)[:, np.newaxis])

    def _whole(self, result: Array, quiet: Array, whole: Array | float) -> Array:
        """What has come of each start [chain, time, start, after]; all that is missing from it waits at the last."""
        result *= quiet[:, :, np.newaxis]
        missing = whole - (result.reshape(-1, self._size) @ np.ones(self._size)).reshape(result.shape[:3])
        result[self._rows, :, :, self._last] += np.maximum(0.0, missing)
        return result

    def _held(self, times: Array) -> Array:
        """[chain, time, waiting]: waiting commands, integrated over each time, by their number at its start."""
        time = times[:, :, np.newaxis]
        part = self._pace[:, np.newaxis, np.newaxis] * time
        # time - (1 - e^-part) / pace, by its series where the difference would be all rounding
        begun = time * np.where(part < 1e-4, part / 2 - part**2 / 6, 1 + np.expm1(-part) / part)
        return np.asarray(self._number * time + self._left[:, np.newaxis] * begun)

    def waits(self) -> list[Waits]:
        size, points, service, between = self._size, self._points, self._service, self._between
        parts = self._parts[:, np.newaxis]
        both = np.concatenate([service[0], between[0]], axis=1)
        chains, whole, cut = len(both), both.shape[1], service[0].shape[1]
        inside = (both[:, :, np.newaxis] * parts).reshape(chains, -1)
        begin, quiet = self._chances(np.concatenate([both, inside], axis=1))
        begun = self._begun(begin[:, :whole], quiet[:, :whole])
        served, rested = _by_row(service[1], begun[:, :cut]), _by_row(between[1], begun[:, cut:])
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
        row = begins.sum(axis=1)
        commands = row.sum(axis=1)
        time = commands * self._serving + self._resting
        held = self._held(both)
        serving, resting = _by_row(service[1], held[:, :cut]), _by_row(between[1], held[:, cut:])
        waiting = (row * serving + before[:, 0] * resting).sum(axis=1)
        carried = commands / time
        replaced = np.maximum(0.0, 1 - carried / (self._pace * self._controls))
        last = whole + cut * points
        # Moves that come in each phase, at points spread over its time, by what waits before them. Behind a command of
        # the row, polls take so many turns before them, or one more; nothing else of where in the row it is matters.
        more = (self._number % IN_A_ROW + np.arange(1.0, IN_A_ROW + 1)[:, np.newaxis]) // IN_A_ROW  # [command, waiting]
        behind = self._later(begins, begin[:, whole:last], quiet[:, whole:last])
        every, late = np.einsum("ctsa->cta", behind), np.einsum("ctsa,sa->cta", behind, more)
        # for each move in turn: how long it waits, how often, and for what stretch around that it stands
        values, weights, stretches = np.empty((3, chains, (cut + whole) * points * size))
        split = 2 * cut * points * size
        share = self._shares(service)
        of_commands = weights[:, :split].reshape(chains, cut * points, 2, size)
        np.multiply(every - late, share, out=of_commands[:, :, 0])
        np.multiply(late, share, out=of_commands[:, :, 1])
        of_polls = weights[:, split:].reshape(chains, -1, size)
        np.multiply(self._later(before, begin[:, last:], quiet[:, last:])[:, :, 0], self._shares(between), out=of_polls)
        number = np.minimum(self._exponents, self._last[:, np.newaxis])[:, np.newaxis]
        ahead = number * self._serving[:, np.newaxis, np.newaxis]
        turns = (number // IN_A_ROW + np.arange(2)[:, np.newaxis]) * self._resting[:, np.newaxis, np.newaxis]
        left = (both[:, :, np.newaxis] * (1 - parts)).reshape(chains, -1, 1, 1)
        rest = (ahead + turns)[:, np.newaxis]
        np.add(left[:, : cut * points], rest, out=values[:, :split].reshape(of_commands.shape))
        np.add(left[:, cut * points :, 0], rest[:, :, 0], out=values[:, split:].reshape(of_polls.shape))
        around = (both * self._each[:, :1])[:, :, np.newaxis]
        stretches[:, :split].reshape(chains, cut, -1)[:] = around[:, :cut]
        stretches[:, split:].reshape(chains, whole - cut, -1)[:] = around[:, cut:]
        numbers = zip((waiting / commands).tolist(), carried.tolist(), replaced.tolist(), strict=True)
        arrays = zip(values, weights, stretches, strict=True)
        return [Waits(*three, *others) for three, others in zip(numbers, arrays, strict=True)]

    def _shares(self, mix: tuple[Array, Array]) -> Array:
        """[chain, instant, waiting]: how often a move comes at each point of a phase."""
        share = ((mix[0] * mix[1])[:, :, np.newaxis] * self._each[:, np.newaxis]).reshape(len(mix[0]), -1)
        return np.asarray(share[:, :, np.newaxis] * self._left[:, np.newaxis])


def _by_row(weights: Array, what: Array) -> Array:
    """[chain, ...]: the sum over the second axis of `what`, weighted by [chain, that axis]."""
    chains, many = weights.shape
    total = weights[:, np.newaxis] @ what.reshape(chains, many, -1)
    return np.asarray(total.reshape(chains, *what.shape[2:]))


def _stationary(step: Array) -> Array:
    """[chain, state]: the distribution that a step of each chain leaves as it is."""
    size = step.shape[1]
    equations = step.transpose(0, 2, 1) - np.eye(size)
    equations[:, -1] = 1.0
    ones = np.zeros((size, 1))
    ones[-1] = 1.0
    return np.asarray(np.maximum(0.0, np.linalg.solve(equations, ones[np.newaxis])[:, :, 0]))
