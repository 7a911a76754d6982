"""`busim serve`: the installation in wall time, its converters open to a real controller."""

from __future__ import annotations

import contextlib
import functools
import signal
import sys
from collections.abc import Callable, Iterator, Mapping
from typing import TYPE_CHECKING, Annotated, NamedTuple, Optional, TextIO

import typer

from busim.cli import options, real_line

if TYPE_CHECKING:
    import asyncio

    from busim.cli.live_status import News
    from busim.runtime.bridge import Address
    from busim.runtime.session import Live
    from busim.web import ControlServer

NAME = "serve"
HELP = "Open every converter of a plan to real clients, until Ctrl-C."

_ONE_MASTER = (
    "The emulated line drives the real one: replies of emulated cameras, or requests of an emulated master. Two "
    "masters, or two cameras at one bus ID, spoil both lines."
)


def command(
    plan: options.Plan,
    trace: options.Trace = None,
    overwrite: options.Overwrite = False,
    seed: options.Seed = 1,
    speed: options.Speed = 1.0,
    listen: Annotated[
        str,
        typer.Option(help="loopback: 198.51.100.44 is served at 127.51.100.44; planned: the addresses of the plan."),
    ] = "loopback",
    port: Annotated[Optional[int], typer.Option(help="0: each at a port of the system's choice.")] = None,  # noqa: UP045
    pty: options.Pty = None,
    ready: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option(metavar="FILE", help="Write where each listens into this file, as JSON, once all do."),
    ] = None,
    length: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option("--for", help="End after this much simulated time, as 10s; else at Ctrl-C."),
    ] = None,
    play: options.Play = None,
    direction: real_line.Direction = "hardware",
    yes: real_line.Yes = False,
    page: Annotated[bool, typer.Option("--page", help="Show the session as a page in the browser.")] = False,
    page_listen: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option("--page-listen", metavar="ADDRESS", help="Let others on this network see the page; asks first."),
    ] = None,
    allow_actions: Annotated[
        bool, typer.Option("--allow-actions", help="With --page-listen: let them act on the session too.")
    ] = False,
    as_json: options.FiguresAsJson = False,
) -> None:
    """Serve, then show."""
    import asyncio
    from pathlib import Path
    from tempfile import TemporaryDirectory

    from busim.cli import option_parsing
    from busim.cli.gc_tuning import hold_still
    from busim.cli.live_status import News
    from busim.cli.plan_file import read_usable
    from busim.cli.show import print_doors, print_json, print_report
    from busim.foundation.errors import UserError
    from busim.installation import resolve
    from busim.onsite.stations import joined, real_ports
    from busim.onsite.targets import dangers
    from busim.runtime.bridge import endpoints_json
    from busim.runtime.clocks import wall_loop
    from busim.runtime.session import Live

    if port not in (None, 0):
        raise UserError(
            "--port takes only 0, for ports of the system's choice: converters cannot share one",
            found=str(port),
            expected="0",
            mend="leave out --port to serve each at its own port of the plan",
        )
    until = None if length is None else option_parsing.length(length)
    the_plan = read_usable(plan)
    real = real_ports(resolve(the_plan))
    if real:
        said = [text for one in real for text in dangers(one.target, direction)]
        real_line.agree([*said, _ONE_MASTER], yes=yes)
    shown = _shown(page, page_listen, allow_actions)
    kept = trace
    folder = contextlib.ExitStack()
    if shown is not None and trace is None:  # the page reads what is recorded
        trace = str(Path(folder.enter_context(TemporaryDirectory(prefix="busim-page-"))) / "page.busim")
    news = News()
    control = None
    if ready is not None or shown is not None:  # a program, or the page, controls the session
        from busim.web import ControlServer

        control = ControlServer()

    def announce(addresses: Mapping[str, Address]) -> None:
        print_doors(the_plan, addresses, to_errors=as_json)
        if ready is not None:
            about = None if control is None else control.about
            _write_ready(ready, endpoints_json(live.endpoints(dialled=False), about))
        hold_still()

    live = Live(
        the_plan, seed, trace=trace, overwrite=overwrite, speed=speed, until=until, play=play or (), listen=listen,
        any_port=port == 0, pty=pty, announce=announce, news=news.tell, caution=news.caution,
    )  # fmt: skip
    news.now = lambda: live.now
    view = None if shown is None or trace is None else shown._replace(trace=trace)
    with folder, asyncio.Runner(loop_factory=wall_loop) as runner:
        join = functools.partial(joined, real, direction=direction) if real else None
        runner.run(_serve(live, news, sys.stderr if as_json else sys.stdout, control, view, join))
    report = live.report()
    if as_json:
        print_json(report)
    else:
        print_report(report, kept)
    if report.missed:
        raise typer.Exit(1)


