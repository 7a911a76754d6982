"""A world in wall time, served on loopback during a test: it has its own thread and event loop.

So it works with any test: plain sockets, other programs, asyncio with pytest-asyncio or with anyio's plug-in.
"""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Callable, Sequence
from types import TracebackType
from typing import Any, TypeVar

from busim.plan import Plan
from busim.protocols.hook import Intent
from busim.recording.trace import Record
from busim.runtime.bridge import Address
from busim.runtime.session import Live, Report
from busim.simulator.world import Name
from busim.testing.worlds.asserting import Asserting

_T = TypeVar("_T")


class ServedWorld(Asserting):
    """Serves `plan` inside its context, on free ports unless `any_port=False`; `options` are those of `Live`.

    `addresses`: converter to host and port. `moves`: operators' moves so far. Every call may come from any thread.
    Entering, leaving and each call raise UserError as `Live` does.
    """

    addresses: dict[str, Address]

    def __init__(self, plan: Plan, seed: int = 1, **options: Any) -> None:
        self.records: list[Record] = []
        self.moves: list[Intent] = []
        self._plan = plan
        options = {"intents": True, "distinct": True, "any_port": True, **options}
        self._live = Live(plan, seed, also=self.records.append, **options)
        self._loop = asyncio.new_event_loop()
        self._thread = threading.Thread(target=self._loop.run_forever, name="busim", daemon=True)

    def __enter__(self) -> ServedWorld:
        self._thread.start()
        try:
            self._await(self._live.__aenter__())
        except BaseException:
            self._stop()
            raise
        self.addresses = self._live.addresses
        self._call(self._live.on_intent, self.moves.append)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        try:
            self._await(self._live.__aexit__(kind, error, trace))
        finally:
            self._stop()

    def _stop(self) -> None:
        self._loop.call_soon_threadsafe(self._loop.stop)
        self._thread.join()
        self._loop.close()

    def _await(self, coroutine: Any) -> Any:
        return asyncio.run_coroutine_threadsafe(coroutine, self._loop).result()

    def _call(self, what: Callable[..., _T], *arguments: Any, **named: Any) -> _T:
        """Call it in the loop's thread. Returns its result or raises its exception."""

        async def call() -> _T:
            return what(*arguments, **named)

        result: _T = self._await(call())
        return result

    def _present(self) -> tuple[Plan, Sequence[Name], int]:
        return self._plan, self._live.run.world.names, self._live.now

    @property
    def now(self) -> int:
        """The present simulated instant, ns."""
        return self._live.now

    def do(self, line: str) -> str:
        """Do the action of a line as typed into `busim serve` (`fault late-reply on CAMERA`, `power off CAMERA`)."""
        return self._call(self._live.do, line)

    def fault(self, name: str, at: str, **values: Any) -> None:
        """Switch a fault or a preset on, as `busim.Virtual` does."""
        self._call(self._live.fault, name, at, **values)

    def no_fault(self, name: str, at: str | None = None) -> None:
        """Switch it off, there or everywhere."""
        self._call(self._live.no_fault, name, at)

    def power(self, camera: str, on: bool) -> None:
        """Switch the power of a camera on or off."""
        self._call(self._live.power, camera, on)

    def mark(self, text: str) -> None:
        """Set a mark, now."""
        self._call(self._live.mark, text)

    def intend(self, camera: str, parameter: str, value: int) -> None:
        """An operator moves a control, now."""
        self._call(self._live.intend, camera, parameter, value)

    def believe(self, camera: str, parameter: str, value: int) -> None:
        """The controller believes that the camera has this value."""
        self._call(self._live.believe, camera, parameter, value)

    def believe_online(self, camera: str) -> None:
        """The controller believes that the camera is online."""
        self._call(self._live.believe_online, camera)

    def believe_offline(self, camera: str) -> None:
        """The controller believes that the camera is offline."""
        self._call(self._live.believe_offline, camera)

    def report(self) -> Report:
        """The figures so far."""
        return self._call(self._live.run.report)
