"""A station that lives outside: a real camera, or a program that plays one, on the emulated line.

It stands on the line through a converter of its own, without packing and latency: bytes of the line go to its client at
once, and bytes of the client onto the pair.
"""

from __future__ import annotations

from busim.plan import read_text
from busim.protocols import ModbusRtu, Reply
from busim.recording.trace import BURST, EXCHANGE, Record
from busim.simulator.world import World, build

PLAN = """
busim: 1
name: a camera that is somewhere else
lines:
  - name: speed line
    baud: 38400 Bd
    format: 8E1
    protocol: modbus-rtu
    order:
      - converter: speed box
      - camera: speed start
        after: 20 m
      - camera: speed finish          # not emulated: it answers through the converter beside it
        after: 15 m
      - converter: place of speed finish
converters:
  - {name: speed box, endpoint: "198.51.100.43:15001"}
  - {name: place of speed finish, endpoint: "198.51.100.43:15002", packing: {idle: 0}, latency: 0}
cameras:
  - {name: speed start, bus_id: 1, turnaround: 3 ms}
  - {name: speed finish, bus_id: 2, present: false}
masters:
  - name: controller
    through: [speed box]
    groups: [{name: all, values: [iris, gain], every: 0}]
"""


class Outside:
    """A camera outside: hears the whole line, and answers requests for ID 2 after 2 ms with the value 4711."""

    def __init__(self, world: World) -> None:
        self.kernel = world.kernel
        self.port = world.converters["place of speed finish"]
        self.heard = b""
        self.protocol = ModbusRtu()
        assert self.port.open(1, self.deliver)

    def deliver(self, client: int, data: bytes) -> None:
        requests, self.heard = self.protocol.cut_requests(self.heard + data)
        for request in requests:
            if request.address == 2:
                reply = Reply(2, request.verb, request.key, (4711,) * request.size)
                self.kernel.at(self.kernel.now + 2_000_000, self.answer, self.protocol.encode_reply(reply))

    def answer(self, raw: bytes) -> None:
        self.port.chunk(1, raw)


def test_a_camera_outside_answers_on_the_emulated_line_beside_emulated_ones() -> None:
    records: list[Record] = []
    world = build(read_text(PLAN), 1, records.append)
    world.start()
    Outside(world)
    world.kernel.advance(10**9)
    numbers = {name.name: name.row for name in world.names}
    outcomes = {
        name: {record[12] for record in records if record[0] == EXCHANGE and record[3] == numbers[name]}
        for name in ("speed start", "speed finish")
    }
    assert outcomes == {"speed start": {"ok"}, "speed finish": {"ok"}}
    driven = [record for record in records if record[0] == BURST and record[2] == numbers["place of speed finish"]]
    assert driven
    assert all(b"\x12\x67" in burst[6] for burst in driven)
    assert not any(burst[-1] for burst in driven), "one driver after the other: the fast path"


def test_without_it_the_camera_is_silent() -> None:
    records: list[Record] = []
    world = build(read_text(PLAN), 1, records.append)
    world.start()
    world.kernel.advance(10**9)
    number = next(name.row for name in world.names if name.name == "speed finish")
    assert {record[12] for record in records if record[0] == EXCHANGE and record[3] == number} == {"time-out"}
