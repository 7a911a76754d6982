"""`busim with`: a command in any language, run against the installation, and its exit code.

busim writes to standard error only: standard output is the command's.
"""

from __future__ import annotations

import signal
import sys
from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Annotated, Optional

import typer

from busim.cli import options

if TYPE_CHECKING:
    from busim.cli.live_status import News
    from busim.runtime.session import Live

NAME = "with"
HELP = "Serve a plan, run a command against it, and end as it does."


def command(
    plan: options.Plan,
    words: Annotated[
        list[str],
        typer.Argument(
            metavar="-- COMMAND...",
            help="The command. {NAME.host} and {NAME.port} in it become those of converter NAME.",
        ),
    ],
    intents: Annotated[
        bool, typer.Option("--intents", help="Operators' moves to its standard input, its beliefs from its output.")
    ] = False,
    trace: options.Trace = None,
    overwrite: options.Overwrite = False,
    seed: options.Seed = 1,
    speed: options.Speed = 1.0,
    play: options.Play = None,
    pty: options.Pty = None,
    figures: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option(metavar="FILE", help="Write the figures into this file, as JSON."),
    ] = None,
    length: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option("--for", help="End the command after this much simulated time, as 10s; that is no failure."),
    ] = None,
    expect: Annotated[
        bool, typer.Option("--expect/--no-expect", help="Whether the plan's expectations are judged.")
    ] = True,
) -> None:
    """Run beside the installation, then judge: the command's exit code, or 1 if it is 0 and an
    expectation was missed.
    """
    import asyncio

    from busim.cli import option_parsing
    from busim.cli.live_status import News
    from busim.cli.plan_file import read_usable
    from busim.cli.show import print_report, write_json
    from busim.cli.writing import refuse_other
    from busim.plan import served
    from busim.runtime.clocks import wall_loop
    from busim.runtime.session import Live

    if figures is not None:  # before any run
        refuse_other(figures, "file of figures", lambda text: text.startswith('{\n  "schema":'))
    until = None if length is None else option_parsing.length(length)
    news, read = News(), read_usable(plan)
    for one in served(read):
        if one.real_port is not None:
            print(f"note: {one.real_port} is not opened: only busim serve joins real ports", file=sys.stderr)
    live = Live(
        read, seed, trace=trace, overwrite=overwrite, speed=speed, play=play or (), intents=intents,
        any_port=True, until=until, pty=pty, news=news.tell, caution=news.caution,
    )  # fmt: skip
    news.now = lambda: live.now
    with asyncio.Runner(loop_factory=wall_loop) as runner:
        code, ended = runner.run(_with_child(live, words, intents, news))
    report = live.report() if expect else replace(live.report(), verdicts=())
    print_report(report, trace, to_errors=True)
    if figures is not None:
        write_json(report, figures)
    said = f"was ended after {length}, as --for says" if ended else f"ended with exit code {code}"
    print(f"The command {said}.", file=sys.stderr)
    if code or report.missed:
        raise typer.Exit(code or 1)


async def _with_child(live: Live, words: Sequence[str], hook: bool, news: News) -> tuple[int, bool]:
    """The exit code, and whether the command was ended by the end of the session."""
    import asyncio

    from busim.cli.gc_tuning import hold_still
    from busim.runtime.session import ChildProcess
    from busim.web import ControlServer

    loop = asyncio.get_running_loop()
    loop.set_exception_handler(news.trouble)
    control = ControlServer()
    passed_on = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)
    async with live, control.serving(live):
        child = ChildProcess(live, words, hook=hook, news=news.tell, told=control.variables)
        if child.unnamed:
            news.caution(
                "caution: no environment variables of their own for " + ", ".join(child.unnamed) + ": their names "
                "differ too little; take them from BUSIM_ENDPOINTS or from {NAME.host} and {NAME.port}"
            )
        hold_still()
        for each in passed_on:
            loop.add_signal_handler(each, child.signal, each)
        try:
            return await child.run(), child.ended
        finally:
            for each in passed_on:
                loop.remove_signal_handler(each)
