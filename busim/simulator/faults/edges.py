"""What faults of a driver's edges share: each frame gets the edges that are drawn for it when it goes to the driver."""

from __future__ import annotations

from collections.abc import Callable

from busim.protocols import Reply
from busim.simulator.fault_hooks import CameraReply, Remove, remove_all
from busim.simulator.faults.benches import CameraBench, ConverterBench, StationBench
from busim.simulator.faults.parameters import Values, shown_time
from busim.simulator.faults.passages import cover_down

# lead and hold of the plan, and by how much (ns), to the lead and hold of this frame
Edge = Callable[[int, int, int], tuple[int, int]]


def enabled_late(_: int, hold: int, by: int) -> tuple[int, int]:
    """The driver comes `by` ns behind the first start bit."""
    return -by, hold


def released_early(lead: int, _: int, by: int) -> tuple[int, int]:
    """The driver goes `by` ns before the end of the last stop bit."""
    return lead, -by


def held_long(lead: int, _: int, by: int) -> tuple[int, int]:
    """The driver goes `by` ns behind it."""
    return lead, by


def _draw(bench: StationBench, values: Values, edge: Edge) -> None:
    lead, hold = bench.own_edges()
    if bench.happens(values["share"]):
        by = values["by"] + bench.stream.between(0, values["jitter"])
        lead, hold = edge(lead, hold, by)
        bench.effect(shown_time(by))
    bench.edges(lead, hold)


class _Replies:
    inner: CameraReply

    def __init__(self, bench: CameraBench, values: Values, edge: Edge) -> None:
        self._drawn = bench, values, edge

    def answer(self, raw: bytes, reply: Reply) -> tuple[int, bytes]:
        _draw(*self._drawn)
        return self.inner.answer(raw, reply)


def cover_reply_edges(bench: CameraBench, values: Values, edge: Edge) -> Remove:
    """Draw the edges of each reply of a camera."""
    return remove_all(
        lambda: bench.edges(*bench.own_edges()), bench.reply.cover(_Replies(bench, values, edge))
    )  # fmt: skip


def cover_request_edges(bench: ConverterBench, values: Values, edge: Edge) -> Remove:
    """Draw the edges of each request that a converter sends."""

    def handle(data: bytes, pass_on: Callable[[bytes, int], None]) -> None:
        _draw(bench, values, edge)
        pass_on(data, 0)

    return remove_all(lambda: bench.edges(*bench.own_edges()), cover_down(bench, handle))
