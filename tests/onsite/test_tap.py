"""`busim tap`: between pymodbus, a real client, and a served converter, on loopback."""

from __future__ import annotations

import asyncio
import socket
import subprocess
import time
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from fractions import Fraction
from pathlib import Path

import pytest
import serial
from pymodbus import FramerType
from pymodbus.client import AsyncModbusTcpClient
from serving import WITHIN, read_frame, value_frame, wall

from busim.cli.tap_screen import watched_text
from busim.foundation.errors import UserError
from busim.foundation.units import CharFormat
from busim.onsite.heard import LineTrace, Seen
from busim.onsite.tapping import Observer, Tap
from busim.plan import read_text
from busim.protocols import ModbusRtu
from busim.recording.trace import BURST, EXCHANGE, INPUT, open_trace
from busim.runtime.session import Live, recorded_report, replay
from busim.web.report import report
from busim.web.views import Source

PLAN = read_text(wall())
MS = 1_000_000
BUS_ID = 100  # the register with the bus ID, of the zoom-camera model
SEEN = Seen("127.0.0.1", 15001, "modbus-rtu", Fraction(115200), CharFormat.parse("8E1"), assumed=False)


@asynccontextmanager
async def tapped(trace: Path | None = None) -> AsyncIterator[tuple[Tap, Observer, list[str]]]:
    """A tap before the converter of the training wall."""
    cautions: list[str] = []
    async with Live(PLAN, any_port=True, caution=cautions.append) as live:
        line_trace = None if trace is None else LineTrace(trace, SEEN, 0)
        observer = Observer(ModbusRtu(), line_trace, cautions.append)
        async with Tap(("127.0.0.1", 0), tuple(live.addresses["wall box"]), observer) as tap:
            yield tap, observer, cautions
        observer.end(tap.now)


async def asked(tap: Tap) -> AsyncModbusTcpClient:
    client = AsyncModbusTcpClient(tap.address[0], port=tap.address[1], framer=FramerType.RTU, timeout=5, retries=0)
    assert await client.connect()
    return client


async def test_a_real_client_reads_its_cameras_through_the_tap_and_the_trace_has_it(tmp_path: Path) -> None:
    path = tmp_path / "seen.busim"
    async with tapped(path) as (tap, observer, _):
        client = await asked(tap)
        for _ in range(3):
            for camera in (1, 2, 3):
                answer = await client.read_holding_registers(BUS_ID, count=1, device_id=camera)
                assert answer.registers == [camera]
        client.close()
        await asyncio.sleep(0)
    assert {address: camera.outcomes for address, camera in observer.watched.cameras.items()} == {
        1: {"ok": 3}, 2: {"ok": 3}, 3: {"ok": 3},
    }  # fmt: skip
    assert all(camera.ages[BUS_ID, 1].count == 3 for camera in observer.watched.cameras.values())
    with open_trace(path) as trace:
        assert [row[4] for row in trace.records(EXCHANGE)] == [1, 2, 3] * 3
        assert len(list(trace.records(BURST))) == 18
        assert [row[4] for row in trace.records(INPUT)] == ["open", "close"]
        report = recorded_report(trace)
    line = report.line("line")
    assert line["exchanges"].value == 9
    assert [camera.bus_id for camera in line.cameras] == [1, 2, 3]
    assert line["occupancy"].value is None, "nobody sees the wire behind a converter"
    assert line["collisions"].value is None


async def test_the_trace_of_a_tap_is_a_report_and_a_page_that_learn_its_cameras_and_is_not_replayed(
    tmp_path: Path,
) -> None:
    path = tmp_path / "seen.busim"
    trace = LineTrace(path, SEEN, 0)
    observer = Observer(ModbusRtu(), trace)
    page = Source(str(path))
    for camera in (3, 9):
        observer.sent(read_frame(camera, 1), camera * MS)
        observer.heard(value_frame(camera, 7), camera * MS + MS)
    observer.end(1000 * MS)
    (line,) = page.about()["lines"]
    assert [one["name"] for one in line["stands"]] == ["box", "ID 3", "ID 9", "unknown sender"]
    assert page.figures()
    page.close()
    text = report(str(path))
    assert "at a real line" in text
    assert "ID 9" in text
    with pytest.raises(UserError, match="cannot be replayed"):
        replay(path)
    assert "ID" in watched_text(observer, 1000 * MS)


