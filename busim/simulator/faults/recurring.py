"""Events that recur while a fault is on, at random instants or evenly."""

from __future__ import annotations

from collections.abc import Callable

from busim.simulator.fault_hooks import Remove
from busim.simulator.faults.benches import Bench


def recurring(bench: Bench, rate: float, strike: Callable[[], None]) -> Remove:
    """Call `strike` at `rate` per second, as a Poisson process, until removed; a rate of 0: never."""
    if rate <= 0:
        return lambda: None
    return _again(bench, lambda: bench.stream.exponential(1e9 / rate), strike)


def evenly(bench: Bench, every: int, strike: Callable[[], None]) -> Remove:
    """Call `strike` each `every` ns until removed."""
    return _again(bench, lambda: every, strike)


def _again(bench: Bench, pause: Callable[[], int], strike: Callable[[], None]) -> Remove:
    on = [True]
    kernel = bench.kernel

    def due(_: object) -> None:
        if on[0]:
            kernel.at(kernel.now + max(1, pause()), due)
            strike()

    def remove() -> None:
        on[0] = False

    kernel.at(kernel.now + max(1, pause()), due)
    return remove
