"""What sessions in wall time and in virtual time share: one run, and a door for each converter, open to clients."""

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
    """A session with doors. What its arguments mean is said by `Live` and `Virtual`. Raises UserError."""

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
        """The door of each converter by its name, closed as yet."""
        return {
            name: (DatagramDoor if name in self._datagrams else Door)(name, port, enter, self._news)
            for name, port in world.converters.items()
        }


def complete(run: Run, failure: BaseException | None) -> None:
    """Complete the trace of a run. Raises what broke the run, as an error of busim's, its trace marked incomplete."""
    if failure is None:
        run.finish()
        return
    with contextlib.suppress(BusimError):  # what went wrong first matters more
        run.abandon()
    if isinstance(failure, BusimError):
        raise failure
    raise Defect(f"{type(failure).__name__}: {failure}") from failure
