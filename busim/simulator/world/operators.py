"""Operators at panels: moves of controls at random instants (a Poisson process)."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from busim.simulator.kernel import Kernel, Stream


@dataclass(frozen=True, slots=True)
class Move:
    """A possible move: set `control` to a value from `low` to `high`. `play` carries it out."""

    low: int
    high: int
    play: Callable[[int], None]


class Operator:
    """A person at a panel who makes `rate` moves per second, each control equally likely.

    A controller outside may receive them, so on the wall clock they do not wait.
    """

    def __init__(self, kernel: Kernel, stream: Stream, rate: float, moves: list[Move]) -> None:
        self._kernel = kernel
        self._stream = stream
        self._mean = 1e9 / rate
        self._moves = moves

    def start(self) -> None:
        self._kernel.at_shown(self._kernel.now + self._stream.exponential(self._mean), self._move)

    def _move(self, _: object) -> None:
        stream = self._stream
        move = self._moves[stream.between(0, len(self._moves) - 1)]
        move.play(stream.between(move.low, move.high))
        self._kernel.at_shown(self._kernel.now + stream.exponential(self._mean), self._move)
