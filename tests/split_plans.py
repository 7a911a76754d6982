"""Halls to split: cameras at their places, converters along the walls."""

from __future__ import annotations

import json
from typing import Any

import numpy as np


def hall(
    cameras: int = 100,
    converters: int = 14,
    *,
    seed: int = 1,
    every: str = "300 ms",
    baud: str = "38400 Bd",
    supplied: bool = False,
    ids: int = 247,
    moves: str = "2 /s",
) -> str:
    """A plan as JSON (which is YAML): cameras in the order of their names, spread evenly over the lines, whatever their
    places.
    """
    draw = np.random.Generator(np.random.PCG64(seed))
    spots = draw.integers(0, (80, 40), size=(cameras, 2)).tolist()
    names = [f"camera {number}" for number in range(1, cameras + 1)]
    places = [{"name": f"spot {at}", "at": [f"{x} m", f"{y} m"]} for at, (x, y) in enumerate(spots, 1)]
    lines: list[dict[str, Any]] = []
    boxes = []
    supplies = []
    for number in range(converters):
        place = f"rack {number + 1}"
        places.append({"name": place, "at": [f"{80 * (number + 0.5) / converters:.1f} m", f"{40 * (number % 2)} m"]})
        own = names[number::converters]
        line = {
            "name": f"line {number + 1}", "baud": baud, "format": "8E1", "protocol": "modbus-rtu",
            "cable": {"gauge": "AWG 22", "supply_gauge": "AWG 14"},
            "order": ["terminator", {"converter": f"box {number + 1}"},
                      *({"camera": name, "after": "30 m"} for name in own), "terminator"],
        }  # fmt: skip
        lines.append(line)
        boxes.append(
            {"name": f"box {number + 1}", "endpoint": f"198.51.100.{10 + number}:15001", "latency": "1 ms",
             "packing": {"idle": "2 ms", "length": 0}, "place": place, "network": "198.51.100.0/24"}
        )  # fmt: skip
        supplies.append(
            {"name": f"supply {number + 1}", "at": f"box {number + 1}", "voltage": "24 V", "limit": "120 W",
             "feeds": own}
        )  # fmt: skip
    plan = {
        "busim": 1, "name": "drawn hall", "places": places, "lines": lines, "converters": boxes,
        "cameras": [
            {"name": name, "bus_id": at % ids + 1, "serial": 5001 + at, "turnaround": "2..6 ms",
             "place": f"spot {at + 1}"}
            for at, name in enumerate(names)
        ],
        "masters": [
            {"name": "controller", "through": [box["name"] for box in boxes], "groups": [
                {"name": "fast", "values": ["iris", "gain", "shutter"], "every": every},
                {"name": "slow", "values": ["tally", "temperature"], "every": "2 s"}]}
        ],
        "panels": [{"name": "desk", "master": "controller", "cameras": names, "controls": ["iris"], "moves": moves}],
    }  # fmt: skip
    if supplied:
        plan["supplies"] = supplies
    return json.dumps(plan, indent=1)
