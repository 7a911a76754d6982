"""How long a reply takes across a network that keeps its packets in order, each of which takes a time of its own.

A converter that sends bytes on at once, or so many at a time, makes several packets of a reply. TCP hands them over in
the order in which they were sent, so the last is not there before the slowest of those before it: on average the
reply comes later than any one packet alone would, and less spread.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
Numbers = float | Array

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(16)
_NODES, _WEIGHTS = (_NODES + 1) / 2, _WEIGHTS / 2


def last_of(
    low: Numbers, high: Numbers, idle: Numbers, length: Numbers, characters: Numbers, character: Numbers
) -> tuple[Numbers, Numbers]:
    """ns from the sending of the last packet of a reply until all of it is there: the mean, and the width of an even
    spread that varies as much.

    Each packet takes from `low` to `high`, evenly. `idle`, `length`, `characters`, `character`: as in `packing`.
    """
    if isinstance(low + high + idle + length + characters + character, float):  # numbers, all of them
        return _last_of(low, high, idle, length, characters, character)  # type: ignore[arg-type]
    low, high, idle, length, characters, character = np.broadcast_arrays(
        *(np.asarray(one, dtype=float) for one in (low, high, idle, length, characters, character))
    )
    width = high - low
    step, first, count = _packets_of(idle, length, characters, character)
    means, widths = (low + high) / 2, width.copy()
    met = (width > 0) & (count > 1) & (first < width)
    if met.any():
        mean, spread = _slowest_of(first[met] / width[met], step[met] / width[met], count[met])
        means[met], widths[met] = low[met] + mean * width[met], spread * width[met]
    return means, widths


def _last_of(
    low: float, high: float, idle: float, length: float, characters: float, character: float
) -> tuple[float, float]:
    """`last_of` in plain numbers."""
    width = high - low
    if not width:
        return low, 0.0
    step, first, count = _packets(idle, length, characters, character)
    if count <= 1 or first >= width:
        return (low + high) / 2, width
    mean, spread = _slowest(first / width, step / width, int(count))
    return low + mean * width, spread * width


def _packets(idle: float, length: float, characters: float, character: float) -> tuple[float, float, float]:
    """ns between two packets that are full, and between the last two; how many there are."""
    if idle < character:
        return character, character, characters
    if not 0 < length < characters:
        return 0.0, 0.0, 1.0
    left = characters % length
    return length * character, left * character + idle if left else length * character, -(-characters // length)


def _packets_of(idle: Array, length: Array, characters: Array, character: Array) -> tuple[Array, Array, Array]:
    """`_packets` over arrays."""
    alone, some = idle < character, (length > 0) & (length < characters)
    left = characters % np.maximum(length, 1)
    full = length * character
    step = np.where(alone, character, np.where(some, full, 0.0))
    first = np.where(alone, character, np.where(some, np.where(left > 0, left * character + idle, full), 0.0))
    return step, first, np.where(alone, characters, np.where(some, np.ceil(characters / np.maximum(length, 1)), 1.0))


@lru_cache(maxsize=4096)
def _slowest(first: float, step: float, count: int) -> tuple[float, float]:
    """Of draws from 0 to 1 that began earlier by 0, `first`, `first` + `step` ...: the mean of the last to come, and
    the width of an even spread that varies as much."""
    means, widths = _slowest_of(np.array([first]), np.array([step]), np.array([float(count)]))
    return float(means[0]), float(widths[0])


def _slowest_of(first: Array, step: Array, count: Array) -> tuple[Array, Array]:
    """`_slowest` over arrays. All are there at x with the product of the chances of each; the mean and mean square
    of what is left of it, by Gauss and Legendre's quadrature (any text on numerical methods)."""
    there = np.broadcast_to(_NODES, (len(first), len(_NODES))).copy()
    for number in range(1, int(count.max())):
        before = first + (number - 1) * step
        before[number >= count] = 1.0
        if (before >= 1).all():
            break
        there *= np.minimum(1.0, _NODES + before[:, np.newaxis])
    mean = (1 - there) @ _WEIGHTS
    square = (1 - there) @ (2 * _NODES * _WEIGHTS)
    return mean, np.sqrt(12 * np.maximum(0.0, square - mean**2))
