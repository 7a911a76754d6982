"""One simulated run for its numbers.

It starts to count when the line has settled: every master has started, and cameras that never answer are offline and
probed at the longest pause. The budget describes that state, so measurements beside it must too.
"""

from __future__ import annotations

from array import array
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from busim.analysis.budget import cases
from busim.installation import POLICY, resolve
from busim.plan import Plan
from busim.recording.figures import Fold, Value
from busim.recording.trace import BURST, EXCHANGE, Record
from busim.simulator.world import World, build

Array = npt.NDArray[np.float64]

_STEP = 250_000_000  # ns between two checks whether it has settled, or whether to go on
_LONGEST_SETTLING = 300_000_000_000
_GOOD = ("ok", "refused")


@dataclass(slots=True)
class LineMeasurement:
    """One master on one line in `length` ns. Times in seconds, in order.

    `polls`: by camera and work, the instant of each; `exchanges`: the times of answered polls; `moves`: the time of
    each answered move, from the panel to the acknowledgement; `lost`: the number of unanswered exchanges. `figures` are
    those of the line, all masters together, `cameras` by name.
    """

    line: str
    master: str
    length: int
    polls: dict[tuple[str, str], Array]
    exchanges: Array
    moves: Array
    lost: int
    figures: dict[str, Value]
    cameras: dict[str, dict[str, Value]]

    def cycles(self, cameras: Iterable[str], work: str) -> Array:
        """Seconds between two polls of the same work of each camera, in order of time."""
        sent = [self.polls[camera, work] for camera in cameras if (camera, work) in self.polls]
        ends = np.concatenate([times[1:] for times in sent]) if sent else np.zeros(0)
        between = np.concatenate([np.diff(times) for times in sent]) if sent else np.zeros(0)
        return np.asarray(between[np.argsort(ends, kind="stable")])


@dataclass(slots=True)
class _Seen:
    sent: dict[tuple[int, str], array[int]] = field(default_factory=dict)
    exchanges: array[int] = field(default_factory=lambda: array("q"))
    moves: array[int] = field(default_factory=lambda: array("q"))
    lost: int = 0


class _Collector:
    """Takes the records of a run: until it settles only the probed cameras, then everything, counted from `start`."""

    def __init__(self) -> None:
        self.start: int | None = None
        self.fold = Fold()
        self.probes: dict[tuple[int, int], int] = {}
        self.seen: dict[tuple[int, int], _Seen] = {}

    def take(self, record: Record) -> None:
        kind = record[0]
        if kind == EXCHANGE:
            self._exchange(record)
        elif kind == BURST and self.start is not None and record[3] >= self.start:
            _, line, driver, start, end, setting, data, exact = record
            self.fold.take((BURST, line, driver, start - self.start, end - self.start, setting, data, exact))

    def _exchange(self, record: Record) -> None:
        _, line, master, camera, address, kind, work, attempt, asked, sent, ended, free, outcome, read, exact = record
        if self.start is None:
            if kind == "probe":
                self.probes[line, camera] = self.probes.get((line, camera), 0) + 1
            return
        start = self.start
        if sent < start:
            return
        self.fold.take(
            (
                EXCHANGE, line, master, camera, address, kind, work, attempt, asked - start, sent - start,
                ended - start, free - start, outcome, read - start if read >= 0 else read, exact,
            )
        )  # fmt: skip
        seen = self.seen.get((line, master))
        if seen is None:
            seen = self.seen[line, master] = _Seen()
        good = outcome in _GOOD
        seen.lost += not good
        if kind == "poll":
            seen.sent.setdefault((camera, work), array("q")).append(sent - start)
            if good:
                seen.exchanges.append(ended - sent)
        elif kind == "command" and good and asked >= start:
            seen.moves.append(ended - asked)


def measure(
    plan: Plan, length: int, seed: int = 1, advanced: Callable[[int, int], None] = lambda *_: None
) -> list[LineMeasurement]:
    """Run a plan for `length` ns after it has settled, and return the measurements of every master on each of its
    lines.

    `advanced` gets the progress: ns done, ns in all. Raises UserError for unknown names.
    """
    collector, site = _Collector(), resolve(plan)
    world = build(site, seed, collector.take)
    collector.fold.restless = frozenset(
        name.row for name in world.names if name.kind == "master" and name.name in site.restless
    )
    world.start()
    start = _settled(plan, world, collector)
    collector.start = start
    for now in range(0, length, _STEP):
        world.kernel.advance(start + now)
        advanced(now, length)
    world.kernel.advance(start + length)
    world.finish()
    advanced(length, length)
    return list(_results(plan, world, collector, length))


def _settled(plan: Plan, world: World, collector: _Collector) -> int:
    """Run until the line has settled."""
    numbers = {(name.parent, name.name): name.row for name in world.names if name.kind == "camera"}
    lines = {name.name: name.row for name in world.names if name.kind == "line"}
    dead = [
        (lines[case.line], numbers[lines[case.line], case.units[poll.unit].name])
        for case in cases(plan)
        for poll in case.polls
        if case.units[poll.unit].trouble
    ]
    now = max((master.starts_at for master in plan.masters), default=0)
    world.kernel.advance(now)
    while now < _LONGEST_SETTLING and any(collector.probes.get(one, 0) < POLICY.growing_probes for one in dead):
        now += _STEP
        world.kernel.advance(now)
    return now


def _results(plan: Plan, world: World, collector: _Collector, length: int) -> Iterable[LineMeasurement]:
    lines = {name.name: name.row for name in world.names if name.kind == "line"}
    masters = {name.name: name.row for name in world.names if name.kind == "master"}
    for line, master in dict.fromkeys((case.line, case.master) for case in cases(plan)):
        number = lines[line]
        seen = collector.seen.get((number, masters[master]), _Seen())
        names = {name.row: name.name for name in world.names if name.kind == "camera" and name.parent == number}
        yield LineMeasurement(
            line,
            master,
            length,
            {(names[camera], work): _seconds(times) for (camera, work), times in seen.sent.items()},
            _seconds(seen.exchanges),
            _seconds(seen.moves),
            seen.lost,
            collector.fold.line(number, length),
            {name: collector.fold.camera(number, camera, length) for camera, name in names.items()},
        )


def _seconds(times: array[int]) -> Array:
    return np.frombuffer(times, dtype=np.int64) / 1e9 if times else np.zeros(0)
