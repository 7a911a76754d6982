"""The server of the page: access, answers, and bad requests."""

from __future__ import annotations

import asyncio
import http.client
import json
import socket
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, suppress
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import pytest
from fault_halls import MS, S
from line_traces import faulty_trace, scenario_trace
from places import SCENARIOS
from websockets.asyncio.client import connect
from websockets.exceptions import ConnectionClosed, InvalidStatus

from busim.foundation.errors import UserError
from busim.plan import read
from busim.recording.trace import open_trace
from busim.runtime.session import Run, recorded_report
from busim.web import PageServer
from busim.web.views import Source

WITHIN = 30.0  # seconds that anything awaited may take on a busy machine


class Served:
    """A page server on the running loop, and requests to it from a thread."""

    def __init__(self, server: PageServer) -> None:
        self.server = server
        self.host = server.address.removeprefix("http://").partition("/")[0]

    async def get(self, path: str, headers: dict[str, str] | None = None, /, **values: Any) -> tuple[int, Any]:
        """Send a request with the token; returns status and body, parsed if it is JSON."""
        status, _, body = await self.raw(
            "GET", path, {"Authorization": f"Bearer {self.server.token}"} | (headers or {}), values
        )
        return status, json.loads(body)

    async def raw(
        self, method: str, path: str, headers: dict[str, str], values: dict[str, Any] | None = None
    ) -> tuple[int, http.client.HTTPMessage, bytes]:
        def ask() -> tuple[int, http.client.HTTPMessage, bytes]:
            connection = http.client.HTTPConnection(self.host, timeout=WITHIN)
            try:
                connection.request(method, f"{path}?{urlencode(values)}" if values else path, headers=headers)
                answer = connection.getresponse()
                return answer.status, answer.headers, answer.read()
            finally:
                connection.close()

        return await asyncio.to_thread(ask)

    def watch(self, **more: Any) -> Any:
        return connect(f"ws://{self.host}/api/live", origin=more.pop("origin", f"http://{self.host}"), **more)


@asynccontextmanager
async def served(path: Path) -> AsyncIterator[Served]:
    server = PageServer(str(path))
    task = asyncio.ensure_future(server.serve())
    try:
        yield Served(server)
    finally:
        server.stop()
        await task


def hall() -> Path:
    return scenario_trace("climbing-hall", 10)


async def test_the_page_its_files_and_its_data_are_served() -> None:
    async with served(hall()) as page:
        status, headers, body = await page.raw("GET", "/", {})
        assert (status, headers["content-type"]) == (200, "text/html; charset=utf-8")
        for name in ("main.js", "page.css", "uplot.iife.min.js", "icon.svg"):
            assert name.encode() in body
            assert (await page.raw("GET", f"/static/{name}", {}))[0] == 200
        status, about = await page.get("/api/about")
        assert (status, about["plan"], about["complete"], about["end"]) == (200, "climbing hall", True, 10 * S)
        assert [line["name"] for line in about["lines"]] == ["boulder line", "rope line", "speed line"]
        status, picture = await page.get("/api/picture", line=about["lines"][0]["number"], since=S, until=S + 100 * MS)
        assert (status, picture["level"]) == (200, "exchanges")
        band = picture["bands"][0]
        status, burst = await page.get("/api/burst", line=picture["line"], driver=band["driver"], start=band["start"])
        assert (status, burst["size"]) == (200, band["size"])


async def test_figures_of_the_page_are_those_of_the_run() -> None:
    async with served(hall()) as page:
        status, figures = await page.get("/api/figures")
    with open_trace(hall()) as trace:
        wanted = json.loads(json.dumps(recorded_report(trace).as_json()))
    assert status == 200
    del wanted["schema"]  # each document counts its own
    assert {name: figures[name] for name in wanted} == wanted


async def test_no_script_stands_in_the_page_and_none_from_elsewhere_may_run() -> None:
    async with served(hall()) as page:
        _, headers, body = await page.raw("GET", "/", {})
    policy = headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    assert body.count(b"<script") == body.count(b"<script src=") + body.count(b'<script type="module" src=')
    assert b"onclick" not in body
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["referrer-policy"] == "no-referrer"


