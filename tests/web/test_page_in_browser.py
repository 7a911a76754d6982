"""The page in an independent browser: every view of the climbing hall, by keyboard, dark, narrow, and live."""

from __future__ import annotations

import asyncio
import json
import sqlite3
import time
from collections.abc import AsyncIterator
from contextlib import AsyncExitStack, asynccontextmanager, closing
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.async_playwright import Axe
from fault_halls import S, hall
from line_traces import faulty_trace, scenario_trace
from playwright.async_api import Browser, Page, async_playwright
from test_page_server import served

from busim.recording.trace import INPUT, open_trace
from busim.runtime.session import Live, recorded_report, replay
from busim.web import Control, ControlServer, page_in_process
from busim.web.report import shown

pytestmark = [pytest.mark.needs("chromium"), pytest.mark.timeout(300)]

WITHIN = 60_000  # ms that anything awaited may take on a busy machine


@asynccontextmanager
async def browsers() -> AsyncIterator[Browser]:
    async with async_playwright() as player:
        browser = await player.chromium.launch(executable_path="/usr/bin/chromium", args=["--no-sandbox"])
        try:
            yield browser
        finally:
            await browser.close()


async def opened(browser: Browser, address: str, **context: Any) -> tuple[Page, list[str]]:
    """The drawn page, and the complaints of its console."""
    made = await browser.new_context(**context)
    page = await made.new_page()
    page.set_default_timeout(WITHIN)
    complaints: list[str] = []
    page.on(
        "console", lambda message: complaints.append(message.text) if message.type in ("error", "warning") else None
    )
    page.on("pageerror", lambda error: complaints.append(str(error)))
    await page.goto(address)
    await page.wait_for_selector("#line[data-level]")
    return page, complaints


async def until(page: Page, condition: str) -> None:
    """Wait until an expression holds on the page; evaluated from outside, since the page's policy forbids `eval`."""
    async with asyncio.timeout(WITHIN / 1000):
        while not await page.evaluate(condition):
            await page.evaluate("new Promise(requestAnimationFrame)")


async def level(page: Page, wanted: str) -> None:
    await page.wait_for_selector(f'#line[data-level="{wanted}"]')


async def judged(page: Page) -> list[str]:
    """Findings of axe-core that are serious or worse."""
    found = (await Axe().run(page)).response["violations"]
    return [f"{one['id']}: {one['nodes'][0]['html']}" for one in found if one["impact"] in ("serious", "critical")]


async def test_each_view_of_the_climbing_hall_works_by_keyboard_alone_and_axe_finds_nothing_serious() -> None:
    path = scenario_trace("climbing-hall", 10)
    async with served(path) as server, browsers() as browser:
        page, complaints = await opened(browser, server.server.address)
        assert await page.inner_text("#title") == "climbing hall"
        assert server.server.token not in page.url
        await page.keyboard.press("3")  # a minute
        await page.keyboard.press("6")
        await level(page, "exchanges")
        await page.keyboard.press(".")
        await page.wait_for_selector("#told dl")
        assert "bytes" in await page.inner_text("#told")
        await page.keyboard.press("9")
        await level(page, "bits")
        await page.keyboard.press("Escape")
        await page.keyboard.press("l")
        await until(page, "document.querySelector('#lines [aria-pressed=true]').textContent == 'rope line'")
        await page.keyboard.press("n")
        await until(page, "document.querySelector('#told').textContent.includes('nothing after this')")
        await page.keyboard.press("Home")
        await page.keyboard.press("1")
        await level(page, "summary")
        await page.keyboard.press("?")
        await page.wait_for_selector("#help[open]")
        assert await judged(page) == []
        await page.keyboard.press("Escape")
        await page.wait_for_selector("#cameras tbody tr")
        await page.focus("#figures button")
        await page.keyboard.press("Enter")
        await page.wait_for_selector("#figures td[data-figure]")
        cells = await page.eval_on_selector_all(
            "#figures tr", "rows => rows.map(row => [...row.cells].map(cell => cell.textContent))"
        )
        with open_trace(path) as trace:
            report = recorded_report(trace)
        names = [name.replace(" ", "_") for name in cells[0][1:]]
        assert cells[1:] == [[one.name, *(shown(one.figures.get(name)) for name in names)] for one in report.lines]
        await until(page, "document.querySelector('#difference').textContent.includes('%')")
        assert await judged(page) == []
        assert complaints == []


@pytest.mark.parametrize(
    ("width", "scheme", "zoom"),
    [pytest.param(360, "dark", 1, id="phone at night"), pytest.param(640, "light", 2, id="1280 px at 200 %")],
)
async def test_it_reads_on_a_phone_and_at_200_percent_without_scrolling_sideways(
    width: int, scheme: Any, zoom: int
) -> None:
    path = faulty_trace("{fault: dead-camera, on: rope right, at: 1 s}", 3)
    async with served(path) as server, browsers() as browser:
        page, complaints = await opened(
            browser, server.server.address, viewport={"width": width, "height": 740}, color_scheme=scheme,
            device_scale_factor=zoom,
        )  # fmt: skip
        await page.keyboard.press("n")
        await until(page, "document.querySelector('#told').textContent.includes('s:')")
        assert await page.evaluate("document.documentElement.scrollWidth") <= width
        assert await judged(page) == []
        assert complaints == []


