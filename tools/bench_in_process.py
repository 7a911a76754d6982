"""Benchmarks of programs that run against busim in process (called by tools/bench): a part and how many rounds."""

from __future__ import annotations

import asyncio
import sys
import time
from pathlib import Path
from typing import Any

import minimalmodbus
import serial
from pymodbus import FramerType
from pymodbus.client import AsyncModbusTcpClient

sys.path.insert(0, str(Path(__file__).parent))
from bench import rate, rounds, say

from busim import Plan, SerialWorld, Virtual, read_plan_text, serial_world


def behind_converter(master: bool) -> Plan:
    """A line of three cameras behind a converter; with `master`, busim's own asks through it without rest."""
    text = """
busim: 1
name: bench
lines:
  - name: line
    baud: 115200 Bd
    format: 8N1
    protocol: modbus-rtu
    order: [terminator, {converter: box}, {camera: a, after: 2 m}, {camera: b, after: 2 m}, {camera: c, after: 2 m}]
converters:
  - {name: box, endpoint: "198.51.100.48:15001", packing: {idle: 2 ms}, latency: 1 ms}
cameras:
  - {name: a, bus_id: 1, turnaround: 1 ms}
  - {name: b, bus_id: 2, turnaround: 1 ms}
  - {name: c, bus_id: 3, turnaround: 1 ms}
"""
    if master:
        text += "masters:\n  - {name: m, through: [box], groups: [{name: f, values: [iris, gain], every: 0}]}\n"
    return read_plan_text(text)


async def poll(host: str, count: int) -> None:
    """A controller that asks as fast as it is answered, by a general MODBUS library."""
    async with AsyncModbusTcpClient(host, port=15001, framer=FramerType.RTU) as client:
        for number in range(count):
            await client.read_holding_registers(0, count=2, device_id=1 + number % 3)


async def poll_toy(count: int) -> None:
    """The same against a server that answers at once, in memory and without a wire: what the library itself costs."""
    replies = {1: "01030401f40000ba3d", 2: "02030401f40000893d", 3: "03030401f4000099fd"}

    class Toy(asyncio.Protocol):
        def connection_made(self, transport: asyncio.BaseTransport) -> None:
            self.transport = transport

        def data_received(self, data: bytes) -> None:
            self.transport.write(bytes.fromhex(replies[data[0]]))  # type: ignore[attr-defined]

    async with await asyncio.get_running_loop().create_server(Toy, "127.0.0.1", 15001):
        await poll("127.0.0.1", count)


def virtual(count: int) -> None:
    """A general MODBUS library, unchanged, polling in virtual time, per CPU second."""
    plan, many = behind_converter(False), 10_000
    absolute, against_toy, against_fast = [], [], []

    def polls(*program: Any) -> float:
        began = time.process_time()
        Virtual(plan).run(*program)
        return many / (time.process_time() - began)

    for _ in rounds(count):
        mine = polls(poll, "198.51.100.48", many)
        absolute.append(mine / 1000)
        against_toy.append(mine / polls(poll_toy, many))
        against_fast.append(mine / rate(behind_converter(True), many / 125))
    say("thousand exchanges per CPU second (this machine, now)", absolute, "at least 15 (goal 30)", "virtual")
    say("exchanges per CPU second / the library's with no wire at all", against_toy, "at least 0.6 compiled", "virtual")
    say("exchanges per CPU second / busim's own master in fast time", against_fast, "none", "virtual")


def pyserial(count: int) -> None:
    """An exchange of a blocking library through busim://, in wall time: with its own sleeps, and with a stand-in."""
    slept, stood_in = [], []

    def cost(world: SerialWorld, many: int) -> float:
        with serial.serial_for_url(world.url("box"), timeout=0.2) as port:
            camera = minimalmodbus.Instrument(port, 1)
            began = time.perf_counter()
            for _ in range(many):
                camera.read_register(0)
            return (time.perf_counter() - began) / many * 1e6

    for _ in rounds(count):
        with serial_world(behind_converter(False)) as world:
            slept.append(cost(world, 100))
            minimalmodbus.time = world.clock
            try:
                stood_in.append(cost(world, 2000))
            finally:
                minimalmodbus.time = time
    say("us an exchange, its waiting in simulated time (world.clock)", stood_in, "under 300", "pyserial")
    say("us an exchange, as it is: sleeps 1750 us of wall time each", slept, "none", "pyserial")


if __name__ == "__main__":
    {"virtual": virtual, "pyserial": pyserial}[sys.argv[1]](int(sys.argv[2]))
