"""A test of an asyncio controller that hypothesis runs with many cases; it reduces a failing one.

Each example has its own world and event loop, so a controller leaves nothing behind for the next.
"""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Callable, Collection, Coroutine
from pathlib import Path
from typing import Any

from hypothesis import HealthCheck, Phase, given, settings

from busim.plan import Plan, read
from busim.testing.fuzzing import Action, Case
from busim.testing.fuzzing.injected import scheduled
from busim.testing.strategies import cases as drawn_cases
from busim.testing.worlds.asserting import judges_of
from busim.testing.worlds.virtual_world import VirtualWorld

_PHASES = (
    Phase.explicit,
    Phase.reuse,
    Phase.generate,
    Phase.target,
    Phase.shrink,
)  # none to explain: it runs the case for each part
_PATIENCE = 60 * 1_000_000_000  # ns of simulated time in which a controller that is cancelled must end

Controller = Callable[[VirtualWorld], Coroutine[Any, Any, Any]]


def fuzz_test(
    plan: str | Path | Plan, *, faults: Collection[str] = (), judges: Collection[str] = (), cases: int = 50,
    longest: str = "6 s", tries: int = 80,
) -> Callable[[Controller], Callable[[], None]]:  # fmt: skip
    """Make a test of an asyncio controller: `async def test_it(world)` runs in `cases` drawn worlds and is judged.

    `plan`: a path from the folder of the test's file or the present one, or a Plan. `faults`: names of the catalogue,
    without names all of it; `judges`: likewise, without names all that judge a controller. `longest`: simulated time of
    one case; a controller that still runs then is cancelled. hypothesis makes what fails small, with `tries` more runs
    at most, and it is shown with its timeline. The current settings of hypothesis hold but for `max_examples`.

    The test raises LineAssertionError where a judge fails, and what the controller raises. Raises UserError for a judge
    that there is not; the test does for a plan that cannot be built.
    """
    judges_of(judges)

    def decorate(controller: Controller) -> Callable[[], None]:
        folder = Path(controller.__code__.co_filename).parent

        def test() -> None:
            __tracebackhide__ = True
            read_plan = plan if isinstance(plan, Plan) else read(_beside(folder, plan))
            examine = _Examination(read_plan, controller, judges, tries)

            def examined(case: Case) -> None:
                __tracebackhide__ = True
                examine(case)

            _named_as(controller, examined)
            drawn = drawn_cases(read_plan, faults=faults, longest=longest)
            limits = settings(
                max_examples=cases, deadline=None, suppress_health_check=list(HealthCheck), phases=_PHASES
            )
            limits(given(case=drawn)(examined))()

        _named_as(controller, test)
        return test

    return decorate


def _named_as(controller: Controller, test: Callable[..., None]) -> None:
    for name in ("__name__", "__qualname__", "__module__", "__doc__"):
        setattr(test, name, getattr(controller, name))


class _Examination:
    """Runs the examples of one test run. Once one has failed, `tries` more are run to make it small.

    Further ones count as passed without being run, and those that failed fail again: a simulated minute costs more than
    what hypothesis makes small as a rule, and its own limit is 300 s of wall time.
    """

    def __init__(self, plan: Plan, controller: Controller, judges: Collection[str], tries: int) -> None:
        self._parts = plan, controller, judges
        self._left = tries
        self._failed: set[Case] = set()

    def __call__(self, case: Case) -> None:
        __tracebackhide__ = True
        plan, controller, judges = self._parts
        if self._failed and case not in self._failed:
            if self._left <= 0:
                return
            self._left -= 1
        try:
            run_case(plan, case, controller, judges)
        except Exception:
            self._failed.add(case)
            raise


def _beside(folder: Path, plan: str | Path) -> Path:
    beside = folder / plan
    return beside if beside.exists() else Path(plan)


def run_case(plan: Plan, case: Case, controller: Controller, judges: Collection[str] = ()) -> VirtualWorld:
    """Run a controller in one case and judge it. Raises as the test of `fuzz_test` does; returns the world."""
    __tracebackhide__ = True
    with VirtualWorld(scheduled(plan, case), case.seed, until=case.length + _PATIENCE) as world:
        try:
            world.run(_ran, world, controller, case)
        except Exception as error:
            error.add_note(world.timeline())
            raise
    world.assert_judged(*judges)
    return world


async def _ran(world: VirtualWorld, controller: Controller, case: Case) -> None:
    """Run the controller, with operators beside it, for at most the length of the case."""
    running = asyncio.ensure_future(controller(world))
    acting = asyncio.ensure_future(_act(world, case.actions))
    try:
        await asyncio.wait([running], timeout=case.length / 1e9)
        if running.done():
            running.result()
    finally:
        for task in (running, acting):
            task.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await task


async def _act(world: VirtualWorld, actions: Collection[Action]) -> None:
    for action in sorted(actions):
        await asyncio.sleep(max(0, action.at - world.now) / 1e9)
        world.intend(action.camera, action.control, action.value)
