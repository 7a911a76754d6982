"""Delay of a reply across a network that keeps packets in order, each with a random delay of its own.

A converter that forwards bytes at once, or a fixed number at a time, splits a reply into several packets. TCP delivers
them in the order of sending, so the last one never arrives before the slowest packet ahead of it. On average the reply
comes later than a single packet would, and with less spread.
"""

from __future__ import annotations

import math
from functools import cache, lru_cache

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
Numbers = float | Array


@cache
def _rule() -> tuple[Array, Array]:
    """Nodes and weights of Gauss and Legendre for integrals from 0 to 1. Few plans split replies, few wait for it."""
    nodes, weights = np.polynomial.legendre.leggauss(16)
    return (nodes + 1) / 2, weights / 2


def last_of(
    low: Numbers, high: Numbers, idle: Numbers, length: Numbers, characters: Numbers, character: Numbers
) -> tuple[Numbers, Numbers]:
    """Delay from the sending of the last packet of a reply to the arrival of the whole reply, ns: its mean, and the
    width of a uniform distribution with the same variance.

    The delay of each packet is uniform from `low` to `high`. `idle`, `length`, `characters` and `character`
    are as in `packing`.
    """
    if isinstance(low + high + idle + length + characters + character, float):  # all of them are plain numbers
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
    """Time in ns between two full packets, time between the last two, and the number of packets. A mean number of
    characters counts as the next whole one."""
    characters = math.ceil(characters)
    if idle < character:
        return character, character, characters
    if not 0 < length < characters:
        return 0.0, 0.0, 1.0
    left = characters % length
    return length * character, left * character + idle if left else length * character, -(-characters // length)


def _packets_of(idle: Array, length: Array, characters: Array, character: Array) -> tuple[Array, Array, Array]:
    """`_packets` over arrays."""
    characters = np.ceil(characters)
    alone, some = idle < character, (length > 0) & (length < characters)
    left = characters % np.maximum(length, 1)
    full = length * character
    step = np.where(alone, character, np.where(some, full, 0.0))
    first = np.where(alone, character, np.where(some, np.where(left > 0, left * character + idle, full), 0.0))
    return step, first, np.where(alone, characters, np.where(some, np.ceil(characters / np.maximum(length, 1)), 1.0))


@lru_cache(maxsize=4096)
def _slowest(first: float, step: float, count: int) -> tuple[float, float]:
    """Maximum of uniform draws from 0 to 1, shifted earlier by 0, `first`, `first` + `step` ...: its mean, and the
    width of a uniform distribution with the same variance."""
    means, widths = _slowest_of(np.array([first]), np.array([step]), np.array([float(count)]))
    return float(means[0]), float(widths[0])


def _slowest_of(first: Array, step: Array, count: Array) -> tuple[Array, Array]:
    """`_slowest` over arrays. The distribution of the maximum is the product of all distributions; its mean and mean
    square come from Gauss-Legendre quadrature of the complement (any text on numerical methods)."""
    nodes, weights = _rule()
    there = np.broadcast_to(nodes, (len(first), len(nodes))).copy()
    for number in range(1, int(count.max())):
        before = first + (number - 1) * step
        before[number >= count] = 1.0
        if (before >= 1).all():
            break
        there *= np.minimum(1.0, nodes + before[:, np.newaxis])
    mean = (1 - there) @ weights
    square = (1 - there) @ (2 * nodes * weights)
    return mean, np.sqrt(12 * np.maximum(0.0, square - mean**2))
