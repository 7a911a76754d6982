"""The page beside a live session: a process of its own that follows the trace, and acts through the control API."""

from __future__ import annotations

import asyncio
import json
from contextlib import AsyncExitStack
from pathlib import Path
from typing import Any

import pytest
from fault_halls import HALL, hall
from test_page_server import WITHIN, Served, served
from typer.testing import CliRunner

from busim.cli.app import app
from busim.recording.trace import INPUT, open_trace
from busim.runtime.session import Live, replay
from busim.web import Control, ControlServer, PageServer, page_in_process


class PageClient:
    """A client of a page in another process that knows only its address, like a browser."""

    def __init__(self, address: str) -> None:
        self.address, _, self.token = address.partition("/#")

    @property
    def asked(self) -> Served:
        return Served(self)  # type: ignore[arg-type]  # address and token are all that is asked of it


async def act(page: Served, token: str, body: bytes) -> tuple[int, Any]:
    def ask() -> tuple[int, Any]:
        import http.client

        connection = http.client.HTTPConnection(page.host, timeout=WITHIN)
        try:
            connection.request("POST", "/api/actions", body, {"Authorization": f"Bearer {token}"})
            answer = connection.getresponse()
            return answer.status, json.loads(answer.read())
        finally:
            connection.close()

    return await asyncio.to_thread(ask)


async def test_a_page_in_a_process_of_its_own_follows_a_session_and_acts_and_all_of_it_replays(tmp_path: Path) -> None:
    path = tmp_path / "t.busim"
    server = ControlServer()
    async with AsyncExitStack() as stack:
        live = await stack.enter_async_context(Live(hall(), 1, trace=path, any_port=True, play=["controller"]))
        await stack.enter_async_context(server.serving(live))
        address = await stack.enter_async_context(page_in_process(str(path), Control(server.url, server.token)))
        there = PageClient(address)
        page = there.asked
        about: dict[str, Any] = {"lines": []}
        while not about["lines"] or not about["end"]:
            _, about = await page.get("/api/about")
        assert (about["acts"], about["complete"]) == (True, False)
        _, listed = await page.get("/api/actions")
        assert {one["name"] for one in listed["actions"] if one["asks"]} >= {
            "power",
            "unplug",
            "cut",
            "reboot",
            "fault",
        }
        body = json.dumps({"action": "power", "arguments": {"camera": "rope top", "switch": "off"}}).encode()
        assert (await act(page, "wrong", body))[0] == 401
        assert await act(page, there.token, b"{") == await act(page, there.token, b"nothing")
        status, done = await act(page, there.token, body)
        assert (status, done["done"]) == (200, "power off: rope top")
        line = about["lines"][0]["number"]
        state = ""
        while state != "no power":
            now = (await page.get("/api/about"))[1]["end"]
            _, beside = await page.get("/api/stations", line=line, at=now)
            state = next(one["state"] for one in beside["cameras"] if one["name"] == "rope top")
    with open_trace(path) as trace:
        assert [record[4] for record in trace.records(INPUT)] == ["no power"]
    assert replay(path).difference is None


async def test_a_page_that_only_shows_refuses_to_act() -> None:
    from line_traces import scenario_trace

    async with served(scenario_trace("climbing-hall", 10)) as page:
        assert (await page.get("/api/about"))[1]["acts"] is False
        assert (await act(page, page.server.token, b'{"line": "power off rope left"}'))[0] == 403
        assert (await page.get("/api/actions"))[0] == 403


async def test_an_action_when_the_session_is_gone_is_told() -> None:
    from line_traces import scenario_trace

    server = PageServer(str(scenario_trace("climbing-hall", 10)), control=Control("http://127.0.0.1:1", "x"))
    task = asyncio.ensure_future(server.serve())
    status, said = await act(Served(server), server.token, b'{"line": "mark x"}')
    assert (status, said["error"]["what"]) == (502, "the session is gone")
    server.stop()
    await task


@pytest.mark.parametrize(
    ("options", "answer", "told"),
    [
        (["--allow-actions"], "", "--page-listen"),
        (["--page-listen", "127.0.0.1"], "n\n", "can see the session"),
        (["--page-listen", "127.0.0.1", "--allow-actions"], "n\n", "act on it"),
        (["--page-listen", "127.0.0.1"], "", "can see the session"),
    ],
)
def test_serving_asks_before_others_can_see_the_page(
    tmp_path: Path, options: list[str], answer: str, told: str
) -> None:
    plan = tmp_path / "plan.yaml"
    plan.write_text(HALL)
    result = CliRunner().invoke(app, ["serve", str(plan), "--port", "0", *options], input=answer)
    assert result.exit_code != 0
    assert told in " ".join((result.output + str(result.exception)).split())


async def test_what_stands_beside_the_line_is_that_of_the_instant() -> None:
    from fault_halls import S
    from line_traces import faulty_trace, scenario_trace

    async with served(scenario_trace("climbing-hall", 10)) as page:
        about = (await page.get("/api/about"))[1]
        line = about["lines"][0]["number"]
        _, early = await page.get("/api/stations", line=line, at=0)
        _, late = await page.get("/api/stations", line=line, at=10 * S)
        _, series = await page.get("/api/series", line=line, since=0, until=10 * S)
    assert [one["age"] for one in early["cameras"]] == [None] * 4
    assert all(0 < one["age"] < S and not one["lost"] for one in late["cameras"])
    first = {one["name"]: one for one in late["cameras"][0]["parameters"]}
    assert first["shutter"]["value"] == "1/50 s"
    assert {one["at"] for one in early["cameras"][0]["parameters"]} == {-1}
    assert len(series["occupancy"]) == len(series["at"]) == 100
    assert 0.2 < sum(series["occupancy"]) / 100 < 0.4
    async with served(faulty_trace("{fault: dead-camera, on: rope right, at: 1 s}", 3)) as page:
        line = (await page.get("/api/about"))[1]["lines"][0]["number"]
        _, said = await page.get("/api/stations", line=line, at=3 * S)
    lost = {one["name"]: one["lost"] for one in said["cameras"]}
    assert lost["rope right"] > 0 == lost["rope left"]


async def test_a_camera_picture_comes_with_its_instruments_and_tries_values() -> None:
    from line_traces import scenario_trace

    async with served(scenario_trace("climbing-hall", 10)) as page:
        line = (await page.get("/api/about"))[1]["lines"][0]
        camera = next(one["number"] for one in line["stands"] if one["kind"] == "camera")
        where = {"line": line["number"], "camera": camera, "at": 0, "width": 160}
        token = {"Authorization": f"Bearer {page.server.token}"}
        status, headers, plain = await page.raw("GET", "/api/look", token, where)
        sizes = json.loads(headers["x-busim-sizes"])
        assert (status, sizes["picture"]) == (200, [160, 90])
        assert len(plain) == 160 * 90 * 3 + 240 * 126 + 192 * 192
        _, _, dark = await page.raw("GET", "/api/look", token, where | {"set": "iris=100,gain=0"})
        assert sum(dark[:43200]) < sum(plain[:43200]) / 2
        for wrong in ({"set": "iris=x"}, {"camera": 999}, {"width": 5000}, {"set": "iris"}):
            assert (await page.raw("GET", "/api/look", token, where | wrong))[0] == 400
        assert (await page.raw("GET", "/api/look", {}, where))[0] == 401
