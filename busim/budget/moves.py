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
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
Cells = npt.NDArray[np.intp]

IN_A_ROW = 4  # commands that may go before a poll that is due: as masters do
_TINY = 1e-300
_FAR = 10  # standard deviations
_CELLS = 1024  # into which times are counted for a quantile
_POINTS = 6  # of each stretch where several chains are followed for what would be
_PADDING = 20_000  # numbers that are worked out for nothing sooner than another round of numpy calls is begun
_MOST = 60  # waiting commands looked at; more are so rare, or so many, that it makes no difference


@dataclass(frozen=True, slots=True)
class Mix:
    """A time that is one of `values` (ns) with `weights`, which add up to 1."""

    values: Array
    weights: Array

    @classmethod
    def of(cls, values: Array, weights: Array, variances: Array | float = 0.0) -> Mix:
        """Each value spread to two points by its variance, so that mean and mean square are kept."""
        values, weights = np.asarray(values, float), np.asarray(weights, float)
        spread = np.sqrt(np.broadcast_to(variances, values.shape))
        both = np.concatenate([values - spread, values + spread])
        return cls(both, np.concatenate([weights, weights]) / (2 * weights.sum()))

    @classmethod
    def two(cls, mean: float, square: float) -> Mix:
        """Two points with this mean and mean square."""
        spread = math.sqrt(max(0.0, square - mean**2))
        return cls(np.array([mean - spread, mean + spread]), np.array([0.5, 0.5]))

    def shrunk(self) -> Mix:
        """Two points with the same mean and mean square."""
        return Mix.two(self.mean, self.square)

    def joined(self, other: Mix, share: float) -> Mix:
        """This one, or with the chance `share` the other."""
        if share <= 0:
            return self
        weights = np.concatenate([self.weights * (1 - share), other.weights * share])
        return Mix(np.concatenate([self.values, other.values]), weights)

    @property
    def mean(self) -> float:
        return float(self.values @ self.weights)

    @property
    def square(self) -> float:
        """Mean square, ns^2."""
        return float(self.values**2 @ self.weights)


@dataclass(frozen=True, slots=True)
class Waits:
    """`mean`: ns from a move until its command is sent; `carried`: commands sent per ns; `replaced`: share of moves
    that a later one of the same control replaces. `values`, `weights`: the waits themselves, each standing for
    a stretch (ns) around it."""

    mean: float
    carried: float
    replaced: float
    values: Array
    weights: Array
    stretches: Array

    def mixed(self, other: Waits, share: float) -> Waits:
        """Of two times that take turns and are long, `other` for this share of it."""
        carried = (1 - share) * self.carried + share * other.carried
        part = share * other.carried / carried
        own, its = (1 - part) / self.weights.sum(), part / other.weights.sum()
        return Waits(
            (1 - part) * self.mean + part * other.mean,
            carried,
            (1 - share) * self.replaced + share * other.replaced,
            np.concatenate([self.values, other.values]),
            np.concatenate([own * self.weights, its * other.weights]),
            np.concatenate([self.stretches, other.stretches]),
        )

    def quantile(self, share: float, then: Mix) -> float:
        """ns that `share` of wait and `then` (independent of it) do not exceed together."""
        return quantiles_of([(self, then)], share)[0]


class Chain(NamedTuple):
    """Moves at `rate` in all over `controls` that are alike. `service`: how long the master is inside one command.

    `between`: what it does while none waits, and after four: a poll, or a little of nothing where polls rest.
    """

    rate: float
    controls: float
    service: Mix
    between: Mix


