"""Operators at panels: moves of controls at random instants (a Poisson process), and joysticks at a steady rate."""

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


class Joystick:
    """A joystick that is moved all the time: `moves` all get a new value every `every` ns, up to `jitter` ns late.

    It begins anywhere in its first interval, so that joysticks do not go in step.
    """

    def __init__(self, kernel: Kernel, stream: Stream, every: int, jitter: int, moves: list[Move]) -> None:
        self._kernel = kernel
        self._stream = stream
        self._every = every
        self._jitter = jitter
        self._moves = moves
        self._due = 0

    def start(self) -> None:
        self._due = self._kernel.now + self._stream.between(0, self._every - 1)
        self._next()

    def _next(self) -> None:
        self._kernel.at_shown(self._due + self._stream.between(0, self._jitter), self._send)

    def _send(self, _: object) -> None:
        for move in self._moves:
            move.play(self._stream.between(move.low, move.high))
        self._due += self._every
        self._next()
