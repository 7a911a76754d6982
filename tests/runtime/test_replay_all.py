"""All inputs from outside in one session: datagrams, operators, beliefs, cables, plugs and motors."""

from __future__ import annotations

import asyncio
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from places import TESTS
from serving import busim, busim_here, write_frame

from busim.plan import Plan, read_text
from busim.recording.trace import BELIEF, CHANGE, EFFECT, EXCHANGE, open_trace
from busim.runtime.session import Virtual

DRIVE_PAN, PERCENT = 210, 60
REACHED = 600 * PERCENT // 100 // 2  # counts: 600 /s in the 500 ms of the dead man, as pan-tilt-head has it

PLAN = """
busim: 1
name: two walls
lines:
  - name: head line
    baud: 38400 Bd
    format: 8E1
    protocol: modbus-rtu
    order:
      - terminator
      - converter: head box
      - {camera: head, after: 12 m}
      - {camera: mats, after: 8 m}
      - {camera: finish, after: 8 m}
      - {camera: lane, after: 8 m}
      - terminator
converters:
  - {name: head box, endpoint: "198.51.100.48:15001", packing: {idle: 4 ms}, latency: 200..900 us, transport: udp}
cameras:
  - {name: head, bus_id: 1, model: pan-tilt-head, turnaround: 1..3 ms}
  - {name: mats, bus_id: 2, model: zoom-camera, turnaround: 1..3 ms}
  - {name: finish, bus_id: 3, model: slow-motion-camera, turnaround: 1..3 ms}
  - {name: lane, bus_id: 4, model: minicam, turnaround: 1..3 ms}
masters:
  - {name: controller, through: [head box], groups: [{name: head, values: [temperature], every: 90 ms}]}
panels:
  - {name: joystick, master: controller, cameras: [head], controls: [pan, tilt], moves: 4 /s}
  - {name: lens desk, master: controller, cameras: [mats], controls: [iris, zoom, focus], moves: 4 /s}
  - {name: desk, master: controller, cameras: [finish, lane], controls: [master_black, red_gain], moves: 4 /s}
"""


def two_walls() -> Plan:
    return read_text(PLAN)


class Ears(asyncio.DatagramProtocol):
    def __init__(self) -> None:
        self.heard = 0

    def datagram_received(self, data: bytes, addr: Any) -> None:
        self.heard += 1


async def _evening(session: Virtual) -> None:
    hands = session._entered().world.wiring
    loop = asyncio.get_running_loop()
    transport, ears = await loop.create_datagram_endpoint(Ears, remote_addr=("198.51.100.48", 15001))
    for deed in (
        lambda: None, lambda: hands.unplug("mats"), lambda: hands.cut("head line", 2), lambda: hands.swap("head"),
        lambda: hands.plug("mats"), lambda: hands.join("head line", 2), lambda: hands.swap("head", False),
        lambda: hands.power("head", False), lambda: hands.power("head", True), lambda: None, lambda: None,
    ):  # fmt: skip
        transport.sendto(write_frame(1, DRIVE_PAN, 100 + PERCENT))
        await asyncio.sleep(0.3)  # the motor runs, its dead man not yet
        deed()
        session.intend("head", "tilt", 700)
        session.believe("head", "pan", 1800)
        transport.sendto(write_frame(2, 0, 300))
        await asyncio.sleep(1)
        session.hear(b"{junk")
    assert ears.heard >= 8
    transport.close()


def test_a_session_with_datagrams_operators_hands_and_power_cycles_replays_in_another_process(tmp_path: Path) -> None:
    trace, again = tmp_path / "evening.busim", tmp_path / "again.busim"
    with Virtual(two_walls(), 4, trace=trace, intents=True) as session:
        session.run(_evening, session)
    done = busim("replay", str(trace), "--trace", str(again))
    assert done.returncode == 0, done.stdout + done.stderr
    with open_trace(trace) as old, open_trace(again) as new:
        assert old.fingerprint() == new.fingerprint()
        kinds = {record[4] for record in old.inputs()}
        assert kinds >= {"bytes", "cut", "join", "no power", "plug", "power", "straight", "swap", "unplug"}
        assert {record[4] for record in old.records(BELIEF)} == {"value", "wrong"}
        ended = [record[4] for record in old.records(CHANGE) if record[3] == "pan"]
        assert ended[0] == str(1800 + REACHED)  # where the dead man stopped it
        assert any(record[4] == "is without power" for record in old.records(EFFECT))
    done = busim_here("compare", str(trace), str(again))
    assert done.returncode == 0, done.stdout


@pytest.mark.parametrize("seed", [5])
def test_motors_and_models_give_the_same_trace_on_the_fast_and_the_virtual_clock_in_any_process(
    seed: int, tmp_path: Path
) -> None:
    program = """
import asyncio, sys
sys.path.insert(0, sys.argv[1])
from test_replay_all import two_walls
from busim.runtime.session import Run, Virtual
clock, path, seed = sys.argv[2:]
if clock == "fast":
    run = Run(two_walls(), int(seed), trace=path)
    run.advance(5 * 10**9)
    run.finish()
else:
    async def panels():
        async with asyncio.TaskGroup() as group:
            for number in range(1, 8):
                group.create_task(asyncio.sleep(5 / number))
    Virtual(two_walls(), int(seed), trace=path, play=["controller"]).run(panels)
"""
    prints = set()
    for clock, salt in (("fast", 1), ("virtual", 2)):
        path = tmp_path / f"{clock}.busim"
        subprocess.run(
            [sys.executable, "-c", program, str(Path(__file__).parent), clock, str(path), str(seed)],
            check=True, env={"PYTHONHASHSEED": str(salt), "PYTHONPATH": str(TESTS)}, timeout=60,
        )  # fmt: skip
        with open_trace(path) as trace:
            assert {record[5] for record in trace.records(EXCHANGE)} >= {"poll", "command"}
            prints.add(trace.fingerprint())
    assert len(prints) == 1
