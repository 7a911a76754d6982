"""What a page costs a live session, and what it takes itself (called by tools/bench).

Lateness: a session of the climbing hall in wall time, in turn without a page, with a WebSocket that reads everything,
and with a browser that follows a line. Share of a core: 32 lines, one followed. Memory: eight hours of a line that are
written in minutes while a page follows them.
"""

from __future__ import annotations

import asyncio
import os
import statistics
import sys
import tempfile
import time
from collections.abc import AsyncIterator
from contextlib import AsyncExitStack, asynccontextmanager
from pathlib import Path
from urllib.parse import urlsplit

sys.path.insert(0, str(Path(__file__).parent))
from bench import plan_of, rounds, say
from playwright.async_api import Page, async_playwright
from websockets.asyncio.client import connect

from busim.plan import Plan, read
from busim.runtime.session import Live, Run
from busim.runtime.session.lateness import Lateness
from busim.web import page_in_process

TICKS = os.sysconf("SC_CLK_TCK")
WATCHED = 5.0  # seconds of each round
HOURS = 8
LOOK = "--look"


def processes() -> dict[int, tuple[int, float, str]]:
    """Of each process: its parent, its CPU seconds, its command line."""
    found = {}
    for place in Path("/proc").glob("[0-9]*"):
        try:
            fields = (place / "stat").read_text().rpartition(")")[2].split()
            line = (place / "cmdline").read_bytes().replace(b"\0", b" ").decode(errors="replace")
        except OSError:  # it ended meanwhile
            continue
        found[int(place.name)] = (int(fields[1]), (int(fields[11]) + int(fields[12])) / TICKS, line)
    return found


def cpu(part: str) -> float:
    """CPU seconds of this process's children, and theirs, whose command line has this part."""
    known = processes()

    def ours(number: int) -> bool:
        while number in known and number != os.getpid():
            number = known[number][0]
        return number == os.getpid()

    return sum(spent for number, (_, spent, line) in known.items() if part in line and ours(number))


def resident(part: str) -> float:
    """MB of memory of its own that the child with this part in its command line holds; pages of files are not."""
    (number,) = (n for n, (parent, _, line) in processes().items() if part in line and parent == os.getpid())
    told = (Path("/proc") / str(number) / "status").read_text()
    return int(told.partition("RssAnon:")[2].split()[0]) / 1e3


@asynccontextmanager
async def reading(address: str) -> AsyncIterator[None]:
    """A WebSocket that reads what the page's server says."""
    parts = urlsplit(address)
    token = parts.fragment
    origin = f"http://{parts.netloc}"
    async with connect(f"ws://{parts.netloc}/api/live", origin=origin) as socket:  # type: ignore[arg-type]
        await socket.send(f'{{"token": "{token}"}}')

        async def read_all() -> None:
            async for _ in socket:
                pass

        task = asyncio.ensure_future(read_all())
        yield
        assert not task.done(), "the socket was closed"
        task.cancel()


@asynccontextmanager
async def looking(address: str) -> AsyncIterator[Page]:
    """A browser whose page follows the newest second of the first line."""
    async with async_playwright() as player:
        browser = await player.chromium.launch(executable_path="/usr/bin/chromium", args=["--no-sandbox"])
        page = await browser.new_page()
        await page.goto(address)
        await page.wait_for_selector("#line[data-level]")
        await page.keyboard.press("5")
        yield page
        await browser.close()


@asynccontextmanager
async def looked_at(address: str) -> AsyncIterator[None]:
    """`looking` in a process of its own: what drives the browser must not make this one late."""
    pipe = asyncio.subprocess.PIPE
    process = await asyncio.create_subprocess_exec(sys.executable, __file__, LOOK, address, stdin=pipe, stdout=pipe)
    assert process.stdout is not None
    assert await process.stdout.readline() == b"drawn\n"
    yield
    assert process.stdin is not None
    process.stdin.close()
    await process.wait()


async def look(address: str) -> None:
    """What that process does: until its input ends."""
    async with looking(address):
        print("drawn", flush=True)
        await asyncio.to_thread(sys.stdin.read)


