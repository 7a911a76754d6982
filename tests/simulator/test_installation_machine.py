"""Master, box, cameras, clients, power, cuts and reboots in any order: what must hold whatever happens.

The model (`installation_model`) sees records only. Every run is repeated without the clients that died before their
first request: nothing else may differ. Some runs whose cable nobody cut are drawn as levels in the end: at each station
an ideal decoder must read the characters of the records.
"""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from functools import cache
from typing import Any

import pytest
from heard_levels import InMemory, read_from_levels, said_to_be_heard
from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, rule, run_state_machine_as_test
from installation_model import Installation
from serving import read_frame, with_crc

from busim.plan import Plan, read_text
from busim.recording.trace import BURST, EXCHANGE, Record
from busim.simulator.world import World, build

MS = 1_000_000
BUS_ID = 100  # the register that holds it
GAIN = 1  # the register that clients write; the master moves the iris, register 0
CAMERAS = {"polled": 1, "moved": 2, "both": 3}

Step = Callable[["Site"], None]


def plan_of(sharing: str, latency: str, turnaround: str) -> str:
    return f"""
busim: 1
name: site
lines:
  - name: lane
    baud: 38400 Bd
    format: 8E1
    protocol: modbus-rtu
    order: [terminator, {{converter: box}}, {{camera: polled, after: 5 m}}, {{camera: moved, after: 20 m}},
      {{camera: both, after: 20 m}}, terminator]
converters:
  - {{name: box, endpoint: 198.51.100.44:15001, latency: {latency}, clients: {{most: 4, sharing: {sharing}}}}}
cameras:
  - {{name: polled, bus_id: 1, turnaround: {turnaround}}}
  - {{name: moved, bus_id: 2, turnaround: {turnaround}}}
  - {{name: both, bus_id: 3, turnaround: {turnaround}}}
masters:
  - name: desk
    through: [box]
    cameras: [polled, both]
    groups: [{{name: fast, values: [iris], every: 250 ms}}, {{name: slow, values: [gain, shutter], every: 1 s}}]
  - {{name: panel, through: [box], cameras: [moved], groups: []}}
"""


@cache
def _read(text: str) -> Plan:
    return read_text(text)


class Site:
    """One world and what each client was given."""

    def __init__(self, text: str) -> None:
        self.records: list[Record] = []
        self.world: World = build(_read(text), 1, self.records.append, watched=True)
        self.box = self.world.converters["box"]
        self.got: dict[int, bytearray] = {}
        self.connected: set[int] = set()
        self.box.clients.drop = lambda client, _: self.connected.discard(client)
        self.world.start()

    def open(self, client: int) -> None:
        self.got.setdefault(client, bytearray())
        if self.box.open(client, lambda number, data: self.got[number].extend(data)):
            self.connected.add(client)

    def chunk(self, client: int, data: bytes) -> None:
        if client in self.connected:
            self.box.chunk(client, data)

    def close(self, client: int, reset: bool) -> None:
        if client in self.connected:
            self.connected.discard(client)
            self.box.close(client, reset=reset)

    def go(self, ns: int) -> None:
        self.world.kernel.advance(self.world.kernel.now + ns)

    def wire(self) -> list[Any]:
        """The bursts and exchanges, and the bytes for clients that sent requests."""
        kept = [record for record in self.records if record[0] in (BURST, EXCHANGE)]
        return [kept, {client: bytes(data) for client, data in self.got.items() if client < 90}]


cameras = st.sampled_from(sorted(CAMERAS))
bus_ids = st.sampled_from([*CAMERAS.values(), 9])
clients = st.sampled_from([1, 2])


