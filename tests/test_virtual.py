"""Virtual time: asyncio programs, unchanged, against a plan in memory; the clock jumps, and every run is the same."""

from __future__ import annotations

import asyncio
import concurrent.futures
import errno
import socket
import subprocess
import sys
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pymodbus.client import AsyncModbusTcpClient
from pymodbus.framer import FramerType
from serving import read_frame, value_frame
from virtual_halls import BOX, MS, hall, in_loop

from busim.clocks import Refused
from busim.errors import Defect, UserError
from busim.kernel import Kernel
from busim.models import load
from busim.plan import Plan
from busim.session import Run, Virtual, replay
from busim.trace import EFFECT, EXCHANGE, INPUT, open_trace

HOUR = 3600 * 1000 * MS


async def ask(reader: asyncio.StreamReader, writer: asyncio.StreamWriter, camera: int) -> bytes:
    writer.write(read_frame(camera, 102))
    return await reader.readexactly(7)


def iris() -> int:
    return next(one.default for one in load("zoom-camera").parameters if one.name == "iris")


# -- a controller, unchanged --------------------------------------------------------------------------------


async def poll(until: float) -> int:
    """A controller as pymodbus's documentation has them; nothing in it knows of busim. How often it was answered."""
    answered = 0
    loop = asyncio.get_running_loop()
    async with AsyncModbusTcpClient(BOX[0], port=BOX[1], framer=FramerType.RTU, timeout=0.3) as client:
        while loop.time() < until:
            for camera in (1, 2, 3):
                reply = await client.read_holding_registers(100, count=2, device_id=camera)
                assert not reply.isError()
                answered += 1
            await asyncio.sleep(0.9)
    return answered


def test_a_general_modbus_client_polls_a_line_for_a_virtual_hour() -> None:
    session = Virtual(hall())
    answered = session.run(poll, 3600.0)
    assert HOUR <= session.now < HOUR + 2000 * MS
    assert answered > 3 * 3600 * 0.95
    figures = session.report().lines[0].figures
    assert figures["exchanges"].value == answered
    assert figures["damaged"].value == 0


def test_what_the_controller_did_replays_to_the_identical_trace(tmp_path: Path) -> None:
    path = tmp_path / "virtual.busim"
    Virtual(hall(latency="200..900 us"), 7, trace=path).run(poll, 5.0)
    again = replay(path)
    assert again.complete
    assert again.difference is None
    with open_trace(path) as trace:
        inputs = [record[4] for record in trace.records(INPUT)]
        assert trace.head["clock"] == "virtual"
    assert inputs[0] == "open"
    assert inputs[-1] == "close"
    assert inputs.count("bytes") > 10