@pytest.mark.parametrize("token", ["", "Bearer", "Bearer wrong", "Basic wrong", "Bearer \xe9"])
async def test_without_the_token_nothing_is_told(token: str) -> None:
    async with served(hall()) as page:
        for path in ("/api/about", "/api/picture", "/api/figures", "/api/burst"):
            status, _, body = await page.raw("GET", path, {"Authorization": token} if token else {})
            assert status == 401
            assert b"climbing" not in body


@pytest.mark.parametrize(
    "headers",
    [
        {"Host": "rebound.example"},
        {"Host": "127.0.0.1"},
        {"Host": "rebound.example:80"},
        {"Origin": "http://rebound.example"},
        {"Origin": "null"},
    ],
)
async def test_another_host_or_origin_is_turned_away(headers: dict[str, str]) -> None:
    async with served(hall()) as page:
        assert (await page.get("/api/about", headers))[0] == 421
        assert (await page.raw("GET", "/", headers))[0] == 421
        assert (await page.get("/api/about", {"Origin": f"http://{page.host}"}))[0] == 200


async def test_the_socket_tells_how_far_the_run_came_to_who_has_the_token() -> None:
    async with served(hall()) as page:
        async with page.watch() as watcher:
            await watcher.send(json.dumps({"token": page.server.token}))
            assert json.loads(await asyncio.wait_for(watcher.recv(), WITHIN)) == {"end": 10 * S, "complete": True}
        for origin in ("http://rebound.example", None):
            with pytest.raises((InvalidStatus, ConnectionClosed)):
                async with page.watch(origin=origin) as watcher:
                    await asyncio.wait_for(watcher.recv(), WITHIN)


@pytest.mark.parametrize(
    "frame",
    [
        "", "{", "null", "[]", '{"token": 5}', '{"token": "wrong"}', '{"token": null}', "[" * 3000, b"\x00\xff",
        "x" * 5000,        '{"token": "' + "\ud7ff" * 900 + '"}',
    ],
)  # fmt: skip
async def test_a_hostile_first_message_ends_its_socket_and_nothing_else(frame: str | bytes) -> None:
    async with served(hall()) as page:
        async with page.watch() as watcher:
            await watcher.send(frame)
            with pytest.raises(ConnectionClosed):
                await asyncio.wait_for(watcher.recv(), WITHIN)
        assert (await page.get("/api/about"))[0] == 200


async def test_bytes_that_are_no_web_socket_frames_do_no_harm() -> None:
    async with served(hall()) as page:
        host, port = page.host.split(":")
        for rubbish in (b"\xff" * 40, b"\x81\x7f" + b"\xff" * 8, b"\x88\x00", bytes(range(256))):
            reader, writer = await asyncio.open_connection(host, int(port))
            writer.write(
                f"GET /api/live HTTP/1.1\r\nHost: {page.host}\r\nOrigin: http://{page.host}\r\nUpgrade: websocket\r\n"
                "Connection: Upgrade\r\nSec-WebSocket-Key: MDEyMzQ1Njc4OWFiY2RlZg==\r\n"
                "Sec-WebSocket-Version: 13\r\n\r\n".encode()
            )
            assert b"101" in await asyncio.wait_for(reader.readline(), WITHIN)
            writer.write(rubbish)
            with suppress(ConnectionError):
                await asyncio.wait_for(reader.read(), WITHIN)
            writer.close()
        assert (await page.get("/api/about"))[0] == 200


@pytest.mark.parametrize(
    "values",
    [
        {"line": 999, "since": 0, "until": 1},
        {"line": "x", "since": 0, "until": 1},
        {"line": 1, "since": -1, "until": 1},
        {"line": 1, "since": 5, "until": 5},
        {"line": 1, "since": 0, "until": 10**30},
        {"line": 1, "since": 0, "until": 1, "width": 10**6},
        {"line": 1, "since": "\u0661", "until": 9},
        {"line": 1},
    ],
)
async def test_a_wrong_question_is_answered_with_what_was_expected(values: dict[str, Any]) -> None:
    async with served(hall()) as page:
        status, said = await page.get("/api/picture", **values)
    assert status == 400
    assert said["error"]["expected"]


