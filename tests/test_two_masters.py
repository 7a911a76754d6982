"""A second master, on the line or as a second client of the converter."""

from __future__ import annotations

import pytest

from busim.plan import Plan, read_text
from busim.session import Run
from busim.trace import BURST, EXCHANGE, Record
from busim.world import build

PLAN = """
busim: 1
name: two who ask
lines:
  - name: wall
    baud: 38400 Bd
    format: 8E1
    dialect: modbus-rtu
    order:
      - converter: box
      - {{camera: low, after: 5 m}}
      - {{camera: high, after: 5 m}}
{place}
converters:
  - {{name: box, endpoint: "10.20.0.44:15001"}}
cameras:
  - {{name: low, id: 1, turnaround: 3 ms}}
  - {{name: high, id: 2, turnaround: 3 ms}}
masters:
  - name: controller
    through: [box]
    cameras: [low]
    groups: [{{name: all, values: [iris, gain], every: {controller}}}]
  - name: intruder
    {where}
    cameras: [high]
    groups: [{{name: all, values: [zoom, focus], every: {every}}}]
"""
ON_LINE = {"place": "      - {master: intruder, after: 5 m}", "where": "on: [wall]"}
BEHIND = {"place": "", "where": "through: [box]"}


def plan(where: dict[str, str]) -> Plan:
    return read_text(PLAN.format(every="57 ms", controller="40 ms", **where))


def outcomes(where: dict[str, str]) -> dict[str, dict[str, int]]:
    records: list[Record] = []
    world = build(plan(where), 1, records.append)
    world.start()
    world.kernel.advance(20 * 10**9)
    found: dict[str, dict[str, int]] = {"controller": {}, "intruder": {}}
    names = {name.id: name.name for name in world.names}
    for record in records:
        if record[0] == EXCHANGE:
            of = found[names[record[2]]]
            of[record[12]] = of.get(record[12], 0) + 1
    return found


def test_a_second_master_on_the_line_makes_collisions_and_damages_exchanges_of_both() -> None:
    run = Run(plan(ON_LINE), 1)
    run.advance(20 * 10**9)
    assert (run.report().lines[0].figures["collisions"].value or 0) > 20
    found = outcomes(ON_LINE)
    for master in found.values():
        assert master["ok"] > 100
        assert sum(master.values()) > master["ok"]


def test_two_clients_of_one_converter_cannot_collide_but_their_requests_run_together() -> None:
    """One driver sends for both, one behind the other; what then comes is no frame to any camera."""
    found = outcomes(BEHIND)
    for master in found.values():
        assert master["ok"] > 100
        assert sum(master.values()) > master["ok"]


@pytest.mark.parametrize("where", [ON_LINE, BEHIND])
def test_neither_takes_the_other_s_reply_for_its_own(where: dict[str, str]) -> None:
    records: list[Record] = []
    world = build(plan(where), 1, records.append)
    world.start()
    world.kernel.advance(20 * 10**9)
    good = [record for record in records if record[0] == EXCHANGE and record[12] == "ok"]
    replies = {(record[6][0], record[4]) for record in records if record[0] == BURST and len(record[6]) == 9}
    assert good
    for exchange in good:
        # a reply from the camera that was asked had been on the wire when the exchange ended
        assert any(id == exchange[4] and exchange[9] < end <= exchange[10] for id, end in replies)
