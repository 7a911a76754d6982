"""The control API: a client with the token can do every action; no request harms the session."""

from __future__ import annotations

import asyncio
import http.client
import json
import signal
import subprocess
import sys
import time
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import pytest
from fault_halls import HALL, hall

from busim.recording.trace import INPUT, MARK, open_trace
from busim.runtime.actions import ACTIONS
from busim.runtime.session import Live, replay
from busim.web import ControlServer, openapi

WITHIN = 30.0  # seconds that anything awaited may take on a busy machine


def ask(url: str, token: str, method: str, path: str, body: bytes | None = None) -> tuple[int, Any]:
    """One request: its status and what came back as JSON."""
    connection = http.client.HTTPConnection(url.removeprefix("http://"), timeout=WITHIN)
    try:
        headers = {"Authorization": f"Bearer {token}", "Content-Type": "application/json"}
        connection.request(method, path, body, headers)
        answer = connection.getresponse()
        return answer.status, json.loads(answer.read() or b"null")
    finally:
        connection.close()


class Controlled:
    def __init__(self, live: Live, server: ControlServer) -> None:
        self.live = live
        self.server = server

    async def ask(self, method: str, path: str, body: bytes | None = None, token: str | None = None) -> tuple[int, Any]:
        return await asyncio.to_thread(
            ask, self.server.url, self.server.token if token is None else token, method, path, body
        )

    async def act(self, **given: Any) -> tuple[int, Any]:
        return await self.ask("POST", "/actions", json.dumps(given).encode())


@asynccontextmanager
async def controlled(trace: Path | None = None) -> AsyncIterator[Controlled]:
    server = ControlServer()
    async with Live(hall(), 1, trace=trace, any_port=True, play=["controller"]) as live, server.serving(live):
        yield Controlled(live, server)


async def test_an_action_by_name_and_as_a_line_are_done_counted_and_replayed(tmp_path: Path) -> None:
    async with controlled(tmp_path / "t.trace") as session:
        status, said = await session.act(
            action="fault",
            arguments={"fault": "late-reply", "switch": "on", "at": "rope left", "values": {"by": "50 ms"}},
        )
        assert (status, said["done"]) == (200, "late-reply is on: rope left")
        status, said = await session.act(line="power off rope-top")
        assert (status, said["done"]) == (200, "power off: rope top")
        assert (await session.act(line="mark doors open"))[0] == 200
        state: dict[str, Any] = {"faults": [{"count": 0}]}
        while not state["faults"][0]["count"]:
            _, state = await session.ask("GET", "/state")
        assert state["faults"][0]["fault"] == "late-reply"
        assert 0 < state["faults"][0]["first_ns"] <= state["now_ns"]
    with open_trace(tmp_path / "t.trace") as trace:
        assert [record[4] for record in trace.records(INPUT)] == ["fault", "no power"]
        assert [record[2] for record in trace.records(MARK)] == ["doors open"]
    assert replay(tmp_path / "t.trace").difference is None


async def test_the_faults_can_be_listed_with_their_bounds() -> None:
    async with controlled() as session:
        status, said = await session.ask("GET", "/faults")
    late = next(one for one in said["faults"] if one["name"] == "late-reply")
    assert status == 200
    assert {"name": "by", "low": "1 ms", "high": "60 s"}.items() <= late["parameters"][0].items()


async def test_without_the_right_token_nothing_is_done() -> None:
    async with controlled() as session:
        for token in ("", "wrong", session.server.token[:-1], "\xe9" * 40):
            status, said = await session.ask("POST", "/actions", b'{"line": "power off rope-top"}', token)
            assert status == 401
            assert "token" in said["error"]["what"]
        assert (await session.ask("GET", "/state", token=""))[0] == 401
        assert (await session.ask("GET", "/openapi.json", token=""))[0] == 200
        assert session.live.run.world.cameras["rope top"].powered


@pytest.mark.parametrize(
    ("body", "status"),
    [
        (b"", 400),
        (b"{", 400),
        (b"\xff\xfe", 400),
        (b"[" * 50_000, 400),
        (b"9" * 60_000, 400),
        (b'{"line": 5}', 400),
        (b'{"line": "power off nobody"}', 400),
        (b'{"line": "mark x", "action": "mark"}', 400),
        (b'{"action": "power"}', 400),
        (b'{"action": "__class__", "arguments": {}}', 400),
        (b'{"action": "power", "arguments": {"camera": "rope top", "switch": "maybe"}}', 400),
        (b'{"action": "power", "arguments": {"camera": {"a": []}, "switch": "off"}}', 400),
        (b'{"action": "power", "arguments": {"camera": "rope top", "switch": "off", "action": "mark"}}', 400),
        (b'{"action": "mark", "arguments": {"text": NaN}}', 400),
        (b'{"action": "cut", "arguments": {"line": "wall line", "position": -1}}', 400),
        (b'{"action": "cut", "arguments": {"line": "wall line", "position": 1e308}}', 400),
        (b'{"action": "fault", "arguments": {"fault": "late-reply", "switch": "on", "at": "rope left",'
         b' "values": {"by": {"deep": 1}}}}', 400),
        (b'{"line": "' + b"x" * 70_000 + b'"}', 413),
    ],
)  # fmt: skip
async def test_hostile_bodies_are_answered_and_do_nothing(body: bytes, status: int) -> None:
    async with controlled() as session:
        found, said = await session.ask("POST", "/actions", body)
        assert found == status
        assert said["error"]["what"]
        assert session.live.faults == ()
        assert (await session.act(line="mark still here"))[0] == 200


