"""`busim tap`: between a real controller and a real converter."""

from __future__ import annotations

import asyncio
import contextlib
import signal
from typing import TYPE_CHECKING, Annotated, Optional

import typer

from busim.cli import options, real_line

if TYPE_CHECKING:
    from busim.onsite.tapping import Observer, Tap

NAME = "tap"
HELP = "Stand between a controller and its converter: forward, record, measure."

_TICK = 0.02  # seconds between two looks at what waits


def command(
    listen: Annotated[str, typer.Argument(metavar="LISTEN", help="Where the controller connects, as 127.0.0.1:15001.")],
    target: real_line.Target,
    protocol: Annotated[
        str, typer.Option(metavar="NAME", help="The protocol of the line, or its file.")
    ] = "modbus-rtu",
    trace: options.Trace = None,
    overwrite: options.Overwrite = False,
    baud: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option(metavar="BAUD", help="Baud of the line, for the trace; else 38400 is assumed."),
    ] = None,
    format: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option(metavar="FORMAT", help="Its character format; else 8N1 is assumed."),
    ] = None,
    length: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option("--for", help="End after this time, as 10s; else at Ctrl-C."),
    ] = None,
    yes: real_line.Yes = False,
) -> None:
    """Say what will happen and ask, forward until Ctrl-C, then show the figures."""
    import time

    from busim.cli import option_parsing
    from busim.cli.live_status import News
    from busim.cli.tap_screen import print_watched
    from busim.foundation.errors import UserError
    from busim.foundation.units import CharFormat, parse_baud
    from busim.onsite.heard import LineTrace, Seen
    from busim.onsite.tapping import Observer, Tap
    from busim.onsite.targets import SOCKET, dangers, parse_target
    from busim.protocols import find
    from busim.runtime.clocks import wall_loop

    at = _address(listen, "LISTEN")
    the_target = parse_target(target)
    if the_target.kind != SOCKET:
        raise UserError(
            "the tap forwards to a socket", field="TARGET", found=repr(target[:80]), expected="socket://HOST:PORT",
            mend="give the address of the converter",
        )  # fmt: skip
    to = _address(the_target.where, "TARGET")
    spoken = find(protocol)
    seen = Seen(
        to[0], to[1], protocol, parse_baud(baud or "38400 Bd"), CharFormat.parse(format or "8N1"),
        assumed=baud is None or format is None,
    )  # fmt: skip
    seconds = None if length is None else option_parsing.length(length) / 1e9
    first = f"Each controller that connects to {listen} gets a connection of its own to {the_target.where}."
    real_line.agree((first, *dangers(the_target)), yes=yes)
    news = News()
    line_trace = None if trace is None else LineTrace(trace, seen, time.time_ns(), overwrite=overwrite)
    observer = Observer(spoken, line_trace, news.caution)
    tap = Tap(at, to, observer, news.tell)
    news.now = lambda: tap.now
    try:
        with asyncio.Runner(loop_factory=wall_loop) as runner:
            runner.run(_forward(tap, observer, listen, seconds))
    finally:
        observer.end(tap.now)
    print_watched(observer, tap.now, trace)


async def _forward(tap: Tap, observer: Observer, listen: str, seconds: float | None) -> None:
    """Until Ctrl-C, or for so many seconds. Raises UserError if nothing can listen there."""
    from busim.foundation.errors import UserError

    loop = asyncio.get_running_loop()
    stopped = asyncio.Event()
    for each in (signal.SIGINT, signal.SIGTERM):
        loop.add_signal_handler(each, stopped.set)
    try:
        async with tap:
            print(f"listens at {tap.address[0]}:{tap.address[1]}; Ctrl-C ends the tap and its connections", flush=True)
            end = None if seconds is None else loop.time() + seconds
            while not stopped.is_set() and (end is None or loop.time() < end):
                with contextlib.suppress(TimeoutError):
                    await asyncio.wait_for(stopped.wait(), _TICK)
                observer.elapsed(tap.now)
    except OSError as error:
        raise UserError(
            "nothing can listen at this address", field="LISTEN", found=f"{listen}: {error.strerror or error}",
            mend="choose a free port of an address of this machine",
        ) from None  # fmt: skip


def _address(text: str, field: str) -> tuple[str, int]:
    """Host and port. Raises UserError."""
    from busim.foundation.errors import UserError

    host, colon, port = text.rpartition(":")
    if not colon or not host or not port.isdecimal() or not 0 <= int(port) <= 65535:
        raise UserError(
            "this is no address", field=field, found=repr(text[:60]), expected="HOST:PORT, as 198.51.100.44:15001",
            mend="write the address and the port",
        )  # fmt: skip
    return host, int(port)
