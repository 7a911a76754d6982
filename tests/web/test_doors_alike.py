"""A typed line, a call from Python and a request over HTTP do the same, and all of them replay."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from fault_halls import S, hall

from busim.recording.trace import INPUT, open_trace
from busim.runtime.actions import ACTIONS
from busim.runtime.session import Run, replay
from busim.simulator.world import Switched
from busim.web.control_api import control_app

LINES = (
    "power off rope-left", "power on rope-left", "reboot rope-top", "reboot wall-box down=200ms", "unplug rope-right",
    "plug rope-right", "swap rope-left", "straight rope-left", "cut wall-line 3", "join wall-line 3",
    "dial rope-top 9600 8N1", "unit rope-top 5 99", "fault late-reply on rope-left by=300ms share=0.5",
    "fault idle-noise on wall-line rate=20", "fault split-stream on wall-box for=300ms", "fault late-reply off",
    "fault two-boxes on wall-box", "fault two-boxes off", "mark doors open",
)  # fmt: skip
TOKEN = "a token"


def parted(line: str) -> tuple[str, dict[str, Any]]:
    """The action of a line, and its arguments by name."""
    name, *words = line.split()
    return name, ACTIONS[name].split(words)


class AtRest:
    """A run that stands at an instant, as a session."""

    def __init__(self, run: Run) -> None:
        self._run = run
        self.do, self.act = run.do, run.act

    @property
    def now(self) -> int:
        return self._run.world.kernel.now

    @property
    def faults(self) -> tuple[Switched, ...]:
        return self._run.faults


def typed(run: Run, line: str) -> None:
    run.do(line)


def called(run: Run, line: str) -> None:
    name, arguments = parted(line)
    run.act(name, **arguments)


def requested(run: Run, line: str) -> None:
    name, arguments = parted(line)
    body = json.dumps({"action": name, "arguments": arguments}).encode()
    assert asyncio.run(_post(run, body)) == 200


async def _post(run: Run, body: bytes) -> int:
    """One request to the application itself: the status of its answer."""
    statuses: list[int] = []
    scope = {
        "type": "http", "method": "POST", "path": "/actions", "raw_path": b"/actions", "query_string": b"",
        "headers": [(b"authorization", f"Bearer {TOKEN}".encode())], "http_version": "1.1", "scheme": "http",
        "server": ("127.0.0.1", 1), "client": ("127.0.0.1", 2), "root_path": "", "asgi": {"version": "3.0"},
    }  # fmt: skip

    async def receive() -> dict[str, Any]:
        return {"type": "http.request", "body": body, "more_body": False}

    async def send(message: Any) -> None:
        if message["type"] == "http.response.start":
            statuses.append(message["status"])

    await control_app(AtRest(run), TOKEN)(scope, receive, send)
    return statuses[0]


def test_every_action_is_tried_at_every_door() -> None:
    assert {line.split()[0] for line in LINES} == set(ACTIONS)


def test_all_doors_lead_to_the_same_trace_and_each_replays(tmp_path: Path) -> None:
    doors: dict[str, Callable[[Run, str], None]] = {"typed": typed, "called": called, "requested": requested}
    found = {}
    for name, door in doors.items():
        run = Run(hall(), 1, trace=tmp_path / name, watched=True)
        for number, line in enumerate(LINES):
            run.advance((number + 1) * S // 4)
            door(run, line)
        run.advance(7 * S)
        run.finish()
        with open_trace(tmp_path / name) as trace:
            found[name] = {kind: list(trace.records(kind)) for kind in range(10)}
        assert replay(tmp_path / name).difference is None, name
    assert found["typed"] == found["called"] == found["requested"]
    assert len(found["typed"][INPUT]) >= len(LINES) - 1  # a mark is a record of its own


@pytest.mark.parametrize("line", LINES)
def test_a_line_and_its_parts_mean_the_same(line: str) -> None:
    name, arguments = parted(line)
    known = {argument.name for argument in ACTIONS[name].arguments}
    assert arguments
    assert set(arguments) <= known
