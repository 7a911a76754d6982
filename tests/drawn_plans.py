"""Plans to check: large sound ones, and drawn ones that use everything a plan may contain.

Written as JSON, which is YAML, so that no drawn word is taken for something else.
"""

from __future__ import annotations

import json
from typing import Any

from hypothesis import strategies as st

_OWN_PACES = st.sampled_from(["0", "1 ms", "4 ms", "50 ms", "200 ms", "1 s", "30 s", "60 s"])
_TIMES = st.sampled_from(["0", "1 ns", "1 us", "20 us", "1 ms", "4 ms", "50 ms", "200 ms", "1 s", "30 s", "60 s"])
_BAUDS = st.sampled_from(["1 Bd", "9600 Bd", "38400 Bd", "57600 Bd", "115200 Bd", "115000.5 Bd", "10000 kBd"])
_FORMATS = st.sampled_from(["8N1", "8E1", "7E1", "5N1.5", "8N2", "8O1"])
_IDS = st.sampled_from([0, 1, 2, 3, 21, 99, 247, 248, 65535])
_VALUES = st.sampled_from(["iris", "gain", "zoom", "tally", "temperature", "serial", "pan", "no such value"])
_HOSTS = st.sampled_from(["198.51.100.44", "198.51.100.45", "127.0.0.1", "169.254.1.1", "192.168.1.255", "192.168.1.0"])
_PORTS = st.sampled_from([1, 80, 502, 4001, 15001, 15002, 65535])
_METRES = st.sampled_from(["0", "9 m", "10 km"])
_NAMES = ("a", "b", "c", "d", "e", "f")


def large(lines: int = 40, cameras: int = 300) -> str:
    """A plan with these numbers of lines and cameras, a converter per line, one controller and one panel."""
    on = [[number for number in range(cameras) if number % lines == line] for line in range(lines)]
    plan = {
        "busim": 1,
        "name": "large hall",
        "lines": [
            {
                "name": f"line {line}", "baud": "38400 Bd", "format": "8E1", "protocol": "modbus-rtu",
                "order": [
                    "terminator", {"converter": f"box {line}"},
                    *({"camera": f"camera {number}", "after": "9 m"} for number in on[line]), "terminator",
                ],
            }
            for line in range(lines)
        ],
        "converters": [
            {"name": f"box {line}", "endpoint": f"10.20.{line // 250}.{line % 250 + 1}:15001", "latency": "1 ms"}
            for line in range(lines)
        ],
        "cameras": [
            {"name": f"camera {number}", "bus_id": place + 2, "serial": number + 4000, "turnaround": "2..6 ms"}
            for line in range(lines)
            for place, number in enumerate(on[line])
        ],
        "masters": [
            {
                "name": "controller", "through": [f"box {line}" for line in range(lines)],
                "groups": [
                    {"name": "fast", "values": ["iris", "gain", "shutter", "master_black"], "every": "500 ms"},
                    {"name": "slow", "values": ["tally", "temperature"], "every": "2 s"},
                ],
            }
        ],
        "panels": [
            {
                "name": "desk", "master": "controller", "cameras": [f"camera {number}" for number in range(cameras)],
                "controls": ["iris", "master_black", "red_gain", "blue_gain"], "moves": "2 /s",
            }
        ],
    }  # fmt: skip
    return json.dumps(plan, indent=1)


def _optional(**fields: st.SearchStrategy[Any]) -> st.SearchStrategy[dict[str, Any]]:
    return st.fixed_dictionaries({}, optional=fields)


_DRIVERS = _optional(
    baud=_BAUDS, format=_FORMATS, clock=st.sampled_from(["0", "20000 ppm", "-100000 ppm"]), swapped=st.booleans(),
    echo=st.booleans(), lead=st.sampled_from(["0", "-5 us", "1 s"]),
    hold=st.sampled_from(["0", "-5 us", "20 us", "1 s"]),
)  # fmt: skip
_CLIENTS = _optional(
    most=st.integers(1, 3), when_full=st.sampled_from(["refuse", "drop-oldest", "accept-and-ignore"]),
    sharing=st.sampled_from(["replies-to-all", "arbitrated"]), arbitration_time_out=_TIMES, hold_slot=_TIMES,
    idle_close=_TIMES, greeting=st.just("48 49"), stale=st.integers(0, 512),
    keep_alive=_optional(every=_OWN_PACES, to=st.sampled_from(["network", "line"])),
)  # fmt: skip
_GROUPS = st.lists(
    st.fixed_dictionaries(
        {"name": st.sampled_from(_NAMES), "values": st.lists(_VALUES, min_size=1, max_size=4, unique=True)},
        optional={"every": _TIMES},
    ),
    max_size=3, unique_by=lambda group: group["name"],
)  # fmt: skip


