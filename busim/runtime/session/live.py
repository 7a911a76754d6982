"""A live session: the installation in wall time, its converters open to real clients.

Joins one run, the wall clock, a door for each converter and the recorder. For the command line and, as an async context
manager, for your own programs and tests.
"""

from __future__ import annotations

import asyncio
import contextlib
import socket
import time
import warnings
from collections.abc import Callable, Collection, Mapping
from pathlib import Path
from types import TracebackType
from typing import Any

from busim.foundation.errors import UserError
from busim.plan import Plan, served
from busim.recording.trace import Emit
from busim.runtime.bridge import (
    Address,
    DatagramDoor,
    Door,
    PtyDoor,
    addresses,
    bind_all,
    cautions,
    dialled,
    link_names,
)
from busim.runtime.clocks import Wall
from busim.runtime.session.lateness import Lateness
from busim.runtime.session.report import Report
from busim.runtime.session.run import Run
from busim.runtime.session.served import Served, complete, nothing
from busim.runtime.session.slices import short_slices

_LEAD = 150_000_000  # ns of wall time from binding to simulated instant 0, for the rest of the set-up
_FLUSH = 0.01  # seconds of wall time between two checks of rows that wait for the trace's writer
_ENOUGH = 200  # rows worth a batch: making one is a pause, so batches are neither large nor frequent
_AT_LAST = 10  # checks after which any rows go
SLOWEST, FASTEST = 0.1, 10.0