class InstallationMachine(RuleBasedStateMachine):
    @initialize(
        sharing=st.sampled_from(["replies-to-all", "arbitrated", "arbitrated"]),
        latency=st.sampled_from(["0", "500 us", "0..3 ms", "20 ms"]),
        turnaround=st.sampled_from(["2 ms", "1..40 ms"]),
        drawn=st.sampled_from([False, False, False, True]),
    )
    def begin(self, sharing: str, latency: str, turnaround: str, drawn: bool) -> None:
        self.drawn = drawn
        self.text = plan_of(sharing, latency, turnaround)
        # where the box takes its time by chance, what one client sends moves the times of the others
        self.comparable = sharing == "arbitrated" and ".." not in latency
        self.site = Site(self.text)
        self.script: list[tuple[int, Step]] = []  # the client that died early, or 0; what was done
        names = {name.name: name.row for name in self.site.world.names if name.kind in ("camera", "converter")}
        self.model = Installation({name: names[name] for name in CAMERAS}, {"box": names["box"]}, CAMERAS, 0)
        self.names = names
        self.seen = 0
        self.moves = 0
        self.died = 90
        self.off: set[str] = set()

    def do(self, step: Step, client: int = 0) -> None:
        self.script.append((client, step))
        step(self.site)
        self.look()

    def look(self) -> None:
        """Check everything against the model."""
        new, self.seen = self.site.records[self.seen :], len(self.site.records)
        assert self.model.take(new) == []
        for name, value in self.model.expected.items():
            if name not in self.off:
                held = self.site.world.cameras[name].camera.values["iris"]
                assert held == value, f"{name} has {held}, and {value} was acknowledged"

    @rule(ms=st.integers(1, 40) | st.integers(100, 4000))
    def wait(self, ms: int) -> None:
        self.do(lambda site: site.go(ms * MS))

    @rule(name=cameras, count=st.integers(1, 3), ms=st.integers(0, 5))
    def move(self, name: str, count: int, ms: int) -> None:
        master = "panel" if name == "moved" else "desk"
        for _ in range(count):
            self.moves += 1
            value = self.moves % 1000 + 1
            self.model.asked.setdefault(name, []).append(value)
            self.do(lambda site, value=value: site.world.moves[master, name]("iris", value, False))
            self.do(lambda site: site.go(ms * MS))

    @rule(name=cameras)
    def switch_power(self, name: str) -> None:
        on = name in self.off
        now, number = self.site.world.kernel.now, self.names[name]
        self.model.expected.pop(name, None)  # what was not saved is lost
        self.do(lambda site: site.world.wiring.power(name, on))
        if on:
            self.off.discard(name)
            boot = self.site.world.cameras[name].camera.model.timing.boot
            self.model.up_at(number, now + boot)
        else:
            self.off.add(name)
            self.model.down_from(number, now, 1 << 62)

    @rule(position=st.integers(2, 4), on=st.booleans())
    def cut_or_join(self, position: int, on: bool) -> None:
        def step(site: Site) -> None:
            self.drawn = False
            (site.world.wiring.cut if on else site.world.wiring.join)("lane", position)

        self.do(step)

    @rule(name=cameras, count=st.integers(0, 4), ms=st.integers(300, 1500), after=st.integers(1, 900))
    def lose_and_find(self, name: str, count: int, ms: int, after: int) -> None:
        """The line is cut while somebody goes on moving a camera, and is whole again; then it is moved once more."""
        self.cut_or_join(2, True)
        for _ in range(count):
            self.move(name, 1, 0)
            self.wait(ms)
        self.wait(ms)
        self.cut_or_join(2, False)
        self.move(name, 1, 0)
        self.wait(after)

    @rule(down=st.sampled_from([1, 5, 50, 500, 2000]))
    def reboot(self, down: int) -> None:
        now = self.site.world.kernel.now
        self.model.down_from(self.names["box"], now, now + down * MS)
        self.do(lambda site: site.world.wiring.reboot("box", down * MS))

    @rule(client=clients)
    def connect(self, client: int) -> None:
        self.do(lambda site: None if client in site.connected else site.open(client))

    @rule(client=clients, bus_id=bus_ids, value=st.integers(0, 72), write=st.booleans(), count=st.integers(1, 3))
    def ask(self, client: int, bus_id: int, value: int, write: bool, count: int) -> None:
        frame = with_crc(bytes((bus_id, 6, 0, GAIN, 0, value))) if write else read_frame(bus_id, BUS_ID)
        self.do(lambda site: site.chunk(client, frame * count))

    @rule(client=clients, reset=st.booleans())
    def leave(self, client: int, reset: bool) -> None:
        self.do(lambda site: site.close(client, reset))

    @rule(size=st.integers(0, 7), ms=st.integers(0, 20), reset=st.booleans())
    def die_in_mid_request(self, size: int, ms: int, reset: bool) -> None:
        """A client connects, sends part of a request and goes. An arbitrating box asks nothing for it."""
        self.died += 1
        client, part = self.died, read_frame(1, BUS_ID)[:size]
        self.do(lambda site: site.open(client), client)
        self.do(lambda site: site.chunk(client, part), client)
        self.do(lambda site: site.go(ms * MS))
        self.do(lambda site: site.close(client, reset), client)

    def teardown(self) -> None:
        if not hasattr(self, "script"):
            return
        self.do(lambda site: site.go(3000 * MS))
        if self.comparable and self.died > 90:
            other = Site(self.text)
            for client, step in self.script:
                if not client:
                    step(other)
            assert other.wire() == self.site.wire()
        if self.drawn:
            self.look_at_levels()

    def look_at_levels(self) -> None:
        self.site.world.finish()
        trace = InMemory(self.site.world, self.site.records)
        for station in ("box", *CAMERAS):
            read = read_from_levels(trace, station, Fraction(38400), "8E1")
            assert [(one.value, one.flags) for one in read] == said_to_be_heard(trace, station, 11e9 / 38400), station


