"""A user's camera model, from its file to a real client: a small fixed-lens camera, written from the page alone.

The client is pymodbus. The expected values are computed from the file's own numbers.
"""

from __future__ import annotations

import asyncio
from pathlib import Path

from pymodbus import FramerType
from pymodbus.client import AsyncModbusTcpClient
from serving import Served, busim_here, wall

MODEL = """
busim-model: 1
name: kerb-camera
title: small camera at the foot of the wall
lens: none
parameters:
  iris: {group: lens, kind: range, high: 200}
  gain: {group: exposure, kind: range, low: 3, high: 27, default: 9, unit: dB, scale: 0.5, step: 2}
  rate: {meaning: frame_rate, group: picture, kind: choice, choices: [24p, 30p, 60p]}
  time: {meaning: shutter, group: exposure, kind: range, low: 10, high: 4100, default: 1000, unit: us, scale: 10}
  auto: {meaning: auto_exposure, group: exposure, kind: switch}
  shade: {group: picture, kind: range, high: 90, default: 45, unit: °}
  bus_id: {group: service, kind: reading}
  serial: {group: service, kind: reading}
locks:
  - {when: auto, equals: 1, locks: [gain, time], reason: it sets its level itself}
limits:
  - {limits: time, by: rate, highest: {24p: 4100, 30p: 3300, 60p: 1600}, reason: no longer than its frame}
motors:
  shade: {speed: 900 /s, dead_man: 1 s}
orders:
  deed: {codes: {save: 1, reboot: 2}}
  new_id: {does: change-id}
timing: {turnaround: 1..4 ms, save: 200 ms, boot: 300 ms}
supply: {voltage: 9..15 V, idle: 2 W, peak: 3 W}
bus: {factory_id: 9, bauds: [115200 Bd], formats: [8E1], id_takes_effect: after-save, id_kept: by-save}
keys:
  modbus-rtu: {gain: 0, time: 1, rate: 2, auto: 3, shade: 4, bus_id: 30, serial: 31, deed: 40, new_id: 41, iris: 43}
"""
GAIN, TIME, RATE, AUTO, SHADE, BUS_ID, SERIAL, DEED, NEW_ID, IRIS = 0, 1, 2, 3, 4, 30, 31, 40, 41, 43
ILLEGAL_ADDRESS = 2  # MODBUS Application Protocol V1.1b3, 7


def plan_with_it(folder: Path) -> str:
    (folder / "kerb-camera.yaml").write_text(MODEL, encoding="utf-8")
    return wall().replace("wall low, bus_id: 1,", "wall low, bus_id: 9, serial: 5001, model: ./kerb-camera.yaml,")


def test_the_model_proves_and_its_plan_checks(tmp_path: Path) -> None:
    (tmp_path / "plan.yaml").write_text(plan_with_it(tmp_path), encoding="utf-8")
    proved = busim_here("prove", str(tmp_path / "kerb-camera.yaml"))
    assert proved.returncode == 0, proved.stdout
    checked = busim_here("check", str(tmp_path / "plan.yaml"))
    assert "unknown-model" not in checked.stdout + checked.stderr


async def _visit(address: tuple[str, int]) -> None:
    client = AsyncModbusTcpClient(address[0], port=address[1], framer=FramerType.RTU, timeout=0.4, retries=5)
    assert await client.connect()

    async def read(register: int, id: int = 9) -> int:
        return (await client.read_holding_registers(register, count=1, device_id=id)).registers[0]

    async def refused(register: int, value: int) -> bool:
        return (await client.write_register(register, value, device_id=9)).isError()

    assert [await read(one) for one in (GAIN, TIME, BUS_ID, SERIAL)] == [9, 1000, 9, 5001]
    assert (await client.read_holding_registers(IRIS, count=1, device_id=9)).exception_code == ILLEGAL_ADDRESS
    assert await refused(GAIN, 2)  # below its lowest
    assert not await refused(GAIN, 27)
    assert not await refused(TIME, 3000)
    assert not await refused(RATE, 2)  # 60p
    assert await read(TIME) == 1600  # it follows
    assert not await refused(AUTO, 1)
    assert await refused(GAIN, 20)
    assert not await refused(SHADE, 90)
    while await read(SHADE) != 90:
        pass
    assert not await refused(NEW_ID, 12)
    assert await read(BUS_ID) == 9
    assert not await refused(DEED, 1)
    while (await client.read_holding_registers(BUS_ID, count=1, device_id=12)).isError():  # busy while it saves
        pass
    assert await read(BUS_ID, 12) == 12
    client.close()


def test_a_real_client_finds_in_it_what_its_file_says(tmp_path: Path) -> None:
    with Served(tmp_path, plan_with_it(tmp_path)) as served:
        asyncio.run(asyncio.wait_for(_visit(served.address()), 20))
        served.interrupt()
    (tmp_path / "kerb-camera.yaml").unlink()
    done = busim_here("replay", str(served.trace))
    assert done.returncode == 0, done.stdout + done.stderr
