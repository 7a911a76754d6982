"""Delays drawn between two bounds: a camera's turnaround, a converter's latency (CameraReply, Crossing)."""

from __future__ import annotations

from busim.foundation.units import Spread
from busim.protocols import Reply
from busim.simulator.kernel import Stream


class Turnaround:
    """A camera answers after a time drawn uniformly from `spread`, with unchanged bytes."""

    def __init__(self, stream: Stream, spread: Spread) -> None:
        self._stream = stream
        self._low = spread.low
        self._high = spread.high

    def answer(self, raw: bytes, reply: Reply) -> tuple[int, bytes]:
        return self._stream.between(self._low, self._high), raw


class Latency:
    """One passage through a converter takes a time drawn uniformly from `spread`."""

    def __init__(self, stream: Stream, spread: Spread) -> None:
        self._stream = stream
        self._low = spread.low
        self._high = spread.high

    def delay(self) -> int:
        return self._stream.between(self._low, self._high)
