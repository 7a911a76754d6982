"""The board that switches faults: those of the plan by the kernel's time, others from outside.

Switching from outside is an input: the trace has it at its instant, and replay repeats it. The plan's schedule is no
input, since a replay has the plan. In both cases a change record says when a fault went on and off with which values,
and each effect has a record.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from heapq import heappop, heappush
from typing import Any

from busim.foundation.errors import UserError
from busim.foundation.yaml_source import suggestion
from busim.recording.trace import CHANGE, EFFECT, INPUT, MARK, Record
from busim.simulator.fault_hooks import Remove
from busim.simulator.faults import Fault, Values, exact_time, find_fault
from busim.simulator.faults.parameters import Parameter
from busim.simulator.world.benches import CameraAt, ConverterAt, FaultSite, LineAt, Places, bench_for, places_of
from busim.simulator.world.fault_entries import FaultEntry

FOR = Parameter("for", "time", "how long it stays on", "", "1 us", "24 h")


@dataclass(slots=True)
class Switched:
    """One fault at one place, from the first time it was on. `values`: as written, the present or last ones.

    `count`: its effects; `first_at` and `last_at`: when (ns), -1 for never.
    """

    fault: Fault
    at: str
    on: bool = False
    values: Mapping[str, str] | None = None
    count: int = 0
    first_at: int = -1
    last_at: int = -1


def _is_it(after: tuple[str, str, str], kind: int, record: Record, named: Callable[[int], str]) -> bool:
    """Whether a record is the event that an entry waits for."""
    what, text, of = after
    if what == "mark":
        return kind == MARK and record[2] == text
    wanted = CHANGE if what == "change" else EFFECT
    return kind == wanted and record[3] == text and of in ("", named(record[2]))


class FaultBoard:
    """All faults of one world. `entries`: the schedule of its plan."""

    def __init__(self, world: FaultSite, entries: Iterable[FaultEntry] = ()) -> None:
        self._world = world
        self._entries = tuple(entries)
        self._waiting: list[tuple[int, int, FaultEntry]] = []  # when each begins next
        self._places = Places(world)
        self._switched: dict[tuple[str, str], Switched] = {}
        self._benches: dict[tuple[str, str], CameraAt | ConverterAt | LineAt] = {}
        self._removes: dict[tuple[str, str], Remove] = {}
        self._turns: dict[tuple[str, str], int] = {}

    @property
    def switched(self) -> tuple[Switched, ...]:
        """Every fault that has been on, in the order of first use."""
        return tuple(self._switched.values())

    def start(self) -> None:
        """Instant 0: schedule the plan's faults."""
        for number, entry in enumerate(self._entries):
            if entry.after is None:
                heappush(self._waiting, (entry.at, number, entry))
        self._schedule()

    def noticed(self, record: Record) -> None:
        """A record that some entry may wait for."""
        kind, now = record[0], self._world.kernel.now
        for number, entry in enumerate(self._entries):
            if entry.after is not None and _is_it(entry.after, kind, record, self._names):
                self._world.kernel.at_or_now(now + entry.at, self._follow, (number, entry))

    def _follow(self, what: tuple[int, FaultEntry]) -> None:
        number, entry = what
        if (entry.fault.name, entry.on) in self._removes:
            return  # it is on: two that wait for each other would loop for ever at one instant
        self._put(entry.fault, entry.on, entry.values, entry.length)
        if entry.every:
            heappush(self._waiting, (self._world.kernel.now + entry.every, number, entry))
            self._schedule()

    def _names(self, number: int) -> str:
        return self._world.names[number - 1].name if 0 < number <= len(self._world.names) else ""

    def _schedule(self) -> None:
        """Schedule one event for the next start, so the kernel's queue stays as small as without faults."""
        if self._waiting:
            self._world.kernel.at(self._waiting[0][0], self._begin)

    # -- from outside -----------------------------------------------------------------------------------------

    def checked(self, name: str, at: str, given: Mapping[str, object]) -> tuple[Fault, Values, int]:
        """The fault, its values and its length (ns, 0: until switched off). Raises UserError."""
        fault = find_fault(name)
        known = places_of(self._world, fault.on)
        if at not in known:
            raise UserError(
                f"{fault.name} is a fault of a {fault.on}, and there is none of this name", found=repr(at[:60]),
                expected="one of " + ", ".join(known)[:300] if known else f"a plan with a {fault.on}",
                mend=suggestion(at, known, f"name a {fault.on} of the plan"),
            )  # fmt: skip
        own = {key: value for key, value in given.items() if key != "for"}
        length = FOR.read(given["for"]) if "for" in given else 0
        values = fault.read(own)
        for line, standing in self._world.lines.items():
            if any(one.name == at for one in standing.stations):
                fault.fits(self._world.protocols[line], values)
        return fault, values, length

    def on(self, name: str, at: str, given: Mapping[str, object]) -> None:
        """Switch a fault on now, with parameters `given` as written, and `for` a time. Raises UserError."""
        fault, values, length = self.checked(name, at, given)
        written = fault.written(values) | ({"for": exact_time(length)} if length else {})
        self._tell(fault, at, "fault", {"fault": fault.name, **written})
        self._put(fault, at, values, length)

    def off(self, name: str, at: str | None = None) -> None:
        """Switch a fault off now, at one place or all; no effect if it is off. Raises UserError."""
        fault = find_fault(name)
        for one in self.switched:
            if one.fault is fault and one.on and at in (None, one.at):
                self._tell(fault, one.at, "no fault", {"fault": fault.name})
                self._take(fault, one.at)

    def again(self, at: str, what: str, data: bytes) -> bool:
        """Repeat an input of a trace. Returns whether it was a switching of a fault. Raises UserError."""
        if what not in ("fault", "no fault"):
            return False
        try:
            given = json.loads(data)
            name = str(given.pop("fault"))
        except (ValueError, AttributeError, KeyError, TypeError):
            raise UserError("no switching of a fault", found=repr(data[:60])) from None
        if what == "fault":
            self.on(name, at, given)
        else:
            self.off(name, at)
        return True

    def _tell(self, fault: Fault, at: str, what: str, about: dict[str, str]) -> None:
        number = self._bench(fault, at).number
        self._world.emit((INPUT, self._world.kernel.now, number, 0, what, json.dumps(about).encode()))

    # -- on and off -------------------------------------------------------------------------------------------

    def _begin(self, _: object) -> None:
        now = self._world.kernel.now
        while self._waiting and self._waiting[0][0] <= now:
            _, number, entry = heappop(self._waiting)
            self._put(entry.fault, entry.on, entry.values, entry.length)
            if entry.every:
                heappush(self._waiting, (now + entry.every, number, entry))
        self._schedule()

    def _put(self, fault: Fault, at: str, values: Values, length: int) -> None:
        key = fault.name, at
        bench = self._bench(fault, at)
        if key in self._removes:  # other values, at once
            self._removes.pop(key)()
        for master in self._world.masters.values():
            master.listen_closely()
        self._world.kernel.hasten()
        self._removes[key] = fault.put(bench, values)
        one = self._switched[key]
        one.on, one.values = True, fault.written(values)
        turn = self._turns[key] = self._turns.get(key, 0) + 1
        said = ", ".join(f"{name} {value}" for name, value in one.values.items())
        self._say(bench, fault, f"on: {said}" if said else "on")
        if length:
            self._world.kernel.at(self._world.kernel.now + length, self._over, (fault, at, turn))

    def _over(self, what: tuple[Fault, str, int]) -> None:
        fault, at, turn = what
        if self._turns.get((fault.name, at)) == turn and (fault.name, at) in self._removes:
            self._take(fault, at)

    def _take(self, fault: Fault, at: str) -> None:
        key = fault.name, at
        self._removes.pop(key)()
        self._switched[key].on = False
        self._say(self._bench(fault, at), fault, "off")

    def _say(self, bench: Any, fault: Fault, what: str) -> None:
        self._world.emit((CHANGE, self._world.kernel.now, bench.number, f"fault {fault.name}", what))

    def _bench(self, fault: Fault, at: str) -> CameraAt | ConverterAt | LineAt:
        key = fault.name, at
        bench = self._benches.get(key)
        if bench is None:
            one = self._switched[key] = Switched(fault, at)

            def told() -> None:
                now = self._world.kernel.now
                one.count += 1
                one.last_at = now
                if one.first_at < 0:
                    one.first_at = now

            bench = self._benches[key] = bench_for(self._places, fault.on, fault.name, at, told)
        return bench
