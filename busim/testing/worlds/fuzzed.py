"""A test of an asyncio controller that hypothesis runs with many cases; it reduces a failing one.

Each example has its own world and event loop, so a controller leaves nothing behind for the next.
"""

from __future__ import annotations

import asyncio
import contextlib
import runpy
from collections.abc import Callable, Collection, Coroutine
from functools import partial
from pathlib import Path
from typing import Any

from hypothesis import HealthCheck, Phase, given, settings

from busim.foundation.errors import UserError
from busim.plan import Plan, read
from busim.testing.fuzzing import Action, Case, save_test
from busim.testing.fuzzing.case import scheduled
from busim.testing.strategies import cases as drawn_cases
from busim.testing.worlds.asserting import judges_of
from busim.testing.worlds.virtual_world import VirtualWorld

_PHASES = (
    Phase.explicit,
    Phase.reuse,
    Phase.generate,
    Phase.target,
    Phase.shrink,
)  # without `explain`, which runs the case again for each part
_PATIENCE = 60 * 1_000_000_000  # ns of simulated time in which a controller that is cancelled must end

Controller = Callable[[VirtualWorld], Coroutine[Any, Any, Any]]


def fuzz_test(
    plan: str | Path | Plan, *, faults: Collection[str] = (), judges: Collection[str] = (), cases: int = 50,
    longest: str = "6 s", tries: int = 80, save: str | Path | None = "fuzz-failures",
) -> Callable[[Controller], Callable[[], None]]:  # fmt: skip
    """Make a test of an asyncio controller: `async def test_it(world)` runs in `cases` drawn worlds and is judged.

    `plan`: a path from the folder of the test's file or the present one, or a Plan. `faults`: names of the catalogue,
    without names all of it; `judges`: likewise, without names all that judge a controller. `longest`: simulated time of
    one case; a controller that still runs then is cancelled. hypothesis reduces a failing case in at most `tries` more
    runs. The result is shown with its timeline, and written into the folder `save` (None: not) for `busim replay`. All
    current settings of hypothesis apply except `max_examples`. The test raises LineAssertionError if a judge fails, the
    exceptions of the controller, and UserError for a plan that cannot be built. Raises UserError for an unknown judge.
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
            try:
                limits(given(case=drawn)(examined))()
            except Exception as error:
                if save is not None and examine.last is not None:
                    file = controller.__code__.co_filename
                    why = str(error).partition("\n")[0] or type(error).__name__
                    path = save_test(Path(save), file, controller.__name__, read_plan, examine.last, why)
                    error.add_note(f"saved; again: busim replay {path}")
                raise

        _named_as(controller, test)
        vars(test)["busim_case"] = partial(_again, controller, judges)
        return test

    return decorate


def _again(controller: Controller, judges: Collection[str], plan: Plan, case: Case) -> None:
    """A saved case once more. Raises as the test does."""
    run_case(plan, case, controller, judges)


def run_saved(file: str, name: str, plan: Plan, case: Case) -> str:
    """Run a case that a fuzz test saved. Returns the failure in words, empty for none. Raises UserError if the file no
    longer has the test.
    """
    try:
        found = runpy.run_path(file).get(name)
    except (OSError, SyntaxError) as error:
        raise UserError("the test file cannot be read", file=file, found=str(error)[:200]) from None
    again = getattr(found, "busim_case", None)
    if again is None:
        raise UserError("the file has no such fuzz test", file=file, found=repr(name[:60]), expected="a `fuzz_test`")
    try:
        again(plan, case)
    except Exception as error:
        return "\n".join([f"{type(error).__name__}: {error}", *getattr(error, "__notes__", ())])
    return ""


def _named_as(controller: Controller, test: Callable[..., None]) -> None:
    for name in ("__name__", "__qualname__", "__module__", "__doc__"):
        setattr(test, name, getattr(controller, name))


class _Examination:
    """Runs the examples of one test run. After the first failure `tries` more examples run, to reduce it. Further ones
    pass without a run, and known failures fail again: a simulated minute is slower than a usual example, and hypothesis
    itself stops only after 300 s of wall time.
    """

    def __init__(self, plan: Plan, controller: Controller, judges: Collection[str], tries: int) -> None:
        self._parts = plan, controller, judges
        self._left = tries
        self._failed: set[Case] = set()
        self.last: Case | None = None  # failed examples; hypothesis runs the smallest one last

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
            self.last = case
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
