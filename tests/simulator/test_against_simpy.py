"""busim's simulation against an independent simulator: the same installations as SimPy models.

The models know SimPy, the plan's numbers and the standard, and nothing of busim's line, converter or master: frame
lengths from the MODBUS Application Protocol V1.1b3 (6.3, 6.6), 11-bit characters and t3.5 from MODBUS over Serial Line
V1.02 (2.5.1, p. 13), a byte known in the middle of its first stop bit (Analog Devices / Maxim tutorial 2141). The rules
of the master (commands first, a due poll after four, a newer move replaces a waiting one) are those that it documents.
"""

from __future__ import annotations

from collections.abc import Generator, Iterator
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pytest
import simpy
from budget_plans import box

from busim.recording.trace import EXCHANGE, Record
from busim.simulator.world import build

READ_REQUEST, WRITE = 8, 8  # characters: V1.1b3, 6.3 and 6.6, with address and CRC
SECONDS = 1500


def read_reply(registers: int) -> int:
    """Characters of the reply: address, function, byte count, registers, CRC (V1.1b3, 6.3)."""
    return 5 + 2 * registers


@dataclass
class Wall:
    """Cameras on one line behind a converter, in seconds; everything an installation of this kind is made of."""

    cameras: int
    baud: float
    registers: int
    turnaround: tuple[float, float]
    packing: float
    latency: tuple[float, float]
    every: float
    moves: float
    controls: int
    polls: int = 0
    waits: list[float] = field(default_factory=list)

    def run(self, seed: int) -> None:
        self.chance = np.random.Generator(np.random.PCG64(seed))
        self.env = simpy.Environment()
        self.character = 11 / self.baud
        self.silence = 3.5 * self.character if self.baud <= 19200 else 0.00175
        self.pair = simpy.Resource(self.env, 1)
        self.answered: simpy.Store = simpy.Store(self.env)
        self.waiting: list[tuple[int, float]] = []  # control and when it was moved
        self.woken = self.env.event()
        self.env.process(self.master())
        self.env.process(self.operator())
        self.env.run(SECONDS)

    def even(self, bounds: tuple[float, float]) -> float:
        return float(self.chance.uniform(*bounds))

    def operator(self) -> Generator[simpy.Event, Any, None]:
        while self.moves:
            yield self.env.timeout(self.chance.exponential(1 / self.moves))
            control = int(self.chance.integers(self.cameras * self.controls))
            if control not in [one for one, _ in self.waiting]:
                self.waiting.append((control, self.env.now))
            if not self.woken.triggered:
                self.woken.succeed()

    def exchange(self, request: int, reply: int) -> Iterator[simpy.Event]:
        """Through the converter, along the pair, to a camera and back."""
        yield self.env.timeout(self.even(self.latency))
        with self.pair.request() as turn:
            yield turn
            yield self.env.timeout(request * self.character + self.silence)
        self.env.process(self.camera(reply))
        yield self.answered.get()

    def camera(self, reply: int) -> Generator[simpy.Event, Any, None]:
        yield self.env.timeout(self.even(self.turnaround))
        with self.pair.request() as turn:
            yield turn
            yield self.env.timeout((reply - 0.5 / 11) * self.character)
        yield self.env.timeout(self.packing + self.even(self.latency))
        self.answered.put(True)

    def master(self) -> Generator[simpy.Event, Any, None]:
        due = [0.0] * self.cameras
        order = list(range(self.cameras))
        row = 0
        while True:
            now = self.env.now
            camera = min(order, key=lambda one: (due[one], order.index(one)))
            if self.waiting and (row < 4 or due[camera] > now):
                row += 1
                self.waits.append(now - self.waiting.pop(0)[1])
                yield from self.exchange(WRITE, WRITE)
            elif due[camera] <= now:
                row = 0
                yield from self.exchange(READ_REQUEST, read_reply(self.registers))
                self.polls += 1
                due[camera] = max(due[camera] + self.every, self.env.now) if self.every else self.env.now
                order.append(order.pop(order.index(camera)))
            else:
                self.woken = self.env.event()
                yield self.woken | self.env.timeout(due[camera] - now)
                continue
            yield self.env.timeout(self.silence)


WALLS = {
    "a boulder wall, polled without rest": (
        Wall(4, 38400, 3, (0.002, 0.006), 0.004, (0.001, 0.001), 0, 6, 4),
        {"moves": "6 /s"},
    ),
    "ropes behind a slow box at 9600 Bd": (
        Wall(3, 9600, 3, (0.003, 0.009), 0.02, (0.001, 0.003), 0, 4, 2),
        {"cameras": 3, "baud": "9600 Bd", "turnaround": "3..9 ms", "packing": "{idle: 20 ms, length: 0}",
         "latency": "1..3 ms", "moves": "4 /s", "controls": "[iris, gain]"},
    ),
    "mats, each polled five times a second": (
        Wall(6, 115200, 3, (0.001, 0.011), 0.002, (0.001, 0.001), 0.2, 8, 4),
        {"cameras": 6, "baud": "115200 Bd", "turnaround": "1..11 ms", "packing": "{idle: 2 ms, length: 0}",
         "moves": "8 /s", "every": "200 ms"},
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", WALLS)
def test_poll_rate_and_waits_of_commands_are_those_of_an_independent_simulator(name: str) -> None:
    """Poll rate within 1 %, mean wait of a command from the move to its sending within 3 %."""
    model, plan = WALLS[name]
    model.run(1)
    records: list[Record] = []
    world = build(box(**plan), 1, records.append)
    world.start()
    world.kernel.advance(SECONDS * 10**9)
    polls = sum(r[0] == EXCHANGE and r[5] == "poll" and r[12] == "ok" for r in records)
    waits = [(r[9] - r[8]) / 1e9 for r in records if r[0] == EXCHANGE and r[5] == "command"]
    assert polls == pytest.approx(model.polls, rel=0.01)
    assert np.mean(waits) == pytest.approx(np.mean(model.waits), rel=0.03)
    assert len(waits) == pytest.approx(len(model.waits), abs=3 * (2 * len(waits)) ** 0.5)  # two Poisson counts