def _settings(examples: int, steps: int) -> settings:
    return settings(
        max_examples=examples, stateful_step_count=steps, deadline=None,
        phases=(Phase.explicit, Phase.reuse, Phase.generate, Phase.shrink),  # explaining takes minutes
        suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
    )  # fmt: skip


def test_what_must_hold_holds_whatever_happens() -> None:
    run_state_machine_as_test(InstallationMachine, settings=_settings(120, 25))


def test_a_request_behind_another_masters_in_one_burst_is_not_what_was_acknowledged_before() -> None:
    machine = InstallationMachine()
    machine.begin("replies-to-all", latency="0", turnaround="2 ms", drawn=False)
    machine.lose_and_find("both", count=0, ms=300, after=12)  # its acknowledgement is under way
    machine.move("moved", 1, 0)
    machine.move("both", 1, 24)
    two = [record[6] for record in machine.site.records if record[0] == BURST and len(record[6]) == 16]
    assert [frame[0] for frame in two] == [CAMERAS["moved"]]
    machine.teardown()


def test_a_camera_that_lost_power_may_forget_a_value_whose_acknowledgement_was_under_way() -> None:
    machine = InstallationMachine()
    machine.begin("replies-to-all", latency="20 ms", turnaround="2 ms", drawn=False)
    machine.wait(400)
    machine.move("polled", 1, 0)
    machine.wait(30)  # the camera has sent its acknowledgement, and the box holds it
    assert machine.site.world.cameras["polled"].camera.values["iris"] == 2
    machine.switch_power("polled")
    machine.switch_power("polled")
    machine.wait(9000)  # it has booted
    assert machine.site.world.cameras["polled"].camera.values["iris"] == 500
    assert [record[12] for record in machine.site.records if record[0] == EXCHANGE and record[5] == "command"] == ["ok"]
    machine.teardown()


@pytest.mark.long
@pytest.mark.timeout(3600)
@pytest.mark.parametrize("_part", range(40))  # `-n 2` shares them out; no part repeats another, each draws anew
def test_what_must_hold_holds_in_a_hundred_thousand_runs(_part: int) -> None:
    run_state_machine_as_test(InstallationMachine, settings=settings(_settings(2_500, 25), derandomize=False))