@pytest.mark.parametrize(
    ("method", "path"), [("GET", "/"), ("GET", "/../etc"), ("PUT", "/actions"), ("GET", "/actions")]
)
async def test_other_ways_lead_nowhere(method: str, path: str) -> None:
    async with controlled() as session:
        status, said = await session.ask(method, path)
    assert status in (404, 405)
    assert said["error"]["what"]


async def test_more_actions_than_a_session_carries_are_turned_away_and_it_goes_on(tmp_path: Path) -> None:
    """As many requests as one connection can send, far more than are accepted."""

    def flood(url: str, token: str) -> dict[int, int]:
        connection = http.client.HTTPConnection(url.removeprefix("http://"), timeout=WITHIN)
        statuses: dict[int, int] = {}
        until = time.monotonic() + 2
        while time.monotonic() < until:
            connection.request("POST", "/actions", b'{"line": "mark x"}', {"Authorization": f"Bearer {token}"})
            answer = connection.getresponse()
            answer.read()
            statuses[answer.status] = statuses.get(answer.status, 0) + 1
        connection.close()
        return statuses

    async with controlled(tmp_path / "t.trace") as session:
        many = await asyncio.gather(
            *(asyncio.to_thread(flood, session.server.url, session.server.token) for _ in range(3))
        )
        before = session.live.now
        await asyncio.sleep(0.5)
        assert session.live.now > before
    assert all(set(one) <= {200, 429, 503} for one in many)
    done = sum(one.get(200, 0) for one in many)
    with open_trace(tmp_path / "t.trace") as trace:
        assert sum(1 for _ in trace.records(MARK)) == done > 0
    assert replay(tmp_path / "t.trace").difference is None


def test_the_document_names_every_action_with_its_arguments() -> None:
    schema = openapi()["paths"]["/actions"]["post"]["requestBody"]["content"]["application/json"]["schema"]
    named = {one["title"]: one for one in schema["oneOf"]}
    assert set(named) == {"a line", *ACTIONS}
    assert named["power"]["properties"]["arguments"]["required"] == ["switch", "camera"]


def test_served_with_a_ready_file_a_program_is_told_where_and_how(tmp_path: Path) -> None:
    (tmp_path / "plan.yaml").write_text(HALL)
    ready = tmp_path / "ready.json"
    command = [sys.executable, "-m", "busim", "serve", "plan.yaml", "--port", "0", "--ready", "ready.json",
               "--trace", "t.trace"]  # fmt: skip
    process = subprocess.Popen(
        command, cwd=tmp_path, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True
    )
    try:
        assert process.stdout is not None
        while not (said := process.stdout.readline()).startswith("ready"):
            assert said, "it ended"
        assert ready.stat().st_mode & 0o077 == 0, "it has the token, so nobody else may read it"
        control = json.loads(ready.read_text())["control"]
        assert control["url"].startswith("http://127.0.0.1:")
        assert ask(control["url"], control["token"], "POST", "/actions", b'{"line": "reboot wall-box"}')[0] == 200
    finally:
        process.send_signal(signal.SIGINT)
        process.communicate(timeout=WITHIN)
    assert process.returncode == 0
    with open_trace(tmp_path / "t.trace") as trace:
        assert [record[4] for record in trace.records(INPUT)] == ["reboot"]


def test_a_command_beside_the_session_finds_the_control_in_its_environment(tmp_path: Path) -> None:
    (tmp_path / "plan.yaml").write_text(HALL)
    (tmp_path / "suite.py").write_text(
        "import os, urllib.request\n"
        "request = urllib.request.Request(os.environ['BUSIM_CONTROL_URL'] + '/actions',\n"
        '    data=b\'{"line": "power off rope-left"}\',\n'
        "    headers={'Authorization': 'Bearer ' + os.environ['BUSIM_CONTROL_TOKEN']})\n"
        "assert urllib.request.urlopen(request).status == 200\n"
    )
    command = [
        sys.executable,
        "-m",
        "busim",
        "with",
        "plan.yaml",
        "--trace",
        "t.trace",
        "--",
        sys.executable,
        "suite.py",
    ]
    subprocess.run(command, cwd=tmp_path, check=True, capture_output=True, timeout=4 * WITHIN)
    with open_trace(tmp_path / "t.trace") as trace:
        assert [record[4] for record in trace.records(INPUT)] == ["no power"]
