"""A controller with pymodbus's asyncio client: polls iris and gain of four cameras in turn, and prints its beliefs.

python with_pymodbus.py HOST PORT
"""

import asyncio
import json
import sys

from pymodbus import FramerType
from pymodbus.client import AsyncModbusTcpClient
from pymodbus.exceptions import ModbusException

CAMERAS = {"c1": 1, "c2": 2, "c3": 3, "c4": 4}  # those of plan.yaml


def believe(camera, parameter, value):
    print(json.dumps({"v": 1, "belief": "value", "camera": camera, "parameter": parameter, "value": value}), flush=True)


async def main(host, port):
    client = AsyncModbusTcpClient(host, port=port, framer=FramerType.RTU, timeout=0.3, retries=1)
    await client.connect()
    while True:
        for camera, bus_id in CAMERAS.items():
            try:
                reply = await client.read_holding_registers(0, count=2, device_id=bus_id)
            except ModbusException:
                await asyncio.sleep(0.05)
                continue
            if not reply.isError():
                for parameter, value in zip(("iris", "gain"), reply.registers, strict=False):
                    believe(camera, parameter, value)
            await asyncio.sleep(0.01)


asyncio.run(main(sys.argv[1], int(sys.argv[2])))
