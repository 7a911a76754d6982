"""A real port as a station: bytes go both ways, and a port that is unplugged and plugged again goes on."""

from __future__ import annotations

import asyncio
import os
import select
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from lines import terminal
from serving import WITHIN, Served, read_frame, value_frame, wait_for
from typer.testing import CliRunner
from virtual_halls import hall

from busim.cli.app import app
from busim.foundation.errors import UserError
from busim.installation import resolve
from busim.onsite.stations import join, real_ports
from busim.onsite.targets import Link, open_target
from busim.plan import Plan, read_text
from busim.plan.models import load
from busim.runtime.session import Live, replay

IRIS = load("zoom-camera").keys["modbus-rtu"]["iris"]
DEFAULT = next(one.default for one in load("zoom-camera").parameters if one.name == "iris")
ASK, REPLY = read_frame(1, IRIS), value_frame(1, DEFAULT)

POLLED = """
masters:
  - {name: desk, on: [wall line], cameras: [wall low], time_out: 5 s, groups: [{name: iris, values: [iris]}]}
"""


def with_port(port: str, *, polled: bool = False) -> Plan:
    """The training wall whose converter is a real port; `polled`: by a master on the line, without its cameras."""
    text = hall().source.replace(
        "packing: {idle: 2 ms}, latency: 1 ms", f"port: {port!r}, packing: {{idle: 0}}, latency: 0"
    )
    if polled:
        text = text.replace("turnaround: 1..3 ms", "turnaround: 1..3 ms, present: false")
        text = text.replace("after: 15 m}\n", "after: 15 m}\n      - {master: desk, after: 1 m}\n") + POLLED
    return read_text(text)


def standing(port: str, *, polled: bool = False) -> Plan:
    """The training wall with a real port on its line, and no box; `polled`: by a master there, without its cameras."""
    text = hall().source
    text = text.replace("after: 15 m}\n", f"after: 15 m}}\n      - {{port: {port!r}, after: 1 m}}\n")
    if polled:
        text = text.replace("turnaround: 1..3 ms", "turnaround: 1..3 ms, present: false")
        text = text.replace("after: 15 m}\n", "after: 15 m}\n      - {master: desk, after: 1 m}\n") + POLLED
    return read_text(text)


PLACES = pytest.mark.parametrize("placed", [with_port, standing], ids=["network side of a box", "station"])


@contextmanager
def joint(plan: Plan, live: Live) -> Iterator[list[str]]:
    """The real port of the plan, joined; its news so far."""
    stop, told = threading.Event(), list[str]()
    (port,) = real_ports(resolve(plan))
    address = live.addresses[port.converter]

    def opened() -> Link:
        return open_target(port.target, port.baud, port.format)

    thread = threading.Thread(target=join, args=(opened, (address.host, address.port), stop, told.append))
    thread.start()
    try:
        yield told
    finally:
        stop.set()
        thread.join()


def read(descriptor: int, count: int) -> bytes:
    """So many bytes, or those that came within the patience of the tests."""
    data = b""
    while len(data) < count and select.select([descriptor], [], [], WITHIN)[0]:
        data += os.read(descriptor, count - len(data))
    return data


async def exchanged(ours: int) -> bytes:
    os.write(ours, ASK)
    return await asyncio.to_thread(read, ours, len(REPLY))


async def told_of(told: list[str], word: str) -> None:
    await asyncio.to_thread(wait_for, lambda: any(word in one for one in told))


@PLACES
def test_a_command_beside_the_installation_is_told_that_no_real_port_is_opened(
    placed: Callable[[str], Plan], tmp_path: Path
) -> None:
    path = tmp_path / "plan.yaml"
    path.write_text(placed("/dev/ttyUSB0").source)
    done = CliRunner().invoke(app, ["with", str(path), "--", "no-such-program"])
    assert "the command cannot be run" in str(done.exception)
    assert "note: /dev/ttyUSB0 is not opened: only busim serve joins real ports" in done.stderr


