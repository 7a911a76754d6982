"""The page's server as a process of its own, beside a live session.

It reads the trace while the session's writer writes it, so drawing costs the session nothing, and its actions go
through the control API. It reads its settings as one line from standard input, prints its address as one line on
standard output, and ends when its input ends: with the session, however that ends.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import os
import signal
import sys
from collections.abc import AsyncIterator

from busim.foundation.errors import BusimError, UserError
from busim.web.control import Control
from busim.web.page_server import LOOPBACK, PageServer

_READY = 60.0  # seconds in which a page must have begun, on a busy machine


def main() -> int:
    """Serve until the standard input ends. Returns the exit code."""
    for each in (signal.SIGINT, signal.SIGTERM):  # meant for the session
        signal.signal(each, signal.SIG_IGN)
    os.nice(10)  # the session goes first, where both want the processor
    wanted = json.loads(sys.stdin.readline())
    control = Control(wanted["url"], wanted["token"]) if wanted["url"] else None
    try:
        server = PageServer(wanted["trace"], listen=wanted["listen"], port=wanted["port"], control=control)
    except BusimError as error:
        _tell({"error": str(error)})
        return 1
    _tell({"address": server.address})
    asyncio.run(_serve(server))
    return 0


def _tell(what: dict[str, str]) -> None:
    sys.stdout.write(json.dumps(what) + "\n")
    sys.stdout.flush()


async def _serve(server: PageServer) -> None:
    loop = asyncio.get_running_loop()

    def heard() -> None:
        if not os.read(0, 4096):
            loop.remove_reader(0)
            server.stop()

    loop.add_reader(0, heard)
    await server.serve()


@contextlib.asynccontextmanager
async def page_in_process(
    trace: str, control: Control | None, *, listen: str = LOOPBACK, port: int = 0
) -> AsyncIterator[str]:
    """A context with a page beside a session; yields its address. Raises UserError if it cannot begin."""
    process = await asyncio.create_subprocess_exec(
        sys.executable, "-c", "import sys; from busim.web.page_process import main; sys.exit(main())",
        stdin=asyncio.subprocess.PIPE, stdout=asyncio.subprocess.PIPE, process_group=0,
    )  # fmt: skip
    assert process.stdin is not None
    assert process.stdout is not None
    try:
        url, token = ("", "") if control is None else control
        wanted = {"trace": trace, "listen": listen, "port": port, "url": url, "token": token}
        process.stdin.write(json.dumps(wanted).encode() + b"\n")
        try:
            said = json.loads(await asyncio.wait_for(process.stdout.readline(), _READY) or b"{}")
        except (TimeoutError, ValueError):
            said = {}
        if "address" not in said:
            raise UserError(
                "the page cannot be served", found=said.get("error", "a process that says nothing"),
                mend="serve without --page, and look at the trace with `busim view`",
            )  # fmt: skip
        yield said["address"]
    finally:
        process.stdin.close()
        with contextlib.suppress(TimeoutError):
            await asyncio.wait_for(process.wait(), 5.0)
        if process.returncode is None:
            process.kill()
            await process.wait()