async def late(plan: Plan, watcher: str) -> Lateness:
    """The lateness of five seconds of a session with this watcher."""
    with tempfile.TemporaryDirectory() as folder:
        async with AsyncExitStack() as stack:
            trace = Path(folder) / "page.busim"
            masters = [one.name for one in plan.masters]
            live = await stack.enter_async_context(Live(plan, 1, trace=trace, any_port=True, play=masters))
            if watcher:
                address = await stack.enter_async_context(page_in_process(str(trace), None))
                await stack.enter_async_context(reading(address) if watcher == "socket" else looked_at(address))
            await asyncio.sleep(1)
            live.lateness = found = Lateness()
            await asyncio.sleep(WATCHED)
        return found


def lateness(count: int) -> None:
    plan = read(Path(__file__).parent.parent / "scenarios/climbing-hall/plan.yaml")
    p99: dict[str, list[float]] = {"": [], "socket": [], "browser": []}
    for _ in rounds(count):
        for watcher, found in p99.items():
            found.append((asyncio.run(late(plan, watcher)).quantile(0.99) or 0.0) / 1e6)
    ratios = [one / other for one, other in zip(p99["socket"], p99[""], strict=True)]
    say("lateness, 99th per cent: with a WebSocket that reads / without", ratios, "at most 1.5", "page")
    say("ms late, 99th per cent: without a page", p99[""], "none", "page")
    say("ms late, 99th per cent: with a browser on this machine", p99["browser"], "at most 2", "page")


async def _shares(count: int) -> tuple[list[float], list[float]]:
    plan = plan_of(1, 32, baud=38400, turnaround="5 ms")
    server, browser = [], []
    with tempfile.TemporaryDirectory() as folder:
        async with AsyncExitStack() as stack:
            trace = Path(folder) / "page.busim"
            masters = [one.name for one in plan.masters]
            await stack.enter_async_context(Live(plan, 1, trace=trace, any_port=True, play=masters))
            address = await stack.enter_async_context(page_in_process(str(trace), None))
            await stack.enter_async_context(looking(address))
            await asyncio.sleep(2)
            for _ in range(count):
                began, before = time.monotonic(), (cpu("page_process"), cpu("chromium"))
                await asyncio.sleep(WATCHED)
                length = time.monotonic() - began
                server.append((cpu("page_process") - before[0]) / length)
                browser.append((cpu("chromium") - before[1]) / length)
    return server, browser


def share(count: int) -> None:
    server, browser = asyncio.run(_shares(count))
    say("share of a core: the page's server, 32 lines live", server, "under 0.25", "page")
    say("share of a core: the browser that shows them, no graphics card", browser, "none", "page")


async def _memory() -> tuple[list[float], list[float]]:
    """MB of the page's server and of the page's scripts after each simulated hour, from the second on."""
    run_plan = plan_of(4, baud=9600, turnaround="50 ms")
    server, scripts = [], []
    with tempfile.TemporaryDirectory() as folder:
        trace = str(Path(folder) / "page.busim")
        run = Run(run_plan, 1, trace=trace)
        await asyncio.to_thread(run.advance, 3600 * 10**9)  # in fast time records come in large batches
        async with page_in_process(trace, None) as address, looking(address) as page:
            tools = await page.context.new_cdp_session(page)
            for hour in range(1, HOURS):
                for minute in range(1, 61):  # one at a time, so that the page follows
                    await asyncio.to_thread(run.advance, (hour * 60 + minute) * 60 * 10**9)
                await asyncio.sleep(1)
                await tools.send("HeapProfiler.collectGarbage")
                used = await tools.send("Runtime.getHeapUsage")
                server.append(resident("page_process"))
                scripts.append(used["usedSize"] / 1e6)
        await asyncio.to_thread(run.finish)
    return server, scripts


def memory() -> None:
    server, scripts = asyncio.run(_memory())
    for what, used in (("page's server", server), ("page's scripts", scripts)):
        ratio = statistics.median(used[-3:]) / statistics.median(used[:3])
        say(f"memory of the {what}, hours 6 to 8 / hours 2 to 4", [ratio], "at most 1.1 (flat)", "page")
    say("MB of the server, each hour", server, "none", "page")
    say("MB of the scripts, each hour", scripts, "none", "page")


if __name__ == "__main__" and sys.argv[1] == LOOK:
    asyncio.run(look(sys.argv[2]))
elif __name__ == "__main__":
    turns = int(sys.argv[1])
    lateness(turns)
    share(turns)
    memory()