class _Shown(NamedTuple):
    """How the page is served. `acts`: it may act on the session."""

    listen: str
    acts: bool
    trace: str = ""


def _shown(page: bool, listen: str | None, allow_actions: bool) -> _Shown | None:
    """What the options say of the page. Asks before others can see it. Raises UserError."""
    from busim.foundation.errors import UserError

    if listen is None:
        if allow_actions:
            raise UserError(
                "--allow-actions is about a page that others see", expected="--page-listen ADDRESS beside it",
                mend="leave it out: the page on this machine may act",
            )  # fmt: skip
        return _Shown("127.0.0.1", True) if page else None
    what = "see the session and act on it" if allow_actions else "see the session"
    question = f"Anyone on the network with the page's address can {what}, unencrypted. Serve it at {listen}?"
    typer.confirm(question, abort=True, err=True)
    return _Shown(listen, allow_actions)


async def _serve(
    live: Live, news: News, out: TextIO, control: ControlServer | None, shown: _Shown | None = None,
    join: Callable[[Mapping[str, Address]], contextlib.AbstractContextManager[None]] | None = None,
) -> None:  # fmt: skip
    """Until the session ends by itself or is ended."""
    import asyncio

    loop = asyncio.get_running_loop()
    loop.set_exception_handler(news.trouble)
    stopped = asyncio.Event()
    with _signals(loop, stopped):
        async with live, contextlib.AsyncExitStack() as stack:
            if control is not None:
                await stack.enter_async_context(control.serving(live))
            if shown is not None and control is not None:
                from busim.web import Control, page_in_process

                at = Control(control.url, control.token) if shown.acts else None
                address = await stack.enter_async_context(page_in_process(shown.trace, at, listen=shown.listen))
                print(f"page: {address}", file=out, flush=True)
            if join is not None:
                stack.enter_context(join(live.addresses))
            stack.enter_context(_lines(loop, live, news))
            print("ready: Ctrl-C ends the session; type `help` for what can be done to it", file=out, flush=True)
            waits = [asyncio.ensure_future(each) for each in (live.ended(), stopped.wait())]
            await asyncio.wait(waits, return_when=asyncio.FIRST_COMPLETED)
            for each in waits:
                each.cancel()


@contextlib.contextmanager
def _signals(loop: asyncio.AbstractEventLoop, stopped: asyncio.Event) -> Iterator[None]:
    """Ctrl-C, SIGTERM and a closed terminal end the session and not the program."""
    ending = [signal.SIGINT, signal.SIGTERM]
    if signal.getsignal(signal.SIGHUP) is not signal.SIG_IGN:  # it is to go on without a terminal (nohup)
        ending.append(signal.SIGHUP)
    for each in ending:
        loop.add_signal_handler(each, stopped.set)
    try:
        yield
    finally:
        for each in ending:
            loop.remove_signal_handler(each)


def _write_ready(path: str, endpoints: str) -> None:
    """Write it in one step, so a reader never sees a part."""
    from busim.cli.writing import write_whole

    write_whole(path, endpoints + "\n", "ready file", known=is_ready, private=True)  # it has the token


def is_ready(text: str) -> bool:
    """Whether the text of a file is that of a ready file."""
    return text.startswith('{"schema":') and '"converters"' in text


@contextlib.contextmanager
def _lines(loop: asyncio.AbstractEventLoop, live: Live, news: News) -> Iterator[None]:
    """Lines on standard input act on the session, if it is a terminal or a pipe."""
    from busim.cli.stdin_lines import Typed, typed_input
    from busim.foundation.errors import UserError

    def do(line: str) -> None:
        try:
            news.tell(live.do(line))
        except UserError as error:
            news.tell(f"not done: {error}")

    descriptor = typed_input()
    if descriptor is None:
        yield
        return
    typed = Typed(loop, descriptor, do)
    try:
        yield
    finally:
        typed.close()
