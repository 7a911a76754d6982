"""A world in virtual time that keeps its records, for assertions."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from busim.plan import Plan
from busim.recording.trace import Record
from busim.runtime.session import Virtual
from busim.simulator.world import Name
from busim.testing.worlds.asserting import Asserting

_HOUR = 3600 * 1_000_000_000  # ns


class VirtualWorld(Asserting, Virtual):
    """`busim.Virtual` with operators and beliefs, cameras with values of their own, and assertions.

    `until`: simulated ns after which a controller that still runs is an error, one hour unless given; `options` are
    those of `Virtual`.
    """

    def __init__(self, plan: Plan, seed: int = 1, *, until: int = _HOUR, **options: Any) -> None:
        self.records: list[Record] = []
        options = {"intents": True, "distinct": True, **options}
        super().__init__(plan, seed, until=until, also=self.records.append, **options)

    def __enter__(self) -> VirtualWorld:
        super().__enter__()
        return self

    def _present(self) -> tuple[Plan, Sequence[Name], int]:
        return self._plan, self._running().world.names, self.now
