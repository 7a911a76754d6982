"""Chance: random streams derived from one seed and a name.

Each use has its own stream, named after its user (`camera`, `left mat`, `turnaround`), so one more camera does not
shift the draws of another. Values are drawn from numpy in blocks: a single draw costs ten times as much.
"""

from __future__ import annotations

import hashlib
import math
from typing import Final

from numpy.random import PCG64, Generator, SeedSequence

_BLOCK: Final = 512
_MASK: Final = (1 << 64) - 1


class Stream:
    """One stream of draws from a seed of several words. All times in ns. Its generator is made at the first draw."""

    __slots__ = ("_block", "_generator", "_words")

    def __init__(self, words: list[int]) -> None:
        self._words = words
        self._generator: Generator | None = None
        self._block: list[float] = []

    def random(self) -> float:
        """A number from 0 up to, but not including, 1."""
        if not self._block:
            self._generator = self._generator or Generator(PCG64(SeedSequence(self._words)))
            self._block = self._generator.random(_BLOCK).tolist()
        return self._block.pop()

    def between(self, low: int, high: int) -> int:
        """A whole number from `low` to `high`, both included, all equally likely."""
        if low == high:
            return low
        return low + int(self.random() * (high - low + 1))

    def exponential(self, mean: float) -> int:
        """A waiting time with this mean (a Poisson process), at least 1."""
        return max(1, round(-mean * math.log(1.0 - self.random())))


class Chance:
    """The source of streams: `stream("camera", name, "turnaround")` gives the same draws in every run."""

    __slots__ = ("seed",)

    def __init__(self, seed: int) -> None:
        self.seed = seed

    def stream(self, *names: str) -> Stream:
        digest = hashlib.sha256("\x1f".join(names).encode()).digest()
        words = [int.from_bytes(digest[n : n + 4], "big") for n in range(0, 16, 4)]
        return Stream([self.seed & _MASK, *words])

    def key(self, *names: str) -> int:
        """A 64-bit number for a coin (`busim.physics.contention`), the same in every run."""
        digest = hashlib.sha256(("\x1f".join((str(self.seed), *names))).encode()).digest()
        return int.from_bytes(digest[:8], "big")
