"""`busim tap`: between a real controller and a real converter."""

from __future__ import annotations

import contextlib
import signal
import sys
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, Annotated, Optional

import typer

from busim.cli import options, real_line

if TYPE_CHECKING:
    import asyncio

    from busim.cli.live_status import News
    from busim.onsite.tapping import SerialEnd, TapBeside

NAME = "tap"
HELP = "Stand between controller and converter: record and measure."

_PTY = "pty:"  # before the path of a pseudo-terminal
_TICK = 0.05  # seconds between two looks at what waits
_SHOWN = 1.0  # seconds between two tables on the terminal
_CAUTION = (
    "Faults of the tap make replies late, lost or damaged. A controller may then repeat commands and give up cameras: "
    "heads can move while people are near, and a show loses its pictures. Keep people away from every head, and do it "
    "only while nothing depends on this line."
)
_HELP = "mark TEXT; with --faults also: late-reply 200 ms 10 %, lost-reply 10 %, damaged-reply 10 %, off, drop"


def command(
    listen: Annotated[
        str,
        typer.Argument(
            metavar="LISTEN", help="Where the controller connects: 127.0.0.1:15001, or pty:PATH, a port to make."
        ),
    ],
    target: Annotated[
        str, typer.Argument(metavar="TARGET", help="The converter: socket://..., rfc2217://..., or a serial port.")
    ],
    protocol: Annotated[
        str, typer.Option(metavar="NAME", help="The protocol of the line, or its file.")
    ] = "modbus-rtu",
    trace: options.Trace = None,
    overwrite: options.Overwrite = False,
    baud: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option(
            metavar="RATE", help="Baud of the line: needed for a serial port, else 38400 is assumed for the trace."
        ),
    ] = None,
    format: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option(metavar="FORMAT", help="Its character format: needed for a serial port, else 8N1 is assumed."),
    ] = None,
    direction: real_line.Direction = "hardware",
    length: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option("--for", help="End after this time, as 10s; else at Ctrl-C."),
    ] = None,
    faults: Annotated[
        bool, typer.Option("--faults", help="Allow faults of replies, typed while it runs; asks once.")
    ] = False,
    yes: real_line.Yes = False,
) -> None:
    """Say what will happen and ask, forward until Ctrl-C, then show the figures."""
    import asyncio
    import time

    from busim.cli import option_parsing
    from busim.cli.live_status import News
    from busim.cli.tap_screen import print_watched
    from busim.foundation.units import CharFormat
    from busim.onsite.heard import LineTrace, Seen
    from busim.onsite.tapping import Observer, TapBeside
    from busim.onsite.targets import PORT, RFC2217, dangers, parse_target
    from busim.protocols import find
    from busim.runtime.clocks import wall_loop

    the_target = parse_target(target)
    at = listen.removeprefix(_PTY) if listen.startswith(_PTY) else _address(listen, "LISTEN")
    if the_target.kind == PORT:
        to: tuple[str, int] | SerialEnd = _port(the_target.where, baud, format, direction)
        box = "127.0.0.1", 0
    else:
        to = box = _address(the_target.where, "TARGET")
    spoken, files = find(protocol), _files(protocol)
    seen = Seen(
        *box, next(iter(files), protocol), real_line.rate(baud or "38400 Bd"), CharFormat.parse(format or "8N1"),
        assumed=baud is None or format is None,
    )  # fmt: skip
    seconds = None if length is None else option_parsing.length(length) / 1e9
    first = f"Each controller that connects to {listen} gets a connection of its own to {the_target.where}."
    real_line.agree((first, *dangers(the_target, direction)), yes=yes)
    if faults:
        real_line.agree((_CAUTION,), yes=yes, question="Allow faults in this session?")
    news = News()
    line_trace = None if trace is None else LineTrace(trace, seen, time.time_ns(), files=files, overwrite=overwrite)
    observer = Observer(spoken, line_trace, news.caution, telnet=the_target.kind == RFC2217)
    tap = TapBeside(at, to, observer, news.tell, news.caution)
    news.now = lambda: tap.now
    try:
        with asyncio.Runner(loop_factory=wall_loop) as runner:
            runner.run(_forward(tap, news, seconds, faults))
    finally:
        observer.end(tap.now)
    print_watched(observer, tap.now, trace)