@PLACES
async def test_emulated_cameras_answer_on_a_real_line_and_the_trace_replays_without_it(
    placed: Callable[..., Plan], tmp_path: Path
) -> None:
    with terminal() as (ours, path):
        plan = placed(path)
        async with Live(plan, 1, any_port=True, trace=tmp_path / "live.trace") as live:
            with joint(plan, live) as told:
                await told_of(told, "joined")
                assert await exchanged(ours) == REPLY
    assert replay(tmp_path / "live.trace").difference is None


async def test_a_port_that_is_unplugged_and_plugged_again_goes_on(tmp_path: Path) -> None:
    link = tmp_path / "adapter"
    plan = with_port(str(link))
    async with Live(plan, 1, any_port=True) as live:
        with joint(plan, live) as told:
            await told_of(told, "waiting")  # it is not there yet
            for _ in range(2):
                with terminal() as (ours, path):
                    before = len(told)
                    link.symlink_to(path)
                    await asyncio.to_thread(wait_for, lambda before=before: any("back" in one for one in told[before:]))
                    assert await exchanged(ours) == REPLY
                    link.unlink()
                    before = len(told)
                await asyncio.to_thread(wait_for, lambda before=before: any("gone" in one for one in told[before:]))


@PLACES
async def test_a_real_camera_answers_a_master_on_an_emulated_line(placed: Callable[..., Plan]) -> None:
    with terminal() as (ours, path):
        plan = placed(path, polled=True)
        async with Live(plan, 1, any_port=True) as live:
            with joint(plan, live) as told:
                await told_of(told, "joined")
                for _ in range(3):
                    assert await asyncio.to_thread(read, ours, len(ASK)) == ASK
                    os.write(ours, REPLY)
                await asyncio.to_thread(read, ours, len(ASK))  # the next one shows that the last reply was taken
    figures = live.report().lines[0].camera("wall low").figures
    assert (figures["latency_p50"].value or 0) > 0
    assert (figures["exchanges"].value or 0) >= 3


def test_the_command_asks_before_it_opens_a_real_port(tmp_path: Path) -> None:
    path = tmp_path / "plan.yaml"
    path.write_text(with_port("/dev/ttyUSB9").source)
    done = CliRunner().invoke(app, ["serve", str(path), "--port", "0"])
    assert isinstance(done.exception, UserError)
    assert "nothing was opened" in str(done.exception)
    assert "Two masters" in " ".join(done.stderr.split())


@pytest.mark.long
def test_the_command_joins_the_port_in_a_process_of_its_own(tmp_path: Path) -> None:
    with terminal() as (ours, path), Served(tmp_path, with_port(path).source, "--yes") as served:
        wait_for(lambda: "is joined" in served.errors())
        os.write(ours, ASK)
        assert read(ours, len(REPLY)) == REPLY
        served.interrupt()


def test_a_real_port_that_is_none_or_stands_twice_is_refused() -> None:
    with pytest.raises(UserError, match="not a target") as caught:
        real_ports(resolve(with_port("http://192.0.2.1")))
    assert caught.value.field == "converters[0].port"
    with pytest.raises(UserError, match="not a target") as caught:
        real_ports(resolve(standing("http://192.0.2.1")))
    assert caught.value.field == "lines[0].order[5].port"
    text = with_port("/dev/ttyUSB9").source.replace(
        "      - {camera: wall low", "      - {converter: other, after: 1 m}\n      - {camera: wall low"
    )
    text = text.replace(
        "cameras:\n", '  - {name: other, endpoint: "198.51.100.49:1", port: /dev/ttyUSB9}\ncameras:\n', 1
    )
    with pytest.raises(UserError, match="one real port stands twice"):
        real_ports(resolve(read_text(text)))


def test_a_plan_with_a_real_port_on_its_line_is_checked_and_run_without_it(tmp_path: Path) -> None:
    path = tmp_path / "plan.yaml"
    path.write_text(standing("/dev/ttyUSB9").source)
    for command in (["check", str(path)], ["run", str(path), "--for", "10ms"], ["sheet", str(path), "-o", "s.html"]):
        done = CliRunner().invoke(app, [*command[:-1], str(tmp_path / "s.html")] if "sheet" in command else command)
        assert done.exit_code in (0, 1), done.output
        assert done.exception is None or isinstance(done.exception, SystemExit)