async def test_two_browsers_watch_a_live_run_one_acts_and_all_of_it_replays(tmp_path: Path) -> None:
    path, server = tmp_path / "t.busim", ControlServer()
    async with AsyncExitStack() as stack:
        live = await stack.enter_async_context(Live(hall(), 1, trace=path, any_port=True, play=["controller"]))
        await stack.enter_async_context(server.serving(live))
        beside = page_in_process(str(path), Control(server.url, server.token))
        address = await stack.enter_async_context(beside)
        browser = await stack.enter_async_context(browsers())
        one, first = await opened(browser, address)
        two, second = await opened(browser, address)
        await one.wait_for_selector("#act")
        for action, fields, sure in (
            ("power", {"switch": "off", "camera": "rope top"}, True),
            ("cut", {"line": "wall line", "position": "3"}, True),
            ("unplug", {"camera": "rope left"}, False),
            ("mark", {"text": "doors <b>open</b>"}, None),
        ):
            await one.select_option("#action", action)
            for name, value in fields.items():
                field = one.locator(f"#act-fields [name={name}]")
                if await field.evaluate("field => field.tagName") == "SELECT":
                    await field.select_option(value)
                else:
                    await field.fill(value)
            await one.evaluate("document.querySelector('#act-said').textContent = ''")
            await one.click("#act > button")
            if sure is not None:
                await one.click(f"dialog button[value={'yes' if sure else 'no'}]")
            if sure is not False:
                await until(one, "document.querySelector('#act-said').textContent.includes(', at ')")
        for page in (one, two):
            await page.keyboard.press(" ")  # pause
            await page.select_option("#what", "mark")
            await page.focus("#line")
            await page.keyboard.press("9")
            async with asyncio.timeout(WITHIN / 1000):  # a live trace gets its records in batches, some time after
                while "doors <b>open</b>" not in str(await page.locator("#told").text_content()):
                    for key in ("Home", "n"):
                        await page.keyboard.press(key)
                    await page.evaluate("new Promise(requestAnimationFrame)")
        assert first == second == []
    with open_trace(path) as trace:
        assert [record[4] for record in trace.records(INPUT)] == ["no power", "cut"]
    assert replay(path).difference is None


async def test_a_page_finds_its_server_again_after_a_restart() -> None:
    path = scenario_trace("climbing-hall", 10)
    async with browsers() as browser:
        async with served(path) as server:
            page, _ = await opened(browser, server.server.address)
            token, host = server.server.token, server.host
        from busim.web import PageServer

        again = PageServer(str(path), port=int(host.partition(":")[2]), token=token)
        task = asyncio.ensure_future(again.serve())
        await until(page, "fetch('/static/page.css').then(answer => answer.ok, () => false)")
        await page.keyboard.press("6")
        await level(page, "exchanges")
        again.stop()
        await task


def repeated(path: Path, longer: Path, times: int) -> Path:
    """A trace of one minute that goes on for so many, each like the first."""
    longer.write_bytes(path.read_bytes())
    database = sqlite3.connect(longer)
    for table in ("burst", "exchange", "change", "summary"):
        names = [row[1] for row in database.execute(f"PRAGMA table_info({table})") if row[1] not in ("n", "row")]
        moved = [
            f'"{name}" + ?1'
            if name in ("start", "end", "asked", "sent", "ended", "free", "read_at", "at")
            else f'"{name}"'
            for name in names
        ]
        into = ", ".join(f'"{name}"' for name in names)
        order = "start" if table == "summary" else "rowid"
        most = database.execute(f"SELECT max(rowid) FROM {table}").fetchone()[0]
        told = f"SELECT {', '.join(moved)} FROM {table} WHERE rowid <= {most} ORDER BY {order}"
        for number in range(1, times):
            database.execute(f"INSERT INTO {table} ({into}) {told}", (60 * S * number,))
    database.execute("UPDATE head SET value = ? WHERE key = 'ended_at'", (60 * S * times,))
    database.commit()
    database.close()
    return longer


@pytest.mark.long
async def test_five_million_records_open_in_less_than_two_seconds_and_zoom_in_less_than_a_tenth(tmp_path: Path) -> None:
    """On a quiet machine: bars in seconds, which is why this is no part of the default run."""
    path = repeated(scenario_trace("climbing-hall", 60), tmp_path / "long.busim", 160)
    with closing(sqlite3.connect(path)) as database:
        counts = [database.execute(f"SELECT count(*) FROM {table}").fetchone()[0] for table in ("burst", "exchange")]
    assert sum(counts) > 5_000_000
    async with served(path) as server, browsers() as browser:
        begun = time.monotonic()
        page, _ = await opened(browser, server.server.address)
        assert time.monotonic() - begun < 2
        took = []
        for key in "1234567890":
            await page.evaluate("delete document.querySelector('#line').dataset.took")
            await page.keyboard.press(key)
            await page.wait_for_selector("#line[data-took]")
            took.append(float(await page.get_attribute("#line", "data-took") or "inf"))
        assert max(took) < 100, json.dumps(took)
