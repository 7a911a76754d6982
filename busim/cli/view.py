"""`busim view`: a trace as a page in the browser."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from busim.web import PageServer

NAME = "view"
HELP = "Show a trace as a page in the browser, until Ctrl-C."


def command(
    trace: Annotated[str, typer.Argument(metavar="TRACE", help="The trace; one that is being recorded will do.")],
    port: Annotated[int, typer.Option(min=0, max=65535, help="0: of the system's choice.")] = 0,
) -> None:
    """Serve the page on loopback."""
    import asyncio

    from busim.web import PageServer

    server = PageServer(trace, port=port)
    asyncio.run(_serve(server))


async def _serve(server: PageServer) -> None:
    import asyncio
    import signal

    loop = asyncio.get_running_loop()
    for each in (signal.SIGINT, signal.SIGTERM):
        loop.add_signal_handler(each, server.stop)
    print(f"Open {server.address}", flush=True)
    print("Ctrl-C ends the page. Whoever has the address can see the trace.", file=sys.stderr)
    await server.serve()
