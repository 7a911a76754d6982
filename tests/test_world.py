"""The world joins plan and parts: what its ports tell of exchanges, and everything wrong with a plan in one go."""

from __future__ import annotations

from busim.plan import Plan, read_text
from busim.trace import BURST, EXCHANGE, Record
from busim.world import World, build

TURNAROUND = 1_000_000

SHARED = """
busim: 1
name: one camera, two masters
lines:
  - name: wall
    baud: 115200 Bd
    format: 8E1
    dialect: modbus-rtu
    order: [{converter: box}, {camera: mat, after: 10 m}, {master: laptop, after: 10 m}]
converters:
  - {name: box, endpoint: "10.20.0.44:15001", packing: {idle: 2 ms}, latency: 20 ms}
cameras:
  - {name: mat, id: 1, serial: 7, turnaround: 1 ms}
masters:
  - name: desk
    through: [box]
    groups: [{name: fast, values: [iris, gain, shutter], every: 90 ms}]
  - name: laptop
    on: [wall]
    groups: [{name: watch, values: [temperature], every: 25 ms}]
    listen: 3 ms
"""


def _run(plan: Plan, **how: bool) -> tuple[World, list[Record]]:
    records: list[Record] = []
    world = build(plan, 1, records.append, **how)
    world.start()
    world.kernel.advance(2_000_000_000)
    return world, records


def _answers(records: list[Record], camera: int, size: int) -> set[int]:
    """Instants at which the camera was asked for what it answered with so many bytes: answers less the turnaround."""
    return {
        record[3] - TURNAROUND
        for record in records
        if record[0] == BURST and record[2] == camera and len(record[6]) == size
    }


def test_an_exchange_names_the_instant_at_which_its_own_request_was_served() -> None:
    """The laptop asks the same camera again while the answer to the desk is still on its way through the box."""
    world, records = _run(read_text(SHARED))
    camera = world.cameras["mat"].number
    numbers = {name.name: name.id for name in world.names}
    for master, values in (("desk", 3), ("laptop", 1)):
        served = {
            record[13]
            for record in records
            if record[0] == EXCHANGE and record[2] == numbers[master] and record[12] == "ok"
        }
        assert len(served) > 15
        assert served <= _answers(records, camera, 5 + 2 * values)


def test_what_a_client_from_outside_asked_has_the_instant_of_its_own_serving() -> None:
    records: list[Record] = []
    world = build(read_text(SHARED), 1, records.append, played=["laptop"], watched=True)
    world.start()
    box = world.converters["box"]
    box.open(1, lambda *_: None)
    question = bytes.fromhex("01 03 00 00 00 03 05 CB")
    for number in range(20):
        world.kernel.at(number * 90_000_000, lambda _: box.chunk(1, question))
    world.kernel.advance(2_000_000_000)
    exchanges = [record for record in records if record[0] == EXCHANGE and record[5] == "foreign"]
    served = {record[13] for record in exchanges if record[12] == "ok"}
    assert len(served) > 10
    assert served <= _answers(records, world.cameras["mat"].number, 11)
