"""Chatter: on an undriven pair without fail-safe bias, receivers see start bits that nobody sent (hook: LineLevel).

Between frames the differential voltage lies inside +-200 mV, where a receiver's output is undefined (TIA/EIA-485-A via
ADI AN-960 Table 3). The pair drops to space for 0.6 to 9 bits, at random instants: isolated 00, FF, FE, F8, 80, some
with framing errors (the range is common practice, no source). It acts only while nobody drives, and not on receivers
that read 0 V as mark (true fail-safe parts).
"""

from __future__ import annotations

from busim.simulator.fault_hooks import Pulse
from busim.simulator.kernel import Kernel, Stream


class Chatter:
    """`rate` false start bits per second on a line of `bit` ns a bit."""

    def __init__(self, stream: Stream, rate: float, bit: int) -> None:
        self._stream = stream
        self._mean = 1e9 / rate
        self._lengths = (round(0.6 * bit), 9 * bit)

    def start(self, kernel: Kernel, pulse: Pulse) -> None:
        self._kernel, self._pulse = kernel, pulse
        kernel.at(kernel.now + self._stream.exponential(self._mean), self._strike)

    def _strike(self, _: object) -> None:
        self._kernel.at(self._kernel.now + self._stream.exponential(self._mean), self._strike)
        self._pulse(self._stream.between(*self._lengths), True)
