"""One run of an installation: joins world, figures and recorder.

Every clock uses the same `Run`: fast time advances it in one go, wall time little by little, replay from input to
input.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Collection, Iterable
from dataclasses import replace
from pathlib import Path
from typing import Any

from busim.installation import Installation, resolve
from busim.plan import Plan
from busim.recording.expectations import expectations
from busim.recording.figures import Fold
from busim.recording.trace import Emit, Gathering, Record
from busim.runtime.session.directed import Directed
from busim.runtime.session.heads import head
from busim.runtime.session.lateness import Lateness
from busim.runtime.session.recorder import Recorder
from busim.runtime.session.report import FaultCount, Report, make_report
from busim.simulator.world import Name, World, build

# ns of wall time in which even a busy machine simulates postponed events before they show. A shorter time costs less,
# but on many busy lines the postponed work then stood between their replies.
_MARGIN = 150_000


class Run(Directed):
    """Builds the installation of `plan` and starts it at instant 0.

    `trace`: its file, None for no trace; `played`: the masters that busim plays, None for all; `watched`: clients come
    from outside. `live`: in wall time, where recording must not wait. `hooked`: a controller receives intents and
    reports beliefs. `distinct`: cameras begin with values of their own, so that a value identifies its camera. `epoch`:
    UTC of simulated time 0 (ns since 1970), None for now. `also` gets every record too. Raises UserError.
    """

    def __init__(
        self,
        plan: Plan,
        seed: int,
        *,
        trace: str | Path | None = None,
        overwrite: bool = False,
        clock: str = "fast",
        speed: float = 1.0,
        played: Collection[str] | None = None,
        watched: bool = False,
        live: bool = False,
        hooked: bool = False,
        distinct: bool = False,
        always_exact: bool = False,
        epoch: int | None = None,
        also: Emit | None = None,
    ) -> None:
        self.plan = plan
        self.seed = seed
        self.clock = clock
        self._fold = Fold(hooked=hooked)
        # The plan may still fail to build, and then no trace must be begun.
        self.recorder: Recorder | None = None
        self._gathering = Gathering([self._fold.take_all])
        append: list[Emit] = []
        emit: Emit = self._fold.take if live else self._gathering.take
        if also is not None:
            emit = _both(emit, [also])
        if trace is not None and live:
            emit = _both(emit, append)
        site = resolve(plan)
        self.world: World = build(
            site, seed, emit, played=played, watched=watched, always_exact=always_exact,
            margin=int(_MARGIN * speed) if live else None, hooked=hooked, distinct=distinct,
        )  # fmt: skip
        self._expected = expectations(plan)
        self._fold.restless = restless(site, self.world.names)
        self._fold.presence.doors = doors(self.world.names) if watched else {}
        if trace is not None:
            names = None if played is None else sorted(played)
            about = head(
                plan, clock=clock, seed=seed, speed=speed, played=names, hooked=hooked, distinct=distinct, epoch=epoch
            )
            about["cables"] = json.dumps(self.world.cables())
            self.recorder = Recorder(trace, about, overwrite=overwrite, live=live)
            for name in self.world.names:
                self.recorder.name(*name)
            if live:
                append.append(self.recorder.append)
            else:
                self._gathering.takers.insert(0, self.recorder.extend)  # first: nothing may come between
                self.recorder.gathered = self._gathering.hand_over
            recorder = self.recorder
            self.world.told = lambda row: recorder.setting(*row)
        self.world.start()

    def advance(self, to: int) -> None:
        """Simulate up to and including `to` ns."""
        self.world.kernel.advance(to)

    def _world(self) -> World:
        return self.world

    def _enter(self, what: Callable[..., Any], *arguments: Any) -> None:
        what(*arguments)

    def finish(self) -> None:
        """End the run here; the trace is complete and closed."""
        self.advance(self.world.kernel.now)  # events that an action made due at this instant, as in a replay
        self.world.finish()
        if self.recorder is not None:
            self.recorder.close(self.world.kernel.now)

    def abandon(self) -> None:
        """After an error: keep the trace as far as it goes, marked incomplete."""
        if self.recorder is not None:
            self.recorder.__exit__(None, None, None)

    def report(self, lateness: Lateness | None = None) -> Report:
        """The figures so far, and the lateness of a wall clock."""
        self._gathering.hand_over()
        names, now = self.world.names, self.world.kernel.now
        report = make_report(self.plan, self.seed, self.clock, names, self._fold, now, self._expected, lateness)
        if self.faults:
            counts = (FaultCount(one.fault.name, one.at, one.count, one.first_at, one.last_at) for one in self.faults)
            report = replace(report, faults=tuple(counts))
        hook = self.world.hook
        return report if hook is None else replace(report, wrong=tuple(hook.wrong), wrong_count=hook.wrong_count)


def _both(take: Emit, append: list[Emit]) -> Emit:
    """Give a record to two functions; the second is replaced by `append` before the first record."""

    def emit(record: Record) -> None:
        take(record)
        append[0](record)

    return emit


def restless(site: Installation, names: Iterable[Name]) -> frozenset[int]:
    """The numbers of masters that have polls without a wanted rate."""
    return frozenset(name.row for name in names if name.kind == "master" and name.name in site.restless)


def doors(names: Iterable[Name]) -> dict[int, int]:
    """The numbers of converters, each with its line's."""
    return {name.row: name.parent for name in names if name.kind == "converter"}