async def _forward(tap: TapBeside, news: News, seconds: float | None, faults: bool) -> None:
    """Until Ctrl-C, or for so many seconds."""
    import asyncio

    loop = asyncio.get_running_loop()
    stopped = asyncio.Event()
    for each in (signal.SIGINT, signal.SIGTERM):
        loop.add_signal_handler(each, stopped.set)
    async with tap:
        where = f"{tap.address[0]}:{tap.address[1]}" if tap.address[1] else tap.address[0]
        print(f"listens at {where}; Ctrl-C ends the tap and its connections", flush=True)
        end = None if seconds is None else loop.time() + seconds
        with _typed(loop, tap, news, faults), _table(tap) as show:
            while not stopped.is_set() and not tap.over.done() and (end is None or loop.time() < end):
                with contextlib.suppress(TimeoutError):
                    await asyncio.wait_for(stopped.wait(), _TICK)
                tap.observer.elapsed(tap.now)
                show()


@contextlib.contextmanager
def _typed(loop: asyncio.AbstractEventLoop, tap: TapBeside, news: News, faults: bool) -> Iterator[None]:
    """Lines on standard input set marks, and with `faults` switch faults."""
    from busim.cli.stdin_lines import Typed, typed_input

    def do(line: str) -> None:
        word, _, rest = line.partition(" ")
        if word == "mark" and rest:
            tap.observer.mark(tap.now, rest)
            news.tell(f"mark: {rest}")
        elif word in ("help", "mark"):
            news.tell(_HELP)
        elif not faults:
            news.tell("not done: faults are off in this session; start the tap with --faults")
        else:
            tap.observer.mark(tap.now, f"fault of the tap: {line}")
            tap.do(line)

    descriptor = typed_input()
    if descriptor is None:
        yield
        return
    typed = Typed(loop, descriptor, do)
    try:
        yield
    finally:
        typed.close()


@contextlib.contextmanager
def _table(tap: TapBeside) -> Iterator[Callable[[], None]]:
    """On a terminal: the figures, drawn again each second. Yields what draws them if it is time."""
    if not sys.stderr.isatty():
        yield lambda: None
        return
    import asyncio

    from rich.console import Console
    from rich.live import Live
    from rich.text import Text

    from busim.cli.tap_screen import watched_text

    loop = asyncio.get_running_loop()
    drawn = 0.0
    with Live(console=Console(stderr=True), auto_refresh=False, transient=True) as live:

        def show() -> None:
            nonlocal drawn
            if loop.time() - drawn >= _SHOWN:
                drawn = loop.time()
                live.update(Text(watched_text(tap.observer, tap.now)), refresh=True)

        yield show


def _port(path: str, baud: str | None, format: str | None, direction: str) -> SerialEnd:
    """A serial port in place of the box. Raises UserError."""
    from busim.foundation.errors import UserError
    from busim.onsite.tapping import SerialEnd
    from busim.onsite.targets import RTS

    if baud is None or format is None:
        raise UserError(
            "a serial port is set by the tap", field="TARGET", found="no --baud or no --format",
            expected="--baud RATE and --format FORMAT, as the line has them", mend="give both",
        )  # fmt: skip
    if direction == RTS:
        raise UserError(
            "a tap does not switch RTS around each byte", field="--direction", found=RTS,
            expected="hardware or kernel", mend="use an adapter that switches by itself",
        )  # fmt: skip
    rate = real_line.rate(baud)
    return SerialEnd(path, int(rate), str(real_line.form(format)), direction)


def _address(text: str, field: str) -> tuple[str, int]:
    """Host and port. Raises UserError."""
    from busim.foundation.errors import UserError

    host, colon, port = text.rpartition(":")
    if not colon or not host or not port.isdecimal() or not 0 <= int(port) <= 65535:
        raise UserError(
            "this is no address", field=field, found=repr(text[:60]), expected="HOST:PORT, as 192.0.2.7:15001",
            mend="write the address and the port",
        )  # fmt: skip
    return host.strip("[]"), int(port)


def _files(protocol: str) -> dict[str, str]:
    """The file of a declared protocol, which the trace includes: its name beside the plan, and its text."""
    from pathlib import Path

    if not protocol.endswith(".yaml"):
        return {}
    return {f"./{Path(protocol).name}": Path(protocol).read_text(encoding="utf-8")}