async def test_jumps_find_what_went_wrong_and_say_where_there_is_no_more() -> None:
    path = faulty_trace("{fault: dead-camera, on: rope right, at: 1 s, for: 500 ms}")
    async with served(path) as page:
        line = (await page.get("/api/about"))[1]["lines"][0]["number"]
        found: list[int] = []
        at = 0
        while True:
            _, said = await page.get("/api/jump", line=line, what="time-out", at=at)
            if said["at"] is None:
                break
            at = said["at"]
            found.append(at)
        _, fault = await page.get("/api/jump", line=line, what="fault", at=0)
        back: list[int] = []
        at = 3 * S
        while (said := (await page.get("/api/jump", line=line, what="time-out", at=at, back=1))[1])["at"] is not None:
            at = said["at"]
            back.append(at)
        assert (await page.get("/api/jump", line=line, what="luck", at=0))[0] == 400
    with open_trace(path) as trace:
        wanted = [record[10] for record in trace.records(3) if record[12] == "time-out"]
    assert found == wanted == back[::-1]
    assert fault["at"] == 1 * S


async def test_a_thousand_connections_that_say_nothing_keep_nobody_out() -> None:
    async with served(hall()) as page:
        host, port = page.host.split(":")
        silent = [socket.create_connection((host, int(port)), timeout=WITHIN) for _ in range(1)]
        opened = await asyncio.gather(*(asyncio.open_connection(host, int(port)) for _ in range(1000)))
        assert (await page.get("/api/about"))[0] == 200
        for each in silent:
            each.close()
        for _, writer in opened:
            writer.close()


async def test_a_trace_that_is_being_written_is_followed_to_its_end(tmp_path: Path) -> None:
    from fault_halls import hall as fault_hall

    run = Run(fault_hall(), 1, trace=tmp_path / "t.busim")
    run.advance(1 * S)
    assert run.recorder is not None
    run.recorder.flush()
    async with served(tmp_path / "t.busim") as page, page.watch() as watcher:
        await watcher.send(json.dumps({"token": page.server.token}))
        now = {"end": 0, "complete": False}
        run.advance(2 * S)
        run.recorder.flush()
        while now["end"] < 1900 * MS:
            now = json.loads(await asyncio.wait_for(watcher.recv(), WITHIN))
        assert not now["complete"]
        run.finish()
        while not now["complete"]:
            now = json.loads(await asyncio.wait_for(watcher.recv(), WITHIN))
        assert now["end"] == 2 * S


@pytest.mark.parametrize("content", [b"", b"no trace", b"SQLite format 3\0" + bytes(200)])
def test_what_is_no_trace_is_refused_before_a_port_is_taken(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "broken.busim"
    path.write_bytes(content)
    with pytest.raises(UserError):
        PageServer(str(path))
    with pytest.raises(UserError):
        PageServer(str(tmp_path / "missing.busim"))


async def test_a_truncated_trace_is_told_as_damaged(tmp_path: Path) -> None:
    path = tmp_path / "cut.busim"
    whole = hall().read_bytes()
    path.write_bytes(whole[: len(whole) // 2])
    with suppress(UserError):  # refused at once, or when something that is missing is asked for
        async with served(path) as page:
            status, said = await page.get("/api/picture", line=1, since=0, until=10 * S)
            assert status in (200, 400)
            assert "busim" in json.dumps(said) or "damaged" in json.dumps(said) or said["level"]


def test_the_budget_is_that_of_the_plan_there_is() -> None:
    """The plan of a real line that is watched grows with the cameras that are seen."""
    source = Source(str(scenario_trace("climbing-hall", 1)))
    before = source.expected()
    assert source.expected() is before
    source.plan = read(SCENARIOS / "two-masters" / "plan.yaml")
    assert set(source.expected()) == {line.name for line in source.plan.lines}
    assert set(before) & set(source.expected()) == set()