@st.composite
def drawn(draw: st.DrawFn) -> str:
    """One or two lines with any legal content, mostly wrong in several ways at once."""
    lines = _NAMES[: draw(st.integers(1, 2))]
    cameras = _NAMES[: draw(st.integers(0, 4))]
    boxes = _NAMES[: draw(st.integers(0, 3))]
    orders: dict[str, list[Any]] = {line: ["terminator"] for line in lines}
    for kind, names in (("camera", cameras), ("converter", boxes)):
        for name in names:
            orders[draw(st.sampled_from(lines))].append({kind: name})
    masters = []
    for name in _NAMES[: draw(st.integers(0, 2))]:
        master: dict[str, Any] = {"name": name, "groups": draw(_GROUPS), **draw(_optional(
            time_out=st.sampled_from(["computed", "1 ns", "50 ms", "1 h"]), retries=st.integers(0, 100), gap=_TIMES,
            listen=_TIMES, offline_after=st.sampled_from([1, 3, 10000]), driver=_DRIVERS,
        ))}  # fmt: skip
        if boxes and draw(st.booleans()):
            master["through"] = draw(st.lists(st.sampled_from(boxes), min_size=1, unique=True))
        else:
            master["on"] = draw(st.lists(st.sampled_from(lines), min_size=1, unique=True))
            for line in master["on"]:
                orders[line].append({"master": name})
        masters.append(master)
    endpoints = draw(st.lists(st.tuples(_HOSTS, _PORTS), min_size=len(boxes), max_size=len(boxes), unique=True))
    plan: dict[str, Any] = {
        "busim": 1,
        "name": "drawn",
        "lines": [
            {
                "name": line, "baud": draw(_BAUDS), "format": draw(_FORMATS),
                "order": [one if isinstance(one, str) else {**one, "after": draw(_METRES)} for one in orders[line]],
                "protocol": draw(st.sampled_from(["modbus-rtu", "text", "short", "tagged", "none such", "gone.yaml"])),
                **draw(_optional(bit_error_rate=st.sampled_from([0.0, 0.0001, 0.01]), bias=st.booleans())),
            }
            for line in lines
        ],
        "converters": [
            {
                "name": name, "endpoint": f"{host}:{port}", **draw(_optional(
                    packing=_optional(idle=_TIMES, length=st.sampled_from([0, 1, 65536])), latency=_TIMES,
                    clients=_CLIENTS, driver=_DRIVERS, dials=st.just("198.51.100.44:15001"), box=st.just("rack"),
                    box_port=st.integers(1, 2), factory_address=_HOSTS, gateway=_HOSTS,
                    network=st.sampled_from(["198.51.100.0/24", "192.168.1.0/24", "198.51.100.44/32", "0.0.0.0/0"]),
                    rfc2217=st.sampled_from(["off", "applies"]),
                )),
            }
            for name, (host, port) in zip(boxes, endpoints, strict=True)
        ],
        "cameras": [
            {
                "name": name, "bus_id": draw(_IDS), **draw(_optional(
                    serial=st.integers(0, 3), turnaround=st.sampled_from(["0", "2..6 ms", "0..60 s"]), driver=_DRIVERS,
                    present=st.booleans(), firmware=st.sampled_from(["1", "2"]), factory_id=_IDS,
                    model=st.sampled_from(["zoom-camera", "minicam", "pan-tilt-head", "none such"]),
                    frame_rate=st.sampled_from(["50p", "50i", "59.94p"]), shutter=st.sampled_from(["1/25 s", "1/50 s"]),
                )),
            }
            for name in cameras
        ],
        "masters": masters,
        "spares": draw(st.lists(st.fixed_dictionaries(
            {"name": st.sampled_from(_NAMES), "model": st.sampled_from(["minicam", "none such"])},
            optional={"bus_id": _IDS},
        ), max_size=2, unique_by=lambda spare: spare["name"])),
        "silenced": draw(st.lists(st.fixed_dictionaries(
            {"rule": st.sampled_from(["same-id-on-line", "no-such", "little-headroom"]), "reason": st.just("meant")}
        ), max_size=2)),
    }  # fmt: skip
    if masters and cameras:
        plan["panels"] = [
            {
                "name": "desk", "master": masters[0]["name"], "moves": draw(st.sampled_from(["0", "1 /s", "1000 /s"])),
                "cameras": draw(st.lists(st.sampled_from(cameras), min_size=1, unique=True)),
                "controls": draw(st.lists(_VALUES, min_size=1, max_size=3, unique=True)),
            }
        ]  # fmt: skip
    return json.dumps(plan)
