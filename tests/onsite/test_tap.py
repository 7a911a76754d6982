"""`busim tap`: between pymodbus, a real client, and a served converter, on loopback."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from fractions import Fraction
from pathlib import Path

from pymodbus import FramerType
from pymodbus.client import AsyncModbusTcpClient
from serving import wall

from busim.foundation.units import CharFormat
from busim.onsite.heard import LineTrace, Seen
from busim.onsite.tapping import Observer, Tap
from busim.plan import read_text
from busim.protocols import ModbusRtu
from busim.recording.trace import BURST, EXCHANGE, INPUT, open_trace
from busim.runtime.session import Live, recorded_report

PLAN = read_text(wall())
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
