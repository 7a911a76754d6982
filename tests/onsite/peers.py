"""Devices that nobody here wrote: pymodbus's and umodbus's servers, each on a pseudo-terminal, in a thread."""

from __future__ import annotations

import asyncio
import contextlib
import os
import select
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import serial
from lines import terminal
from pymodbus.server import ModbusSerialServer
from pymodbus.simulator import DataType, SimData, SimDevice
from umodbus.server.serial import get_server
from umodbus.server.serial.rtu import RTUServer

from busim.plan.models import load

MODEL = load("zoom-camera")
KEYS = MODEL.keys["modbus-rtu"]
DEFAULTS = {KEYS[one.name]: one.default for one in MODEL.parameters if one.name in KEYS}
BAUD = 38400


@contextmanager
def cable() -> Iterator[tuple[str, str]]:
    """Two serial ports that are joined: bytes into one come out of the other."""
    with terminal() as (one, path), terminal() as (other, far):
        wake, stop = os.pipe()

        def relay() -> None:
            while stop_read not in (ready := select.select([one, other, stop_read], [], [])[0]):
                for source in ready:
                    with contextlib.suppress(OSError):  # one of them is closed just now
                        os.write(other if source == one else one, os.read(source, 4096))

        stop_read = wake
        keep = [os.open(name, os.O_RDWR | os.O_NOCTTY) for name in (path, far)]  # so that none hangs up meanwhile
        thread = threading.Thread(target=relay)
        thread.start()
        try:
            yield path, far
        finally:
            os.write(stop, b"x")
            thread.join()
            for descriptor in (wake, stop, *keep):
                os.close(descriptor)


@contextmanager
def pymodbus_server(bus_id: int = 1) -> Iterator[str]:
    """Its serial server with the registers of the zoom camera; the path of the port to it."""
    with cable() as (near, far):
        started, ended = threading.Event(), list[Callable[[], None]]()

        async def serve() -> None:
            data = [SimData(key, values=value, datatype=DataType.REGISTERS) for key, value in sorted(DEFAULTS.items())]
            server = ModbusSerialServer(SimDevice(bus_id, simdata=data), port=far, baudrate=BAUD)
            over, loop = asyncio.Event(), asyncio.get_running_loop()
            ended.append(lambda: loop.call_soon_threadsafe(over.set))  # type: ignore[arg-type,return-value]
            await server.serve_forever(background=True)
            started.set()
            await over.wait()
            await server.shutdown()

        thread = threading.Thread(target=asyncio.run, args=(serve(),))
        thread.start()
        assert started.wait(20)
        try:
            yield near
        finally:
            ended[0]()
            thread.join()


@contextmanager
def umodbus_server(bus_id: int = 1) -> Iterator[str]:
    """Its serial server with the registers of the zoom camera; the path of the port to it."""
    with cable() as (near, far), serial.Serial(far, BAUD) as port:
        server = get_server(RTUServer, port)
        values = dict(DEFAULTS)

        @server.route(slave_ids=[bus_id], function_codes=[3], addresses=list(values))  # type: ignore[untyped-decorator]
        def read(slave_id: int, function_code: int, address: int) -> int:  # noqa: ARG001  # its names, by keyword
            return values[address]

        @server.route(slave_ids=[bus_id], function_codes=[6], addresses=list(values))  # type: ignore[untyped-decorator]
        def write(slave_id: int, function_code: int, address: int, value: int) -> None:  # noqa: ARG001
            values[address] = value

        thread = threading.Thread(target=server.serve_forever, args=(0.01,))
        thread.start()
        try:
            yield near
        finally:
            server.shutdown()
            thread.join()
