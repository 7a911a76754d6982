"""Times that are not the same each time: a few values with weights, waits with many, and quantiles of their sums."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from busim.analysis.budget.cached import kept

Array = npt.NDArray[np.float64]
Cells = npt.NDArray[np.intp]
Numbers = Sequence[float] | Array

TINY = 1e-300
_CELLS = 512  # into which times are counted for a quantile

# The arrays of a budget come to some hundreds of kB at a time. The C library gives so much back to the system each time
# that it is free and has to find it again, page by page, for a tenth of a budget's time; but what was asked of it once
# in one piece it keeps from then on, up to twice as much (mallopt(3), M_MMAP_THRESHOLD: "dynamically adjusted").
np.empty(1 << 20)


class Mix:
    """A time that is one of `values` (ns) with `weights`, which add up to 1: plain numbers, since they are few."""

    def __init__(self, values: Numbers, weights: Numbers) -> None:
        self.values, self.weights = plain(values), plain(weights)

    @classmethod
    def of(cls, values: Numbers, weights: Numbers, variances: Numbers | float = 0.0) -> Mix:
        """Each value spread to two points by its variance, so that mean and mean square are kept."""
        values, weights = plain(values), plain(weights)
        varied = [variances] * len(values) if isinstance(variances, float) else plain(variances)
        spreads = [math.sqrt(variance) for variance in varied]
        low = [value - spread for value, spread in zip(values, spreads, strict=True)]
        high = [value + spread for value, spread in zip(values, spreads, strict=True)]
        whole = 2 * sum(weights)
        return cls(low + high, [weight / whole for weight in weights] * 2)

    @classmethod
    def two(cls, mean: float, square: float) -> Mix:
        """Two points with this mean and mean square."""
        spread = math.sqrt(max(0.0, square - mean**2))
        made = cls([mean - spread, mean + spread], [0.5, 0.5])
        made.mean = mean
        return made

    def shrunk(self) -> Mix:
        """Two points with the same mean and mean square."""
        return Mix.two(self.mean, self.square)

    def joined(self, other: Mix, share: float) -> Mix:
        """This one, or with the chance `share` the other."""
        if share <= 0:
            return self
        weights = [weight * (1 - share) for weight in self.weights]
        return Mix(self.values + other.values, weights + [weight * share for weight in other.weights])

    @kept
    def mean(self) -> float:
        return sum([value * weight for value, weight in zip(self.values, self.weights, strict=True)])

    @kept
    def square(self) -> float:
        """Mean square, ns^2."""
        return sum([value * value * weight for value, weight in zip(self.values, self.weights, strict=True)])


class Waits(NamedTuple):
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


def quantiles_of(found: Sequence[tuple[Waits, Mix]], share: float) -> list[float]:
    """`Waits.quantile` of several (wait, then) at once.

    The waits are points at the middle of stretches, so they are spread over those before they are added up.
    """
    if not found:
        return []
    then, likely = mixes_of([then for _, then in found])
    rises, step, lowest = _rises([one for one, _ in found], share, then.max(axis=1))
    # a point between two cells counts in both, by how near they are
    then = np.maximum(0.0, then / step)
    cells = then.astype(np.intp)
    nearer = likely * (then - cells)
    cells, likely = np.concatenate([cells, cells + 1], axis=1), np.concatenate([likely - nearer, nearer], axis=1)
    first = cells.min(axis=1, keepdims=True)
    span = 1 + int((cells.max(axis=1, keepdims=True) - first).max())
    stride = 1 + math.isqrt(span)
    # how much of the waits lies below each cell; nothing of them and all of them as far around as is looked below
    many, row = rises.shape
    before, size = span + 2, row + 2 * span + stride + 4
    below = np.zeros((many, size))
    rises.cumsum(axis=1, out=rises)[:, :-1].cumsum(axis=1, out=below[:, before + 1 : before + row])
    whole = below[:, before + row - 1 : before + row]
    below[:, before + row :] = whole
    rows = np.arange(many)[:, np.newaxis]
    origins = (rows * size + before + 1 - cells)[:, np.newaxis]

    def reached(places: Cells) -> Array:
        """How much of the sum of both lies in cells up to each place."""
        return np.asarray((below.take(origins + places[..., np.newaxis]) @ likely[..., np.newaxis])[..., 0])

    # The sum reaches it no sooner than the wait and the shortest of the rest might, no later than with the longest: it
    # is looked for in strides first, and then in one of them.
    wanted = share * whole
    low = (below < wanted).argmin(axis=1, keepdims=True) - before - 2 + first
    strides = (reached(low + np.arange(0, span, stride)) < wanted).sum(axis=1, keepdims=True)
    low = low + stride * np.maximum(0, strides - 1)
    sums = reached(low + np.arange(stride + 1))
    place = np.maximum(1, (sums < wanted).sum(axis=1, keepdims=True))
    under, over = sums[rows, place - 1], sums[rows, place]
    part = (wanted - under) / np.maximum(TINY, over - under)
    return ((low + place + part + lowest - _CELLS / 2) * step)[:, 0].tolist()  # type: ignore[no-any-return]


def _rises(found: Sequence[Waits], share: float, longest: Array) -> tuple[Array, Array, int]:
    """[wait, cell]: by how much more than the cell before each holds of a wait; ns of a cell [wait, 1], and how many
    there are before the first. `longest`: ns that something behind each wait may take.

    No more of a wait is told apart than `share` of it: of any law, at least that lies within so many standard
    deviations above the mean (Cantelli's inequality), so what is longer counts as so long.

    Numbers are put in the place of others: what so many take anew, the system has to find first.
    """
    values, stretches = side_by_side([one.values for one in found]), side_by_side([one.stretches for one in found])
    weights = side_by_side([one.weights for one in found], nothing=True)
    total, weighted = weights.sum(axis=1), values * weights
    middle, square = weighted.sum(axis=1) / total, np.vecdot(weighted, values) / total
    widest = stretches.max(axis=1)
    spread = np.sqrt(np.maximum(0.0, square - middle**2) + widest**2 / 12)
    most = np.minimum(values.max(axis=1), middle + math.sqrt(share / (1 - share)) * spread)
    step = ((most + widest / 2 + longest + 1) / _CELLS)[:, np.newaxis]
    # Each is spread over the cells of its stretch: so much more from the first cell on, so much less from the end.
    stretches /= step
    widths = np.maximum(1.0, np.rint(stretches, out=stretches), out=stretches)
    weights /= widths
    np.minimum(values, most[:, np.newaxis], out=values)
    values /= step
    values -= np.multiply(widths, 0.5, out=weighted)
    values += _CELLS / 2 + 0.5
    first = values.astype(np.intp)
    ends = widths.astype(np.intp)
    ends += first
    np.minimum(2 * _CELLS, ends, out=ends)
    lowest = int(first.min())  # of the cells that anything lies in; below it is 0, and whole from the last of them on
    row = int(ends.max()) - lowest + 2
    starts = np.arange(len(found))[:, np.newaxis] * row - lowest
    first += starts
    ends += starts
    rises: Array = np.bincount(first.ravel(), weights.ravel(), len(found) * row).astype(float, copy=False)
    rises -= np.bincount(ends.ravel(), weights.ravel(), len(found) * row)
    return rises.reshape(-1, row), step, lowest


def plain(numbers: Numbers) -> list[float]:
    """A list of them: what there are a few of, Python adds up sooner than numpy is called."""
    return numbers if isinstance(numbers, list) else np.asarray(numbers, float).tolist()


def mixes_of(mixes: Sequence[Mix]) -> tuple[Array, Array]:
    """Values and weights, [mix, point] each; those of fewer points have their first again and again, for nothing."""
    longest = max([len(mix.values) for mix in mixes])
    values: list[float] = []
    weights: list[float] = []
    for mix in mixes:
        more = longest - len(mix.values)
        values += mix.values + mix.values[:1] * more if more else mix.values
        weights += mix.weights + [0.0] * more if more else mix.weights
    return np.array(values).reshape(-1, longest), np.array(weights).reshape(-1, longest)


def side_by_side(rows: Sequence[Array], *, nothing: bool = False) -> Array:
    """[row, number]: shorter ones end with their first number again and again, or with nothing."""
    sizes = [len(row) for row in rows]
    longest = max(sizes)
    if min(sizes) == longest:
        return np.concatenate(rows).reshape(len(rows), longest)
    made = np.zeros((len(rows), longest))
    for place, (row, size) in enumerate(zip(rows, sizes, strict=True)):
        made[place, :size] = row
        if not nothing:
            made[place, size:] = row[0]
    return made
