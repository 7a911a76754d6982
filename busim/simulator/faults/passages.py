"""The common part of faults of a converter's bytes: covers of the hook points towards the line and the network."""

from __future__ import annotations

from collections.abc import Callable

from busim.simulator.fault_hooks import Passage, Remove, remove_all
from busim.simulator.faults.benches import ConverterBench

# The bytes and how to pass some on (bytes, ns from now); all other bytes are dropped.
Handle = Callable[[bytes, Callable[[bytes, int], None]], None]


class PassageCover:
    """Takes all passing bytes, and passes on those that `handle` says, in order."""

    inner: Passage

    def __init__(self, bench: ConverterBench, handle: Handle) -> None:
        self._kernel = bench.kernel
        self._handle = handle
        self._last = 0  # ns of the last passage, so that nothing overtakes

    def __call__(self, data: bytes, client: int | None, /) -> None:
        def pass_on(piece: bytes, after: int) -> None:
            if not piece:
                return
            at = self._last = max(self._last, self._kernel.now + after)
            if at <= self._kernel.now:
                self.inner(piece, client)
            else:
                self._kernel.at_shown(at, self._due, (piece, client))

        self._handle(data, pass_on)

    def _due(self, what: tuple[bytes, int | None]) -> None:
        self.inner(*what)


def cover_up(bench: ConverterBench, handle: Handle) -> Remove:
    """Packets on their way from the line to the network."""
    return bench.up.cover(PassageCover(bench, handle))


def cover_down(bench: ConverterBench, handle: Handle) -> Remove:
    """Chunks on their way from the network to the line."""
    return bench.down.cover(PassageCover(bench, handle))


def cover_ways(bench: ConverterBench, way: str, handle: Handle) -> Remove:
    """Both ways, or one of them: `way` is both, to-line or to-net."""
    up = [cover_up(bench, handle)] if way != "to-line" else []
    down = [cover_down(bench, handle)] if way != "to-net" else []
    return remove_all(*up, *down)
