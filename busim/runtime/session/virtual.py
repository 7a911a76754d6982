"""A session in virtual time: an unchanged asyncio controller, and a plan's converters in memory.

The controller runs in a loop whose clock jumps, so an hour of polling takes as long as its computation. It connects to
the endpoints of the plan, or to their loopback addresses of `busim serve`; behind them is the same door as on a real
socket. Its bytes are recorded as from outside, so its trace can be replayed without it.
"""

from __future__ import annotations

import asyncio
import socket
from collections.abc import Callable, Collection, Coroutine
from pathlib import Path
from types import TracebackType
from typing import Any, TypeVar, cast

from busim.foundation.errors import UserError
from busim.plan import Plan
from busim.recording.trace import Emit
from busim.runtime.bridge import Address, DatagramDoor, Door, addresses, dialled
from busim.runtime.clocks import Place, VirtualLoop
from busim.runtime.session.report import Report
from busim.runtime.session.run import Run
from busim.runtime.session.served import Served, complete, nothing

_T = TypeVar("_T")


def _closed(what: Callable[..., Any], *arguments: Any) -> Any:
    """No loop runs yet, so nothing can come."""


class Virtual(Served):
    """`plan` in virtual time, inside its context; leaving completes the trace.

    busim plays masters that stand on a line themselves; masters behind converters only if `play` names them, since the
    controller takes their place. `until`: simulated ns after which a controller that still runs is an error. `news`
    gets messages about clients that come, go and are refused. `trace`, `overwrite`: as for `Run`. `intents`: the
    controller receives operators' moves (`intents()`) and reports beliefs. `stand_in`: names of modules whose `time` is
    simulated while a loop runs, ("time",) for all; any other module that calls `time` then gets a warning (`WallTime`).
    `distinct`: cameras begin with values of their own, drawn from the seed, so that a value identifies its camera.
    `also` gets every record.

    `run(main)` runs a controller to its end. For test frameworks, `loop` is a loop factory for `asyncio.Runner`.
    Several runs in one session follow each other in simulated time. `addresses` has the address of each converter.

    Entering and leaving raise UserError (a plan that cannot be built, a trace that cannot be written) and Defect.
    """

    addresses: dict[str, Address]

    def __init__(
        self,
        plan: Plan,
        seed: int = 1,
        *,
        trace: str | Path | None = None,
        overwrite: bool = False,
        until: int | None = None,
        play: Collection[str] = (),
        intents: bool = False,
        stand_in: Collection[str] = (),
        distinct: bool = False,
        also: Emit | None = None,
        news: Callable[[str], None] = nothing,
    ) -> None:
        super().__init__(
            plan, seed, trace=trace, overwrite=overwrite, until=until, play=play, intents=intents, news=news,
            distinct=distinct, also=also,
        )  # fmt: skip
        self._stand_in = tuple(stand_in)
        self._told: set[str] = set()  # modules that have had the warning about wall time
        self._run: Run | None = None
        self._loop: VirtualLoop | None = None
        self._over = False
        self._doors: dict[str, Door | DatagramDoor] = {}
        self.addresses = addresses(plan.converters, planned=True)
        self._passages = {one.name: round(one.latency.mean) for one in plan.converters}
        redial = {converter.name: converter.redial / 1e9 for converter in plan.converters}
        self._dialled = {name: (where, redial[name]) for name, where in dialled(plan.converters, planned=True).items()}

    def __enter__(self) -> Virtual:
        if self._run is not None:
            raise _used()
        self._run = self._make_run("virtual")
        self._doors = self._make_doors(self._run.world, _closed)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """End here; the trace is complete even after a failure of the controller. Raises errors of the run itself."""
        run = self._running()
        self._over = True
        self._close_streams()
        if self._loop is not None:
            self._loop.close()
        complete(run, None if self._loop is None else self._loop.failure)

    def run(self, main: Callable[..., Coroutine[Any, Any, _T]], *arguments: Any) -> _T:
        """Run `main(*arguments)` to its end and return its result, or raise its exception.

        Outside a `with` block this is the whole session: the trace is complete on return. Raises UserError if
        everything waits for ever, after `until`, and for features that virtual time lacks.
        """
        if self._run is None:
            with self:
                return self.run(main, *arguments)
        with asyncio.Runner(loop_factory=self.loop) as runner:
            return runner.run(main(*arguments))

    def loop(self) -> VirtualLoop:
        """A new event loop, at the present simulated instant, with every converter served."""
        run = self._running()
        if self._over:
            raise _used()
        if asyncio._get_running_loop() is not None:
            raise UserError(
                "virtual time cannot begin inside a running event loop",
                mend="call it from ordinary code; a test that runs controllers in virtual time is not itself `async`",
            )
        if self._loop is not None and not self._loop.is_closed():
            raise UserError(
                "two loops in one session of virtual time",
                expected="one clock: the first loop closed before the second begins",
                mend="make it one program (asyncio.gather), or close the first loop",
            )
        loop = self._loop = VirtualLoop(run.world.kernel, until=self._until, stand_in=self._stand_in, told=self._told)
        loop.run_until_complete(self._serve())
        return loop

    async def _serve(self) -> None:
        taken = set(self.addresses.values())
        assert self._loop is not None
        for name, door in self._doors.items():
            door.enter = self._loop.enter
            if name in self.addresses:
                planned = self.addresses[name]
                loopback = Address("127." + planned.host.partition(".")[2], planned.port)
                places = (planned,) if loopback in taken else (planned, loopback)
                taken.update(places)
                # asyncio takes anything its loop can listen on, and so does the door.
                await door.open(cast(socket.socket, Place(*places, passage=self._passages[name])))
            if name in self._dialled:
                address, redial = self._dialled[name]
                door.dial(*address, redial)

    def _running(self) -> Run:
        if self._run is None:
            raise UserError("this session has not begun", mend="use it in a `with` block, or call `run`")
        return self._run

    @property
    def now(self) -> int:
        """The simulated instant, ns."""
        return self._running().world.kernel.now

    def _entered(self) -> Run:
        return self._running()

    def _enter(self, what: Callable[..., Any], *arguments: Any) -> None:
        if self._over:
            raise _used()
        if self._loop is None or self._loop.is_closed():
            what(*arguments)
        else:
            self._loop.enter(what, *arguments)

    def mark(self, text: str) -> None:
        """Set a mark in the trace, now."""
        if self._over:
            raise _used()
        self._running().world.mark(text)

    def report(self) -> Report:
        """The figures so far; after the session, of the whole run."""
        return self._running().report()


def _used() -> UserError:
    return UserError("this session is over, or has begun already", mend="make another one: each is one run")