def _asked_over_rfc2217(port: int) -> bytes:
    """What pyserial's client of RFC 2217 reads."""
    with serial.serial_for_url(f"rfc2217://127.0.0.1:{port}", baudrate=115200, parity="E", timeout=WITHIN) as line:
        line.write(read_frame(2, BUS_ID))
        return bytes(line.read(7))


async def test_a_client_of_rfc_2217_sets_its_port_and_reads_through_the_tap() -> None:
    plan = read_text(wall().replace("{idle: 1 ms}", "{idle: 1 ms}, rfc2217: applies"))
    async with Live(plan, any_port=True) as live:
        observer = Observer(ModbusRtu(), None, telnet=True)
        async with Tap(("127.0.0.1", 0), tuple(live.addresses["wall box"]), observer) as tap:
            assert await asyncio.to_thread(_asked_over_rfc2217, tap.address[1]) == value_frame(2, 2)
    assert observer.watched.cameras[2].outcomes == {"ok": 1}
    assert observer.passed == [8, 7], "the port settings are not among the bytes of the line"


@pytest.mark.needs("socat")
async def test_between_processes_a_box_of_socat_and_a_device_on_its_port_talk_through_the_tap(tmp_path: Path) -> None:
    link, free = tmp_path / "port", socket.create_server(("127.0.0.1", 0))
    port = free.getsockname()[1]
    free.close()
    box = ["socat", f"TCP-LISTEN:{port},bind=127.0.0.1,reuseaddr", f"PTY,link={link},raw,echo=0"]
    with subprocess.Popen(box) as converter:
        try:
            observer = Observer(ModbusRtu(), None)
            async with Tap(("127.0.0.1", 0), ("127.0.0.1", port), observer) as tap:
                reader, writer = await _connected(tap, link)
                device = serial.Serial(str(link), 115200, timeout=WITHIN)
                writer.write(read_frame(4, 1))
                assert await asyncio.to_thread(device.read, 8) == read_frame(4, 1)
                device.write(value_frame(4, 9))
                assert await asyncio.wait_for(reader.readexactly(7), WITHIN) == value_frame(4, 9)
                device.close()
                writer.close()
        finally:
            converter.kill()
    assert observer.watched.cameras[4].outcomes == {"ok": 1}


async def _connected(tap: Tap, link: Path) -> tuple[asyncio.StreamReader, asyncio.StreamWriter]:
    """A connection through the tap to socat, which makes its pseudo-terminal for it."""
    end = time.monotonic() + WITHIN
    while time.monotonic() < end:
        reader, writer = await asyncio.open_connection(*tap.address)
        while not link.exists() and not reader.at_eof() and reader.exception() is None and time.monotonic() < end:
            await asyncio.sleep(0.01)  # socat makes it once it has a client
        if link.exists():
            return reader, writer
        writer.close()
    raise AssertionError("socat made no pseudo-terminal")


async def test_a_decoder_that_breaks_does_not_stop_the_bytes() -> None:
    async with tapped() as (tap, observer, cautions):

        def broken(*_: object) -> None:
            raise RuntimeError("a defect")

        assert observer.conversation is not None
        observer.conversation.sent = broken  # type: ignore[method-assign]
        client = await asked(tap)
        for camera in (1, 2):
            assert (await client.read_holding_registers(BUS_ID, count=1, device_id=camera)).registers == [camera]
        client.close()
    assert [text for text in cautions if "decoding has ended" in text and "Forwarding goes on" in text] == cautions
    assert len(cautions) == 1
