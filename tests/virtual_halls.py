"""Helpers of tests in virtual time: a small plan without disturbances, and loops over a bare kernel."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Coroutine
from typing import Any, TypeVar

from busim.plan import Plan, read_text
from busim.runtime.clocks import VirtualLoop
from busim.simulator.kernel import Kernel

MS = 1_000_000
BOX = ("198.51.100.48", 15001)
T = TypeVar("T")


def hall(*, latency: str = "1 ms", clients: int = 4, masters: str = "", every: str = "40 ms") -> Plan:
    """One line of three cameras behind `wall box`; with `masters`, "controller" behind it and "laptop" on the line.

    Packing idles 2 ms: with less, a controller that polls at once leaves less than the 1.75 ms of silence that
    MODBUS wants between frames above 19200 Bd (MODBUS over Serial Line V1.02, 2.5.1.1), and goes unanswered.
    """
    return read_text(f"""
busim: 1
name: training wall
lines:
  - name: wall line
    baud: 115200 Bd
    format: 8E1
    protocol: modbus-rtu
    order:
      - terminator
      - converter: wall box
      - {{camera: wall low, after: 12 m}}
      - {{camera: wall high, after: 8 m}}
      - {{camera: wall mats, after: 15 m}}
{"      - {master: laptop, after: 2 m}" if masters else ""}
      - terminator
converters:
  - {{name: wall box, endpoint: "198.51.100.48:15001", packing: {{idle: 2 ms}}, latency: {latency}, clients: {clients}}}
cameras:
  - {{name: wall low, bus_id: 1, turnaround: 1..3 ms}}
  - {{name: wall high, bus_id: 2, turnaround: 1..3 ms}}
  - {{name: wall mats, bus_id: 3, turnaround: 1..3 ms}}
{MASTERS.replace("STEP", every) if masters else ""}
""")


MASTERS = """
masters:
  - name: controller
    through: [wall box]
    groups: [{name: fast, values: [iris, gain], every: STEP}]
  - name: laptop
    on: [wall line]
    cameras: [wall mats]
    groups: [{name: watch, values: [temperature], every: 70 ms}]
"""


def in_loop(
    main: Callable[..., Coroutine[Any, Any, T]], *arguments: Any, kernel: Kernel | None = None, until: int | None = None
) -> T:
    """Run `main` in virtual time over a kernel that the test drives."""
    with asyncio.Runner(loop_factory=lambda: VirtualLoop(kernel or Kernel(), until=until)) as runner:
        return runner.run(main(*arguments))
