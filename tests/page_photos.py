"""Photographs of the page for the README and the handbook: `tools/renew-pictures` takes them, beside the scenario.

They depend on the fonts of the machine, so no test compares them. Look at them before you commit them.
"""

from __future__ import annotations

import asyncio
import re
import subprocess
import sys
from io import BytesIO
from pathlib import Path

from line_traces import scenario_trace
from PIL import Image
from places import SCENARIOS
from playwright.async_api import async_playwright

HALL = SCENARIOS / "climbing-hall"
PAGE, CAMERAS = HALL / "page.png", HALL / "cameras.png"


async def photograph(address: str) -> None:
    """The page on the climbing hall in a browser: the line with what stands beside it, and two cameras."""
    async with async_playwright() as player:
        browser = await player.chromium.launch(executable_path="/usr/bin/chromium", args=["--no-sandbox"])
        page = await browser.new_page(viewport={"width": 1000, "height": 1000}, color_scheme="light")
        await page.goto(address)
        await page.wait_for_selector("#line[data-level]")
        pictures = page.locator("#pictures", has_text=re.compile(r"Mean difference (?!0\.00)"))
        _keep(await pictures.screenshot(), CAMERAS)  # at the end of the run, after some moves
        await page.evaluate("scrollTo(0, 0)")
        await page.keyboard.press("6")
        await page.wait_for_selector('#line[data-level="exchanges"]')
        await page.keyboard.press(".")
        await page.wait_for_selector("#told dl")
        await page.wait_for_selector("#cameras tbody tr")
        _keep(await page.screenshot(), PAGE)
        await browser.close()


def _keep(png: bytes, path: Path) -> None:
    """With 128 colours, which takes half the size."""
    with Image.open(BytesIO(png)) as image:
        image.convert("RGB").quantize(128).save(path, optimize=True)


if __name__ == "__main__":
    command = [sys.executable, "-m", "busim", "view", str(scenario_trace("climbing-hall", 10))]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as viewing:
        assert viewing.stdout is not None
        said = next(line for line in viewing.stdout if "http://" in line)
        asyncio.run(photograph(re.search(r"http://\S+", said)[0]))  # type: ignore[index]
        viewing.terminate()