def quantiles_of(found: Sequence[tuple[Waits, Mix]], share: float) -> list[float]:
    """`Waits.quantile` of several (wait, then) at once.

    The waits are points at the middle of stretches, so they are spread over those before they are added up.
    """
    if not found:
        return []
    values = _side_by_side([one.values for one, _ in found])
    weights = _side_by_side([one.weights for one, _ in found], nothing=True)
    stretches = _side_by_side([one.stretches for one, _ in found])
    then, likely = _mixes([then for _, then in found])
    total = weights.sum(axis=1)
    middle = (values * weights).sum(axis=1) / total
    spread = np.sqrt(np.maximum(0.0, (values**2 * weights).sum(axis=1) / total - middle**2))
    longest = np.minimum(values.max(axis=1), middle + _FAR * spread)  # so few are longer that a quantile is not one
    step = ((longest + then.max(axis=1) + 1) / _CELLS)[:, np.newaxis]
    # Each is spread over the cells of its stretch: so much more from the first cell on, so much less from the end.
    widths = np.maximum(1.0, np.rint(stretches / step))
    first = (np.minimum(values, longest[:, np.newaxis]) / step - (widths - 1) / 2 + _CELLS / 2).astype(np.intp)
    ends = np.minimum(2 * _CELLS, first + widths.astype(np.intp))
    each = weights / widths
    lowest = int(first.min())  # of the cells that anything lies in; below it is 0, and whole from the last of them on
    rows, row = np.arange(len(found))[:, np.newaxis], int(ends.max()) - lowest + 2
    starts = rows * row - lowest
    places = np.concatenate([first + starts, ends + starts], axis=None)
    rises = np.bincount(places, np.concatenate([each, -each], axis=None), len(found) * row).reshape(-1, row)
    below = np.zeros((len(found), row))
    rises[:, :-1].cumsum(axis=1).cumsum(axis=1, out=below[:, 1:])
    cells = np.maximum(0, then / step).astype(np.intp)

    def reached(places: Cells) -> Array:
        """How much of the sum of both lies in cells up to each place."""
        at = np.minimum(row - 1, np.maximum(0, places[:, :, np.newaxis] + 1 - cells[:, np.newaxis]))
        return np.asarray((below.take(at + rows[:, :, np.newaxis] * row) @ likely[:, :, np.newaxis])[:, :, 0])

    # The sum reaches it no sooner than the wait and the shortest of the rest might, no later than with the longest: it
    # is looked for in strides first, and then in one of them.
    alone = np.array([one.searchsorted(share * one[-1]) for one in below])
    wanted = (share * below[:, -1] * likely.sum(axis=1))[:, np.newaxis]
    low = (alone - 2 + cells.min(axis=1))[:, np.newaxis]
    span = 1 + int((cells.max(axis=1) - cells.min(axis=1)).max())
    stride = 1 + math.isqrt(span)
    strides = (reached(low + np.arange(0, span, stride)) < wanted).sum(axis=1, keepdims=True)
    low = low + stride * np.maximum(0, strides - 1)
    sums = reached(low + np.arange(stride + 1))
    place = np.maximum(1, (sums < wanted).sum(axis=1, keepdims=True))
    before, after = sums[rows, place - 1], sums[rows, place]
    part = (wanted - before) / np.maximum(_TINY, after - before)
    return ((low + place + part + lowest - _CELLS / 2) * step)[:, 0].tolist()  # type: ignore[no-any-return]


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
            known, mean, longest = between, between.mean, max(between.values.tolist())
            rested = max(rested, len(between.values))
        served = max(served, len(service.values))
        busy = rate * (service.mean + mean / IN_A_ROW)
        reach = one * (1 + rate * (max(service.values.tolist()) + longest))
        expected = reach + load * busy / max(0.2, 1 - busy)
        size = max(size, 1 + int(min(_MOST, math.ceil(max(1.0, controls)), expected)))
    points = min(10, max(4, 100 // size)) if len(group) == 1 else _POINTS
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
        self._service, self._between = (_mixes(mixes) for mixes in zip(*(chain[2:] for chain in chains), strict=True))
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

    def _chances(self, time: Array) -> tuple[Array, Array]:
        """After each time [chain, time], by a number of commands [chain, time, number]: the chance that these have
        begun to wait, whichever they are, and that all but so many are still quiet."""
        passed = (-self._pace[:, np.newaxis] * time)[:, :, np.newaxis]
        # powers by way of logarithms: numpy's own take several times as long
        begin = np.log(np.maximum(_TINY, -np.expm1(passed)))
        return np.exp(begin * self._exponents), np.exp(passed * self._left[:, np.newaxis])

    def _begun(self, begin: Array, quiet: Array) -> Array:
        """[chain, time, before, after]: waiting commands after times with these chances, with none served in them."""
        return self._whole(begin.take(self._more, axis=2) * self._ways[:, np.newaxis], quiet, 1.0)

    def _later(self, before: Array, begin: Array, quiet: Array) -> Array:
        """[chain, time, start, after]: `before` [chain, start, waiting] @ `_begun`, in fewer steps where there are more
        times than starts: what does not depend on the time, by how many begin and how many then wait, comes first."""
        chains, starts, size = before.shape
        fewer = self._number - self._number[:, np.newaxis]  # [more, after]: before
        ways = self._ways[:, np.maximum(0, fewer), self._number] * (fewer >= 0)
        begun = (before[:, :, fewer] * ways[:, np.newaxis]).transpose(0, 2, 1, 3).reshape(chains, size, -1)
        result = (begin @ begun).reshape(chains, -1, starts, size)
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
        weights = [
            np.stack([every - late, late], axis=2) * self._shares(service),
            self._later(before, begin[:, last:], quiet[:, last:]) * self._shares(between),
        ]
        number = np.minimum(self._exponents, self._last[:, np.newaxis])[:, np.newaxis]
        ahead = number * self._serving[:, np.newaxis, np.newaxis]
        turns = (number // IN_A_ROW + np.arange(2)[:, np.newaxis]) * self._resting[:, np.newaxis, np.newaxis]
        left = (both[:, :, np.newaxis] * (1 - parts)).reshape(chains, -1, 1, 1)
        rest = (ahead + turns)[:, np.newaxis]
        values = [left[:, : cut * points] + rest, left[:, cut * points :] + rest[:, :, :1]]
        stretches = (both * self._each[:, :1]).repeat(np.repeat([2, 1], [cut, whole - cut]) * points * size, axis=1)
        numbers = zip((waiting / commands).tolist(), carried.tolist(), replaced.tolist(), strict=True)
        arrays = zip(_flat(values), _flat(weights), stretches, strict=True)
        return [Waits(*three, *others) for three, others in zip(numbers, arrays, strict=True)]

    def _shares(self, mix: tuple[Array, Array]) -> Array:
        """[chain, instant, 1, waiting]: how often a move comes at each point of a phase."""
        share = ((mix[0] * mix[1])[:, :, np.newaxis] * self._each[:, np.newaxis]).reshape(len(mix[0]), -1)
        return np.asarray(share[:, :, np.newaxis, np.newaxis] * self._left[:, np.newaxis, np.newaxis])


def _mixes(mixes: Sequence[Mix]) -> tuple[Array, Array]:
    """Values and weights, [mix, point] each."""
    return _side_by_side([mix.values for mix in mixes]), _side_by_side([mix.weights for mix in mixes], nothing=True)


def _side_by_side(rows: Sequence[Array], *, nothing: bool = False) -> Array:
    """[row, number]: shorter ones end with their first number again and again, or with nothing."""
    sizes = [len(row) for row in rows]
    longest = max(sizes)
    if min(sizes) == longest:
        return np.array(rows)
    made = np.zeros((len(rows), longest))
    for place, (row, size) in enumerate(zip(rows, sizes, strict=True)):
        made[place, :size] = row
        if not nothing:
            made[place, size:] = row[0]
    return made


def _flat(parts: list[Array]) -> Array:
    """[chain, all the rest]."""
    return np.concatenate([part.reshape(len(part), -1) for part in parts], axis=1)


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
