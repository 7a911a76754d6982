"""The common part of sessions in wall time and in virtual time: one run, and a door for each converter."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Collection
from pathlib import Path

from busim.foundation.errors import BusimError, Defect
from busim.plan import Plan
from busim.recording.trace import Emit
from busim.runtime.bridge import DatagramDoor, Door, Enter
from busim.runtime.session.hooked import Awaited
from busim.runtime.session.played import played
from busim.runtime.session.run import Run
from busim.simulator.world import World


def nothing(_: object) -> None:
    """Nobody listens."""


class Served(Awaited):
    """A session with doors. `Live` and `Virtual` explain its arguments. Raises UserError."""

    def __init__(
        self, plan: Plan, seed: int, *, trace: str | Path | None, overwrite: bool, until: int | None,
        play: Collection[str], intents: bool, news: Callable[[str], None], distinct: bool, also: Emit | None,
    ) -> None:  # fmt: skip
        self._plan = plan
        self._seed = seed
        self._trace = trace
        self._overwrite = overwrite
        self._until = until
        self._played = played(plan, play)
        self._intents = intents
        self._news = news
        self._distinct = distinct
        self._also = also
        self._streams = []
        self._datagrams = {converter.name for converter in plan.converters if converter.transport == "udp"}

    def _make_run(self, clock: str, *, speed: float = 1.0, live: bool = False, epoch: int | None = None) -> Run:
        return Run(
            self._plan, self._seed, trace=self._trace, overwrite=self._overwrite, clock=clock, speed=speed,
            played=self._played, watched=True, live=live, hooked=self._intents, epoch=epoch,
            distinct=self._distinct, also=self._also,
        )  # fmt: skip

    def _make_doors(self, world: World, enter: Enter) -> dict[str, Door | DatagramDoor]:
        """The door of each converter by name, still closed."""
        return {
            name: (DatagramDoor if name in self._datagrams else Door)(name, port, enter, self._news)
            for name, port in world.converters.items()
        }


def complete(run: Run, failure: BaseException | None) -> None:
    """Complete the trace of a run. After an error, raises it as an error of busim and leaves the trace marked
    incomplete.
    """
    if failure is None:
        run.finish()
        return
    with contextlib.suppress(BusimError):  # the first error matters more
        run.abandon()
    if isinstance(failure, BusimError):
        raise failure
    raise Defect(f"{type(failure).__name__}: {failure}") from failure
