"""Bit noise: pulses of one bit's length that invert the level at random instants (hook: LineLevel).

A receiver samples one instant of each bit, so a pulse as long as a bit hits exactly one sample of a character. Pulses
at `rate` x baud per second make each bit wrong with the probability `rate`. As a process in time it also hits the idle
line, where it makes false characters, as noise does.
"""

from __future__ import annotations

from busim.simulator.fault_hooks import Pulse
from busim.simulator.kernel import Kernel, Stream


class BitNoise:
    """Errors at `rate` per bit on a line of `bit` ns a bit."""

    def __init__(self, stream: Stream, rate: float, bit: int) -> None:
        self._stream = stream
        self._mean = bit / rate
        self._bit = bit

    def start(self, kernel: Kernel, pulse: Pulse) -> None:
        self._kernel, self._pulse = kernel, pulse
        kernel.at(kernel.now + self._stream.exponential(self._mean), self._strike)

    def _strike(self, _: object) -> None:
        self._kernel.at(self._kernel.now + self._stream.exponential(self._mean), self._strike)
        self._pulse(self._bit, False)
