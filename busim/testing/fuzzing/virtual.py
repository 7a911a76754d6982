"""One case for an asyncio controller: its own code in virtual time, in process, and each time the same.

The controller is a function `async def NAME(hall)` in a Python file; `hall` is a `busim.Virtual`. The file is executed
anew for each case, so nothing of one case reaches the next.
"""

from __future__ import annotations

import asyncio
import contextlib
import sys
import threading
from dataclasses import dataclass
from functools import lru_cache
from itertools import count
from operator import itemgetter
from pathlib import Path
from types import CodeType, ModuleType
from typing import Any

from busim.foundation.errors import UserError
from busim.plan import Plan
from busim.recording.trace import BELIEF, BURST, INPUT, Record
from busim.runtime.session import Virtual
from busim.simulator.world import Name, SettingRow
from busim.testing.fuzzing.case import Case
from busim.testing.fuzzing.collecting import collecting_seldom
from busim.testing.fuzzing.happening import happen
from busim.testing.fuzzing.pure import Result
from busim.testing.fuzzing.staying import stays_up
from busim.testing.judging import Bench, Judge, ground_of

_PATIENCE = 60 * 1_000_000_000  # ns of simulated time in which a controller that is cancelled must end
_numbers = count()
_alone = threading.Lock()  # a loop in virtual time watches over the time of its whole process


class _Hall(Virtual):
    @property
    def names(self) -> list[Name]:
        """The numbers of its records."""
        return list(self._running().world.names)

    @property
    def drivers(self) -> list[SettingRow]:
        """The settings of senders of its records, by number."""
        return list(self._running().world.settings)


@dataclass(frozen=True)
class VirtualRun:
    """Runs a case against `function` of the Python file `path`, as a call that other processes can make too.

    `source`: the text of the file, so that another machine needs no copy of it. `master`: whose part it plays.
    """

    plan: Plan
    judges: tuple[type[Judge], ...]
    path: str
    function: str
    source: str
    master: str

    def __call__(self, case: Case) -> Result:
        with _alone, collecting_seldom():
            return self.traced(case)

    def traced(self, case: Case, trace: str | None = None) -> Result:
        """Run a case; `trace`: the file to record it in.

        Raises UserError where the file has no such function or cannot be executed.
        """
        records: list[Record] = []
        early: tuple[int, str] | None = None
        hall = _Hall(
            self.plan, case.seed, trace=trace, overwrite=True, until=case.length + _PATIENCE,
            intents=True, distinct=True, also=records.append,
        )  # fmt: skip
        with _executed(self) as module, hall:
            controller = _function(self, module)
            try:
                returned: bool = hall.run(_ran, hall, controller, case)
                if returned:
                    early = hall.now, "the controller returned"
            except Exception as error:
                early = hall.now, f"the controller raised {type(error).__name__}: {error}"
            names, drivers, until = hall.names, hall.drivers, hall.now
        hooked = BELIEF in set(map(itemgetter(0), records))
        ground = ground_of(self.plan, names, self.master, hooked=hooked, played=False, drivers=drivers)
        bench = Bench(ground, self.judges, meant=bool(case.faults))
        bench.take_all(records)
        verdicts = bench.finish(until)
        asked = sum(1 for one in records if one[0] == BURST and one[2] in ground.ours)
        clients = sum(1 for one in records if one[0] == INPUT and one[4] == "open")
        return Result((*verdicts, stays_up(early, clients, asked, bench)), bench.reached)


async def _ran(hall: Virtual, controller: Any, case: Case) -> bool:
    """The controller, with operators beside it, for the length of the case; whether it ended before."""
    running = asyncio.ensure_future(controller(hall))
    acting = asyncio.ensure_future(happen(hall, case, lambda at: (at - hall.now) / 1e9, []))
    try:
        await asyncio.wait([running], timeout=case.length / 1e9)
        if running.done():
            running.result()
            return True
        return False
    finally:
        for task in (running, acting):
            task.cancel()
            with contextlib.suppress(asyncio.CancelledError, Exception):
                await task


@lru_cache(8)
def _compiled(source: str, path: str) -> CodeType:
    try:
        return compile(source, path, "exec")
    except (SyntaxError, ValueError) as error:
        raise UserError(
            "the controller's file is not Python", file=path, line=getattr(error, "lineno", None), found=str(error)
        ) from None


@contextlib.contextmanager
def _executed(run: VirtualRun) -> Any:
    """The file as a module of its own. Its folder is where its imports are looked for, too."""
    module = ModuleType(f"busim_controller_{next(_numbers)}")
    module.__file__ = run.path
    folder = str(Path(run.path).resolve().parent)
    if folder not in sys.path:
        sys.path.append(folder)
    sys.modules[module.__name__] = module
    try:
        try:
            exec(_compiled(run.source, run.path), module.__dict__)
        except UserError:
            raise
        except Exception as error:
            raise UserError(
                "the controller's file cannot be executed", file=run.path, found=f"{type(error).__name__}: {error}"
            ) from error
        yield module
    finally:
        sys.modules.pop(module.__name__, None)


def _function(run: VirtualRun, module: ModuleType) -> Any:
    found = getattr(module, run.function, None)
    if not asyncio.iscoroutinefunction(found):
        have = [name for name, value in vars(module).items() if asyncio.iscoroutinefunction(value)]
        raise UserError(
            "the file has no such asyncio function", file=run.path, found=repr(run.function[:60]),
            expected=" or ".join(have) or "a function `async def controller(hall)`",
        )  # fmt: skip
    return found
