"""A controller with minimalmodbus: polls iris and gain of four cameras in turn, and prints its beliefs.

python with_minimalmodbus.py HOST PORT
"""

import json
import sys
import time

import minimalmodbus
import serial

CAMERAS = {"c1": 1, "c2": 2, "c3": 3, "c4": 4}  # those of plan.yaml
port = serial.serial_for_url(f"socket://{sys.argv[1]}:{sys.argv[2]}", timeout=0.3)
cameras = {name: minimalmodbus.Instrument(port, bus_id) for name, bus_id in CAMERAS.items()}
for camera in cameras.values():
    camera.serial.timeout = 0.3


def believe(camera, parameter, value):
    print(json.dumps({"v": 1, "belief": "value", "camera": camera, "parameter": parameter, "value": value}), flush=True)


while True:
    for name, camera in cameras.items():
        try:
            values = camera.read_registers(0, 2)
        except minimalmodbus.ModbusException:
            time.sleep(0.05)
            continue
        for parameter, value in zip(("iris", "gain"), values, strict=True):
            believe(name, parameter, value)
        time.sleep(0.01)
