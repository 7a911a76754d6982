"""A controller with umodbus's RTU client: polls iris and gain of four cameras in turn, and prints its beliefs.

python with_umodbus.py HOST PORT
"""

import json
import sys
import time

import serial
from umodbus.client.serial import rtu
from umodbus.client.serial.redundancy_check import CRCError
from umodbus.exceptions import ModbusError

CAMERAS = {"c1": 1, "c2": 2, "c3": 3, "c4": 4}  # those of plan.yaml
port = serial.serial_for_url(f"socket://{sys.argv[1]}:{sys.argv[2]}", timeout=0.3)


def believe(camera, parameter, value):
    print(json.dumps({"v": 1, "belief": "value", "camera": camera, "parameter": parameter, "value": value}), flush=True)


while True:
    for name, bus_id in CAMERAS.items():
        try:
            values = rtu.send_message(rtu.read_holding_registers(bus_id, 0, 2), port)
        except (ModbusError, ValueError, CRCError):  # ValueError: no reply in time
            time.sleep(0.05)
            continue
        for parameter, value in zip(("iris", "gain"), values, strict=True):
            believe(name, parameter, value)
        time.sleep(0.01)
