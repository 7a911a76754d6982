"""A plan in virtual time for blocking programs: pyserial's, in one thread, without an event loop."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Collection, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from urllib.parse import quote

from busim.foundation.errors import BusimError
from busim.plan import Plan
from busim.protocols.hook import Intent
from busim.runtime.clocks import Guard
from busim.runtime.session.hooked import Hooked
from busim.runtime.session.played import played
from busim.runtime.session.report import Report
from busim.runtime.session.run import Run
from busim.runtime.urls import Clock, Drive, Offer, Outlet, admit, withdraw


class SerialWorld(Hooked):
    """A world for `busim://` URLs; as text it is its token. Made by `serial_world`.

    `clock`: a stand-in for the module `time`, for libraries that sleep.
    """

    def __init__(self, run: Run, token: str, drive: Drive) -> None:
        self._run = run
        self._token = token
        self._waiting: list[Intent] = []
        self.clock = Clock(drive)
        if run.world.hook is not None:
            self.on_intent(self._waiting.append)

    def __str__(self) -> str:
        return self._token

    def url(self, converter: str) -> str:
        """The URL for `serial.serial_for_url`, which checks whether the converter exists."""
        return f"busim://{self._token}/{quote(converter)}"

    @property
    def now(self) -> int:
        """The simulated instant, ns."""
        return self._run.world.kernel.now

    def intents(self) -> list[Intent]:
        """Operators' moves since the last call. Raises UserError without `intents=True`."""
        self._hook()
        given = self._waiting.copy()
        self._waiting.clear()
        return given

    def _entered(self) -> Run:
        return self._run

    def _enter(self, what: Callable[..., Any], *arguments: Any) -> None:
        what(*arguments)

    def mark(self, text: str) -> None:
        """Set a mark in the trace, now."""
        self._run.world.mark(text)

    def report(self) -> Report:
        """The figures so far; after the `with` block, of the whole run."""
        return self._run.report()


@contextmanager
def serial_world(
    plan: Plan,
    seed: int = 1,
    *,
    trace: str | Path | None = None,
    overwrite: bool = False,
    play: Collection[str] = (),
    intents: bool = False,
    stand_in: Collection[str] = (),
) -> Iterator[SerialWorld]:
    """`plan` in virtual time, its converters as serial ports: `serial.serial_for_url(f"busim://{world}/converter")`.

    Simulated time passes while a port reads (or `clock` sleeps), and stands still otherwise. busim plays masters that
    stand on a line themselves; masters behind converters only if `play` names them. `intents`: the program receives
    operators' moves and reports beliefs. `stand_in`: names of modules whose `time` is simulated meanwhile, ("time",)
    for all. Blocking sockets are refused. Leaving closes open ports and completes the trace, also after a failure of
    the program. Raises UserError (a plan that cannot be built, a trace that cannot be written).
    """
    run = Run(
        plan, seed, trace=trace, overwrite=overwrite, clock="virtual", played=played(plan, play), watched=True,
        hooked=intents,
    )  # fmt: skip
    drive = Drive(run.world.kernel)
    outlets = {name: Outlet(name, drive, port) for name, port in run.world.converters.items()}
    token = admit(Offer(outlets))
    try:
        with Guard(lambda: drive.now, lambda ns: drive.go(drive.now + ns), stand_in):
            yield SerialWorld(run, token, drive)
    finally:
        withdraw(token)
        if drive.failure is None:
            for outlet in outlets.values():
                outlet.close_all()
            run.finish()
        else:  # the error is on its way to the program, or was caught by it
            with contextlib.suppress(BusimError):
                run.abandon()
