"""Operators' moves at one master: how long each waits, exactly as the master serves them.

The textbook laws (`waiting`) have commands before polls, always, and every command a customer of its own. The master
differs in two ways that are felt from moderate load on: after four commands in a row a poll that is due has its
turn, and a new move of a control replaces one of the same control that still waits. Both are a Markov chain over the
number of waiting commands at the ends of polls: with p controls that move at random, each of those that do not wait
begins to wait within a time D with the chance 1 - e^(-rate D / p). Rates are per ns.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]

IN_A_ROW = 4  # commands that may go before a poll that is due: as masters do
_TINY = 1e-300
_FAR = 10  # standard deviations
_CELLS = 1024  # into which times are counted for a quantile
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

    def shrunk(self) -> Mix:
        """Two points with the same mean and mean square."""
        spread = np.sqrt(max(0.0, self.square - self.mean**2))
        return Mix(np.array([self.mean - spread, self.mean + spread]), np.array([0.5, 0.5]))

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
        """ns that `share` of wait and `then` (independent of it) do not exceed together.

        The waits are points at the middle of stretches, so they are spread over those before they are added up.
        """
        total = float(self.weights.sum())
        middle = float(self.values @ self.weights) / total
        spread = float(((self.values - middle) ** 2 @ self.weights) / total) ** 0.5
        longest = min(float(self.values.max()), middle + _FAR * spread)  # so few are longer that a quantile is not one
        step = (longest + float(then.values.max()) + 1) / _CELLS
        # lower ends of the stretches, in cells; those of one width are spread together
        widths = np.maximum(1, np.rint(self.stretches / step)).astype(int)
        first = (np.minimum(self.values, longest) / step - (widths - 1) / 2 + _CELLS / 2).astype(int)
        wait = np.zeros(2 * _CELLS)
        for width in np.unique(widths):
            held = widths == width
            counted = np.cumsum(np.bincount(first[held], self.weights[held], 2 * _CELLS))
            counted[width:] -= counted[:-width].copy()
            wait += counted / width
        rest = np.bincount(np.maximum(0, then.values / step).astype(int), then.weights, _CELLS)
        reached = np.cumsum(np.convolve(wait, rest))
        place = int(np.searchsorted(reached, share * reached[-1]))
        before = reached[place - 1] if place else 0.0
        part = (share * reached[-1] - before) / max(_TINY, float(reached[place] - before))
        return float((place + part - _CELLS / 2) * step)


def waits(rate: float, controls: float, service: Mix, between: Mix) -> Waits:
    """Moves at `rate` in all over `controls` that are alike. `service`: how long the master is inside one command.

    `between`: what it does while none waits, and after four: a poll, or a little of nothing where polls rest.
    """
    chain = _Chain(rate, max(1.0, controls), service, between)
    return chain.waits()


class _Chain:
    """Rows of the matrices are the number of waiting commands before, columns after."""

    def __init__(self, rate: float, controls: float, service: Mix, between: Mix) -> None:
        self._pace = rate / controls  # of one control
        self._controls = controls
        self._service = service
        self._between = between
        busy = rate * (service.mean + between.mean / IN_A_ROW)
        expected = 8 + 8 * rate * (service.values.max() + between.values.max()) + 30 * busy / max(0.2, 1 - busy)
        self._size = 1 + int(min(_MOST, np.ceil(controls), expected))
        self._points = int(np.clip(100 // self._size, 4, 10))
        self._number = np.arange(self._size)
        # Binomial: of those still quiet before, so many more wait after, and the others are still quiet.
        self._more = np.maximum(0, self._number - self._number[:, np.newaxis])
        self._left = np.maximum(0.0, controls - self._number)
        still = np.maximum(0.0, controls - self._number)[:, np.newaxis]
        steps = np.cumprod((still - self._number) / (1 + self._number), axis=1)
        ways = np.concatenate([np.ones((self._size, 1)), np.maximum(0.0, steps[:, :-1])], axis=1)
        self._ways = np.triu(np.take_along_axis(ways, self._more, axis=1))

    def _begun(self, time: Array) -> Array:
        """[time, before, after]: waiting commands after each time, with none served in it."""
        chance = -np.expm1(-self._pace * time)[:, np.newaxis, np.newaxis]
        quiet = -self._pace * time[:, np.newaxis, np.newaxis]  # log of the chance to stay so
        result = self._ways * np.exp(self._more * np.log(chance + _TINY) + quiet * self._left)
        result[:, :, -1] += np.maximum(0.0, 1 - result.sum(axis=2))
        return np.asarray(result)

    def _step(self, mix: Mix) -> Array:
        return np.tensordot(mix.weights, self._begun(mix.values), axes=1)

    def _held(self, mix: Mix) -> Array:
        """Waiting commands, integrated over the time, by their number at its start."""
        time = mix.values[:, np.newaxis]
        quiet = np.maximum(0.0, self._controls - self._number)
        part = self._pace * time
        # time - (1 - e^-part) / pace, by its series where the difference would be all rounding
        begun = time * np.where(part < 1e-4, part / 2 - part**2 / 6, 1 + np.expm1(-part) / part)
        return np.asarray(mix.weights @ (self._number * time + quiet * begun))

    def waits(self) -> Waits:
        size = self._size
        served, rested = self._step(self._service), self._step(self._between)
        command = np.zeros((size, size))
        command[1:] = served[:-1]  # the one that goes no longer waits
        idle = np.zeros((size, size))
        idle[0, 0] = 1.0
        paths = [np.eye(size)]
        for _ in range(IN_A_ROW):
            paths.append(paths[-1] @ command)
        to_between = sum(path @ idle for path in paths[:-1]) + paths[-1]
        ends = _stationary(to_between @ rested)
        starts = [ends @ path for path in paths]  # before command 1, 2, ..., and what is left after the last
        begins = [np.append(start[1:], 0.0) for start in starts[:-1]]  # waiting once that command has gone
        before = ends @ to_between
        commands = float(sum(begin.sum() for begin in begins))
        time = commands * self._service.mean + self._between.mean
        inside, around = self._held(self._service), self._held(self._between)
        waiting = float(sum(begin @ inside for begin in begins) + before @ around)
        carried = commands / time
        phases = [(begin, self._service, number + 1) for number, begin in enumerate(begins)]
        values, weights, stretches = self._each([*phases, (before, self._between, 0)])
        offered = self._pace * self._controls
        return Waits(waiting / commands, carried, max(0.0, 1 - carried / offered), values, weights, stretches)

    def _each(self, phases: list[tuple[Array, Mix, int]]) -> tuple[Array, Array, Array]:
        """Waits of moves that come in each phase, at points spread over its time, by what waits before them."""
        points = self._points
        parts = (np.arange(points) + 0.5) / points
        begun: dict[int, Array] = {}
        values, weights, stretches = [], [], []
        ahead = self._number
        for start, mix, row in phases:
            if id(mix) not in begun:
                begun[id(mix)] = self._begun(np.outer(mix.values, parts).ravel())
            left = np.outer(mix.values, 1 - parts).ravel()[:, np.newaxis]
            share = (mix.weights * mix.values)[:, np.newaxis].repeat(points, axis=1).ravel()[:, np.newaxis]
            before = np.einsum("n,tnk->tk", start, begun[id(mix)])
            turns = (ahead + row) // IN_A_ROW
            values.append((left + ahead * self._service.mean + turns * self._between.mean).ravel())
            stretches.append((mix.values / points)[:, np.newaxis].repeat(points * self._size, axis=1).ravel())
            weights.append((before * share * np.maximum(0.0, self._controls - ahead)).ravel())
        return np.concatenate(values), np.concatenate(weights), np.concatenate(stretches)


def _stationary(step: Array) -> Array:
    """The distribution that a step of the chain leaves as it is."""
    size = len(step)
    equations = step.T - np.eye(size)
    equations[-1] = 1.0
    return np.maximum(0.0, np.linalg.solve(equations, np.append(np.zeros(size - 1), 1.0)))