class Live(Served):
    """Serves `plan` inside its context; entering raises UserError if it cannot, with nothing left behind.

    busim plays masters that stand on a line themselves; masters behind converters only if `play` names them, since the
    real controller takes their place. `listen`: loopback or planned; `any_port`: ports of the system's choice. `pty`: a
    folder for links to pseudo-terminals, one per converter; `ptys` (once entered) has them by name. `speed`: 0.1 to 10,
    simulated time per wall time; `until`: simulated ns of the session's end. `intents`: the controller receives
    operators' moves (`intents()`) and reports beliefs. `distinct`: cameras begin with values of their own, drawn from
    the seed. `also` gets every record. `announce` gets the addresses once bound, before simulated time begins; `news`
    gets messages about clients, `caution` warnings for the user.

    Leaving completes the trace. `addresses` (once entered) has the address of each converter.
    """

    addresses: dict[str, Address]
    run: Run

    def __init__(
        self,
        plan: Plan,
        seed: int = 1,
        *,
        trace: str | Path | None = None,
        overwrite: bool = False,
        speed: float = 1.0,
        until: int | None = None,
        play: Collection[str] = (),
        intents: bool = False,
        distinct: bool = False,
        also: Emit | None = None,
        listen: str = "loopback",
        any_port: bool = False,
        pty: str | Path | None = None,
        announce: Callable[[Mapping[str, Address]], None] = nothing,
        news: Callable[[str], None] = nothing,
        caution: Callable[[str], None] = nothing,
    ) -> None:
        if not SLOWEST <= speed <= FASTEST:
            raise UserError(
                "no speed for wall time", found=f"{speed:g}", expected=f"{SLOWEST:g} to {FASTEST:g}",
                mend="use `busim run` to go as fast as possible",
            )  # fmt: skip
        super().__init__(
            plan, seed, trace=trace, overwrite=overwrite, until=until, play=play, intents=intents, news=news,
            distinct=distinct, also=also,
        )  # fmt: skip
        self._speed = speed
        self._wanted = addresses(served(plan), planned=_planned(listen), any_port=any_port)
        self._dialled = dialled(plan.converters, planned=_planned(listen))
        self._pty = None if pty is None else Path(pty)
        self.ptys: dict[str, Path] = {}
        self._announce = announce
        self._caution = caution
        self._wall: Wall
        self._doors: list[Door | DatagramDoor] = []
        self._pty_doors: list[PtyDoor] = []
        self._passed = 0  # times without a batch
        self._flusher: asyncio.TimerHandle | None = None
        self._slices = contextlib.ExitStack()
        self._failed: asyncio.Future[None]
        self.lateness = Lateness()

    async def __aenter__(self) -> Live:
        sockets = bind_all(self._wanted, self._datagrams)
        origin, epoch = time.monotonic_ns() + _LEAD, time.time_ns() + _LEAD
        try:
            self.addresses = {name: Address(*each.getsockname()) for name, each in sockets.items()}
            self.run = self._make_run("wall", speed=self._speed, live=True, epoch=epoch)
        except BaseException:
            for each in sockets.values():
                each.close()
            raise
        self._wall = Wall(
            self.run.world.kernel, origin=origin, speed=self._speed, until=self._until, late=self._late,
            behind=self._behind,
        )  # fmt: skip
        if self.run.recorder is not None:
            self.run.recorder.stuck = self._writer_stuck
        try:
            await self._open(sockets)
        except BaseException:
            self._close_doors()
            self.run.abandon()
            for each in sockets.values():
                each.close()
            raise
        self._slices.enter_context(short_slices())
        return self

    async def _open(self, sockets: Mapping[str, socket.socket]) -> None:
        doors = self._make_doors(self.run.world, self._wall.enter)
        self._doors = list(doors.values())
        self._make_ptys(doors)
        for text in cautions(self.addresses, self._dialled):
            warned(self._caution, text)
        self._announce(self.addresses)
        self._wall.start()
        self._flush()
        for name, each in sockets.items():
            await doors[name].open(each)
        pauses = {converter.name: converter.redial / 1e9 / self._speed for converter in self._plan.converters}
        for name, address in self._dialled.items():
            doors[name].dial(*address, pauses[name])
        for pty_door in self._pty_doors:
            pty_door.open()

    def _close_doors(self) -> None:
        for door in self._doors:
            door.close()
        for pty_door in self._pty_doors:
            pty_door.close()

    def _make_ptys(self, doors: Mapping[str, Door | DatagramDoor]) -> None:
        if self._pty is None:
            return
        for name, link in link_names(doors).items():
            door = PtyDoor(name, doors[name].port, self._pty / link, self._wall.enter, doors[name].number, self._news)
            self._pty_doors.append(door)
            self.ptys[name] = door.link

    async def __aexit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Bring the run to the present and complete the trace. Raises the error that ended the run early, if any."""
        self._slices.close()
        self._wall.stop()
        self._close_doors()
        for _ in range(2):  # turns of the loop in which connections end: no client waits for the trace
            await asyncio.sleep(0)
        self._close_streams()
        if self._flusher is not None:
            self._flusher.cancel()
        complete(self.run, self._wall.ended.exception())

    @property
    def now(self) -> int:
        """The present simulated instant, ns."""
        return self._entered().world.kernel.now

    async def ended(self) -> None:
        """Wait for the session's end: `until` has come, or an error (leaving raises it)."""
        await asyncio.wait([self._wall.ended])

    def _entered(self) -> Run:
        if not hasattr(self, "run"):
            raise UserError("this session has not begun", mend="use it in an `async with` block")
        return self.run

    def _enter(self, what: Callable[..., Any], *arguments: Any) -> None:
        self._wall.enter(what, *arguments)

    def mark(self, text: str) -> None:
        """Set a mark in the trace, now."""
        self._wall.enter(self.run.world.mark, text)

    def endpoints(self, *, dialled: bool = True) -> dict[str, dict[str, Any]]:
        """JSON-ready: converter to host and port, with `transport` udp and `pty` where they apply.

        `dials`: it connects to that host and port instead of listening; with `dialled` False these are left out.
        """
        found: dict[str, dict[str, Any]] = {name: address._asdict() for name, address in self.addresses.items()}
        for name in self._datagrams & found.keys():
            found[name]["transport"] = "udp"
        for name, address in self._dialled.items() if dialled else ():
            found.setdefault(name, {**address._asdict(), "dials": True})
        for name, link in self.ptys.items():
            found.setdefault(name, {})["pty"] = str(link.absolute())
        return found

    def report(self) -> Report:
        """The figures so far, with the lateness."""
        return self.run.report(self.lateness)

    def _late(self, at: int, ns: int) -> None:
        self.lateness.add(ns)
        if self.run.recorder is not None:
            self.run.recorder.lateness(at, ns)

    def _behind(self, ns: int) -> None:
        self._caution(
            f"caution: this machine does not keep up: events come {ns / 1e9:.2f} s late by now. Simulated times stay "
            "exact, but a real controller sees slow replies; use a lower --speed, fewer lines or a faster machine."
        )

    def _writer_stuck(self, seconds: float) -> None:
        self._caution(
            f"caution: the process that writes the trace has taken nothing for {seconds:.0f} s. The session goes on "
            "and keeps its records in memory; check whether the disk hangs or that process was stopped."
        )

    def _flush(self) -> None:
        """Hand rows over to the trace writer if they are worth a pause; check again later."""
        if self.run.recorder is not None and not self._wall.ended.done():
            self._passed += 1
            if self.run.recorder.waiting() >= _ENOUGH or self._passed >= _AT_LAST:
                self._passed = 0
                self._wall.apart(self.run.recorder.flush)
            self._flusher = asyncio.get_running_loop().call_later(_FLUSH, self._flush)


def warned(caution: Callable[[str], None], text: str) -> None:
    """Tell a caution: by `caution`, or as a Python warning in a program that gave none."""
    if caution is nothing:
        warnings.warn(text, stacklevel=2)
    else:
        caution(text)


def _planned(listen: str) -> bool:
    if listen not in ("loopback", "planned"):
        raise UserError(
            "no such way to listen", found=repr(listen), expected="loopback or planned", mend="choose one of the two"
        )
    return listen == "planned"
