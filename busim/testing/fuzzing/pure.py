"""One case for a master that is a pure object: in process, in virtual time.

The master is any object with the interface of `simulator.masters.Master`. What it believes is told as a controller with
a hook would tell it: values when they are others than before, and which cameras are online.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from busim.installation import resolve
from busim.plan import Plan
from busim.protocols.hook import Intent
from busim.recording.trace import EXCHANGE, Record
from busim.simulator.masters import Master
from busim.simulator.world import Name, SettingRow, World, build
from busim.testing.fuzzing.believing import Believer, MakeMaster
from busim.testing.fuzzing.case import Action, Case, scheduled
from busim.testing.fuzzing.collecting import collecting_seldom
from busim.testing.fuzzing.linked import Link, linked
from busim.testing.fuzzing.watching import Watched
from busim.testing.judging import Bench, Ground, Judge, Verdict, ground_of

_SECOND = 1_000_000_000  # ns; after each the bench takes the new records, so no more are held


@dataclass(frozen=True, slots=True)
class Result:
    """What became of a case. `reached`: triples of a judge's state, a fault and how the last exchange ended.

    Of a run in wall time: `trace`, its file, and `watched`, what was seen of the process. Where records were kept:
    `records`, `names` (of their numbers) and `ground` (what the judges knew).
    """

    verdicts: tuple[Verdict, ...]
    reached: frozenset[tuple[str, str, str]] = frozenset()
    records: tuple[Record, ...] = field(default=(), repr=False)
    names: tuple[Name, ...] = field(default=(), repr=False)
    settings: tuple[SettingRow, ...] = field(default=(), repr=False)
    ground: Ground | None = field(default=None, repr=False)
    trace: str = ""
    watched: Watched | None = None


@dataclass(frozen=True)
class PureRun:
    """`run_pure` of one plan and one master, as a call that other processes can make too."""

    plan: Plan
    judges: tuple[type[Judge], ...]
    make: MakeMaster = Master
    silent: bool = False
    link: type[Link] | None = None
    wire_only: bool = False

    def __call__(self, case: Case) -> Result:
        return self._run(case, keep=False)

    def kept(self, case: Case) -> Result:
        """A case with its records."""
        return self._run(case, keep=True)

    def _run(self, case: Case, *, keep: bool) -> Result:
        with collecting_seldom():
            return run_pure(
                self.plan, case, self.judges, self.make, silent=self.silent, link=self.link, wire_only=self.wire_only,
                keep=keep,
            )  # fmt: skip


def run_pure(
    plan: Plan, case: Case, judges: Sequence[type[Judge]], make: MakeMaster = Master, *, master: str | None = None,
    keep: bool = False, silent: bool = False, link: type[Link] | None = None, wire_only: bool = False,
) -> Result:  # fmt: skip
    """Run a case and judge it. `master`: the name of the one under test, the plan's first where None; `keep`: the
    records too; `silent`: the master has no hook. `link`: what connects it to its converters, where that can break.
    `wire_only`: it is judged as a program that prints nothing, without its own word on its exchanges.

    Raises Findings for a plan that cannot be built.
    """
    name = master or plan.masters[0].name
    kept: list[Record] = []
    believer = Believer()
    site = resolve(scheduled(plan, case))
    world = build(
        site,
        case.seed,
        kept.append,
        hooked=True,
        distinct=True,
        master=believer.making(make, silent or wire_only),
    )
    ground = ground_of(
        site, world.names, name, hooked=not (silent or wire_only), played=not wire_only, drivers=world.settings
    )
    bench = Bench(ground, judges, meant=bool(case.faults))
    believer.watch(world, ground)
    if link is not None:
        linked(world, link)
    _schedule(world, name, case.actions)
    world.start()
    records: list[Record] = []
    for until in (*range(_SECOND, case.length, _SECOND), case.length):
        world.kernel.advance(until)
        if until == case.length:
            world.finish()
        new = [one for one in kept if one[0] != EXCHANGE] if wire_only else kept.copy()
        kept.clear()
        bench.take_all(new)
        if keep:
            records += new
    verdicts = tuple(bench.finish(case.length))
    if not keep:
        return Result(verdicts, bench.reached)
    return Result(verdicts, bench.reached, tuple(records), tuple(world.names), tuple(world.settings), ground)


def _schedule(world: World, master: str, actions: Sequence[Action]) -> None:
    """Operators act: the hook is told, and it tells the master, as a controller outside would be told."""
    hook = world.hook
    assert hook is not None

    def act(action: Action) -> None:
        hook.intend(action.camera, action.control, action.value, "panel", step=action.step)

    def hear(intent: Intent) -> None:
        world.moves[master, intent.camera](intent.parameter, intent.value, intent.step)

    hook.told.append(hear)
    for action in actions:
        if action.camera in hook.known:
            world.kernel.at(action.at, act, action)
