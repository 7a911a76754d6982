"""Delays drawn between two bounds: a camera's turnaround, a converter's latency (CameraReply, Crossing)."""

from __future__ import annotations

from busim.foundation.units import Spread
from busim.protocols import Reply
from busim.simulator.kernel import Stream


class Turnaround:
    """A camera answers after a time drawn uniformly from `spread`, with unchanged bytes."""

    def __init__(self, stream: Stream, spread: Spread) -> None:
        self._stream = stream
        self._spread = spread

    def answer(self, raw: bytes, reply: Reply) -> tuple[int, bytes]:
        spread = self._spread
        return (spread.low if spread.low == spread.high else self._stream.between(spread.low, spread.high)), raw


class Latency:
    """One passage through a converter takes a time drawn uniformly from `spread`."""

    def __init__(self, stream: Stream, spread: Spread) -> None:
        self._stream = stream
        self._spread = spread

    def delay(self) -> int:
        return self._stream.between(self._spread.low, self._spread.high)
