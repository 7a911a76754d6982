"""The characters that a station heard by the trace, and those that an ideal decoder reads from the levels there."""

from __future__ import annotations

import json
from collections.abc import Iterator
from fractions import Fraction
from typing import Any

from ideal_uart import Character, characters

from busim.recording.exports.cables import cables
from busim.recording.exports.levels import Levels
from busim.recording.trace import BURST, HEARD, Record, Setting
from busim.simulator.world import World


class InMemory:
    """Records of a world, with the interface of a trace."""

    path = "memory"

    def __init__(self, world: World, records: list[Record]) -> None:
        self.head = {"cables": json.dumps(world.cables()), "ended_at": world.kernel.now}
        self.names = {name.row: name for name in world.names}
        self.settings = {row[0]: Setting(*row[1:]) for row in world.settings}
        self._records = records

    def records(self, kind: int, line: int | None = None, by_time: bool = False) -> Iterator[Record]:
        found = [record for record in self._records if record[0] == kind and line in (None, record[1])]
        return iter(sorted(found, key=lambda record: record[3 if kind == BURST else 2]) if by_time else found)


def said_to_be_heard(trace: Any, station: str, char: float) -> list[tuple[int, int]]:
    """(value, flags) of each character of a station by the trace: as sent, or as a heard record has it instead."""
    numbers = {name.name: number for number, name in trace.names.items() if name.kind != "line"}
    places = {number: at for number, at, *_ in laid(trace)["stations"]}
    echo = {number: echo for number, _, echo, *_ in laid(trace)["stations"]}
    mine = numbers[station]
    heard = [record for record in trace.records(HEARD) if record[2] == mine]
    found: list[tuple[float, int, int]] = []
    for _, _, driver, start, _, label, data, _ in trace.records(BURST):
        if driver == mine and not echo[mine]:
            continue
        setting = trace.settings[label]
        bit = Fraction(10**9) / setting.true_baud
        for number, value in enumerate(data):
            halves = number * setting.format.half_bits + setting.format.sample_halves
            at = float(start + halves * bit / 2 + abs(places[driver] - places[mine]))
            if not any(first - char / 2 <= at <= last + char / 2 for _, _, _, first, last, _, _ in heard):
                found.append((at, value, 0))
    for _, _, _, first, _, data, flags in heard:
        both = enumerate(zip(data, flags, strict=True))
        found += [(first + place / 1000, value, flag) for place, (value, flag) in both]
    return [(value, flags) for at, value, flags in sorted(found, key=lambda one: one[0]) if at <= ended(trace)]


def read_from_levels(trace: Any, station: str, baud: Fraction, form: str) -> list[Character]:
    """The characters that an ideal decoder reads at the output of a station's receiver, up to the end of the run."""
    ((line, cable),) = cables(trace).items()
    number = next(number for number, name in trace.names.items() if name.name == station and name.kind != "line")
    place = cable.place(number)
    assert place is not None
    edges: list[tuple[int, int]] = []
    for at, _, output in Levels(trace, line, cable, place).changes():
        if output != (edges[-1][1] if edges else 1 ^ place.inverted):
            edges.append((at, output))
    found = characters(1 ^ place.inverted, edges, baud, form)
    return [one for one in found if one.at <= ended(trace)]


def ended(trace: Any) -> int:
    end = trace.head["ended_at"]
    assert isinstance(end, int)
    return end


def laid(trace: Any) -> dict[str, Any]:
    (cable,) = json.loads(str(trace.head["cables"])).values()
    return dict(cable)
