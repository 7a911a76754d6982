"""Changes of the wiring in a run: stations unplugged, cables cut, pairs swapped, port settings changed.

The levels on a cut pair are taken from the superposition of what is on each piece; there is no published row for it.
"""

from __future__ import annotations

from collections import Counter
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from fault_guests import Guest
from fault_halls import hall as boxed
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from small_plans import sealed, wall
from test_both_paths import plans, text_of
from wire_bench import Wire, port

from busim.foundation.errors import UserError
from busim.foundation.units import CharFormat
from busim.plan import Plan, read_text
from busim.recording.trace import BREAK, BURST, CHANGE, EXCHANGE, FRAME, FRAMING, HEARD, INPUT, Record, open_trace
from busim.runtime.session import Run, replay
from busim.simulator.bus.cable_segments import CableSegments
from busim.simulator.world import World, build

BIT = 1e9 / 9600
MS = 1_000_000
S = 1_000_000_000


# -- a bare line -----------------------------------------------------------------------------------------------------


def four(*, exact: bool = False, **line: Any) -> Wire:
    wire = Wire(always_exact=exact, **line)
    for number in range(4):
        wire.station(str(number), 100.0 * number)
    return wire.start()


def heard(wire: Wire) -> list[bytes]:
    return [wire.values(name) for name in wire.stations]


@pytest.mark.parametrize("exact", [False, True])
def test_a_cut_parts_who_stands_before_it_from_who_follows(exact: bool) -> None:
    wire = four(exact=exact)
    wire.at(1000, lambda _: wire.line.rewire().cut(2))
    wire.send(2000, "0", b"near")
    wire.send(2000, "3", b"far")  # at the same time: nobody hears both
    wire.run()
    assert heard(wire) == [b"", b"near", b"far", b""]
    assert not [record for record in wire.records if record[0] == HEARD]


@pytest.mark.parametrize("exact", [False, True])
def test_joined_again_all_is_as_before_and_on_the_fast_path(exact: bool) -> None:
    wire = four(exact=exact)
    wire.at(1000, lambda _: wire.line.rewire().cut(1))
    wire.send(2000, "3", b"lost")
    wire.at(20 * MS, lambda _: wire.line.rewire().join(1))
    for number in range(4):
        wire.send((30 + 10 * number) * MS, str(number), b"%d" % number)
    wire.run()
    assert heard(wire) == [b"123", b"lost023", b"lost013", b"012"]
    assert [record[-1] for record in wire.records if record[0] == BURST][-2:] == [int(exact)] * 2
    assert wire.line.segments is None


@pytest.mark.parametrize("exact", [False, True])
def test_a_cut_in_the_middle_of_a_character_leaves_the_pair_idle_from_there(exact: bool) -> None:
    """00 cut in its fifth bit: start and four bits are space, the other four read as an undriven pair, mark: F0."""
    wire = four(exact=exact)
    wire.send(0, "0", b"\x00\x00")
    wire.at(round(5 * BIT), lambda _: wire.line.rewire().cut(2))
    wire.run()
    assert heard(wire) == [b"", b"\x00\x00", b"\xf0", b"\xf0"]


@pytest.mark.parametrize("exact", [False, True])
def test_joined_in_the_middle_of_a_burst_the_rest_of_it_is_heard(exact: bool) -> None:
    wire = four(exact=exact)
    wire.at(0, lambda _: wire.line.rewire().cut(1))
    wire.send(1000, "0", b"\xff\xff\x41\x42")
    wire.at(round(19 * BIT), lambda _: wire.line.rewire().join(1))
    wire.run()
    assert heard(wire)[1:] == [b"AB"] * 3


@pytest.mark.parametrize("exact", [False, True])
def test_a_station_that_is_off_the_pair_neither_drives_nor_hears(exact: bool) -> None:
    wire = four(exact=exact)
    wire.at(0, lambda _: wire.line.rewire().unplug(wire.stations["1"]))
    wire.send(1000, "1", b"nothing")
    wire.send(1000, "0", b"clean")
    wire.at(20 * MS, lambda _: wire.line.rewire().plug(wire.stations["1"]))
    wire.send(30 * MS, "1", b"here")
    wire.run()
    assert heard(wire) == [b"here", b"", b"cleanhere", b"cleanhere"]
    assert [record[6] for record in wire.records if record[0] == BURST] == [b"clean", b"here"]


def test_what_a_station_sends_once_it_is_back_on_the_pair_is_heard_although_it_was_still_sending() -> None:
    wire = four()
    wire.at(0, lambda _: wire.line.rewire().unplug(wire.stations["1"]))
    wire.send(1000, "1", b"nothing")
    wire.at(3 * MS, lambda _: wire.line.rewire().plug(wire.stations["1"]))
    wire.send(4 * MS, "1", b"here")
    wire.run()
    assert heard(wire) == [b"here", b"", b"here", b"here"]


def test_the_main_segment_is_one_that_there_is() -> None:
    wire = four()
    segments = CableSegments(4, (0,))
    mains = []
    for number, change in enumerate([lambda: segments.cut(1), lambda: segments.cut(3), lambda: segments.join(3),
                                     lambda: segments.join(1)]):  # fmt: skip
        segments.main = 2 if number == 2 else segments.main
        change()
        segments.begin_epoch(number)
        mains.append(segments.main)
    assert mains == [0, 0, 0, 0]
    segments.cut(2)
    segments.begin_epoch(5)
    segments.main = 1
    segments.cut(3)
    segments.begin_epoch(6)
    assert segments.main == 1  # it is there still
    segments.join(2)
    segments.join(3)
    segments.begin_epoch(7)
    assert segments.main == 0
    segments.main = 0
    segments.unplug(wire.stations["0"], through=False)
    segments.begin_epoch(10)
    assert segments.main == 0  # of the others that are left, when the first station is off the pair


def test_a_station_that_cuts_the_pair_when_it_is_off_parts_the_others() -> None:
    wire = four()
    wire.at(0, lambda _: wire.line.rewire().unplug(wire.stations["1"], through=False))
    wire.send(1000, "0", b"alone")
    wire.send(1000, "2", b"far")
    wire.at(20 * MS, lambda _: wire.line.rewire().plug(wire.stations["1"]))
    wire.send(30 * MS, "0", b"all")
    wire.run()
    assert heard(wire) == [b"", b"all", b"all", b"farall"]


def test_who_waits_for_quiet_hears_only_the_own_piece() -> None:
    wire = four()
    found: list[bool] = []
    wire.at(0, lambda _: wire.line.rewire().cut(2))
    wire.send(1000, "0", b"long enough")
    wire.at(5 * MS, lambda _: found.extend(wire.line.busy(station) for station in wire.stations.values()))
    wire.run()
    assert found == [True, True, False, False]


def test_a_piece_without_the_bias_floats_and_the_other_does_not() -> None:
    wire = four()
    wire.line.hold_bias_at((3,))
    wire.at(0, lambda _: wire.line.rewire().cut(2))
    wire.at(MS, lambda _: wire.line.pulse(round(3 * BIT), True))
    wire.at(10 * MS, lambda _: wire.line.rewire().join(2))
    wire.at(20 * MS, lambda _: wire.line.pulse(round(3 * BIT), True))
    wire.run()
    assert heard(wire) == [b"\xfc", b"\xfc", b"", b""]


def test_a_pair_that_is_swapped_while_idle_reads_a_break_and_then_sheared_bytes() -> None:
    """As a station does whose pair was swapped from the start (`test_wire`): common practice, no source."""
    wire = four()
    wire.at(MS, lambda _: wire.line.reset(wire.stations["2"], port(swapped=True)))
    wire.send(100 * MS, "0", bytes.fromhex("0103000000070408"))
    wire.run()
    assert wire.values("2")[:8] == bytes.fromhex("007f7efffff1f7ef")
    assert wire.heard("2")[0][1:] == (MS + round(9.5 * BIT), FRAMING | BREAK)
    assert wire.values("1") == wire.values("3") == bytes.fromhex("0103000000070408")


deeds = st.tuples(
    st.sampled_from(["send", "send", "send", "cut", "join", "unplug", "plug", "swap", "straight", "pulse", "float"]),
    st.integers(0, 3),
    st.integers(0, 40_000),  # us
    st.binary(min_size=1, max_size=5),
)


def played(case: list[Any], bias: int, *, exact: bool) -> tuple[list[Any], list[Record]]:
    wire = four(exact=exact)
    wire.line.hold_bias_at((bias,))
    line, kernel = wire.line, wire.kernel
    groups: dict[str, list[tuple[int, int, int]]] = {name: [] for name in wire.stations}

    def do(deed: Any) -> None:
        what, number, _, data = deed
        station = wire.stations[str(number)]
        sending = station.burst is not None and max(station.burst.off, station.burst.end) > kernel.now
        if what == "send":
            line.send(station, data)
        elif what in ("cut", "join"):
            getattr(line.rewire(), what)(number)
        elif what == "unplug":
            line.rewire().unplug(station, through=data[0] % 2 == 0)
        elif what == "plug":
            line.rewire().plug(station)
        elif what in ("pulse", "float"):
            line.pulse(data[0] * 4000, what == "float")
        elif not sending:
            line.reset(station, port(swapped=what == "swap"))

    for deed in sorted(case, key=lambda deed: deed[2]):
        kernel.at(deed[2] * 1000, do, deed)
    wire.run(200 * MS)
    for name in groups:
        groups[name] = wire.heard(name)
    return list(groups.values()), sorted(record[:-1] for record in wire.records if record[0] == BURST)


@pytest.mark.timeout(600)
@settings(max_examples=400, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.lists(deeds, min_size=1, max_size=9), st.integers(0, 3))
def test_whatever_is_done_to_the_wiring_both_paths_hear_the_same(case: list[Any], bias: int) -> None:
    (fast, bursts), (exact, same) = played(case, bias, exact=False), played(case, bias, exact=True)
    assert bursts == same
    for one, other in zip(fast, exact, strict=True):
        assert [(value, flags) for value, _, flags in one] == [(value, flags) for value, _, flags in other]
        # a chunk tells its first instant, from which the others are worked out here: 1 ns of rounding
        assert all(abs(a[1] - b[1]) <= 1 for a, b in zip(one, other, strict=True))


# -- an installation -------------------------------------------------------------------------------------------------


def outcomes(records: list[Record], world: World, since: int, until: int) -> dict[str, set[str]]:
    """The outcomes, by camera, of exchanges that began and ended between two instants."""
    names = {name.row: name.name for name in world.names}
    found: dict[str, set[str]] = {}
    for record in records:
        if record[0] == EXCHANGE and since < record[8] and record[10] < until:
            found.setdefault(names[record[3]], set()).add(record[12])
    return found


def hall(plan: Plan | None = None) -> tuple[World, list[Record]]:
    records: list[Record] = []
    world = build(plan or wall(cameras=4, turnaround="2 ms", every="50 ms"), 1, records.append)
    world.start()
    return world, records


ALL_WELL = {"c1": {"ok"}, "c2": {"ok"}, "c3": {"ok"}, "c4": {"ok"}}


def test_a_cut_in_mid_chain_loses_exactly_the_cameras_beyond_it() -> None:
    world, records = hall()
    kernel, wiring = world.kernel, world.wiring
    kernel.at(S, lambda _: wiring.cut("wall", 4))  # terminator, desk, c1, c2, then c3
    kernel.at(4 * S, lambda _: wiring.join("wall", 4))
    kernel.advance(30 * S)
    assert outcomes(records, world, 0, S) == ALL_WELL
    during = outcomes(records, world, S + 100 * MS, 4 * S)
    assert during == {"c1": {"ok"}, "c2": {"ok"}, "c3": {"time-out"}, "c4": {"time-out"}}
    assert outcomes(records, world, 10 * S, 30 * S) == ALL_WELL
    line = world.lines["wall"]
    assert (len(line.groups), line.segments, line.scattered) == (2, None, False)
    assert [record[-1] for record in records if record[0] == BURST][-10:] == [0] * 10
    assert [record[1:] for record in records if record[0] == INPUT] == [
        (S, 1, 0, "cut", b"4"), (4 * S, 1, 0, "join", b"4"),
    ]  # fmt: skip


def test_an_unplugged_camera_alone_is_lost_and_comes_back() -> None:
    world, records = hall()
    world.kernel.at(S, lambda _: world.wiring.unplug("c2"))
    world.kernel.at(4 * S, lambda _: world.wiring.plug("c2"))
    world.kernel.advance(30 * S)
    assert outcomes(records, world, S + 100 * MS, 4 * S) == {**ALL_WELL, "c2": {"time-out"}}
    assert outcomes(records, world, 10 * S, 30 * S) == ALL_WELL
    assert len(world.lines["wall"].groups) == 2


def test_an_unplugged_camera_that_does_not_pass_the_pair_on_takes_those_behind_it_along() -> None:
    world, records = hall()
    world.kernel.at(S, lambda _: world.wiring.unplug("c2", through=False))
    world.kernel.advance(4 * S)
    during = outcomes(records, world, S + 100 * MS, 4 * S)
    assert during == {"c1": {"ok"}, "c2": {"time-out"}, "c3": {"time-out"}, "c4": {"time-out"}}


def test_a_swapped_pair_is_the_trouble_of_that_camera_alone_until_it_is_put_right() -> None:
    world, records = hall()
    world.kernel.at(S, lambda _: world.wiring.swap("c3"))
    world.kernel.at(4 * S, lambda _: world.wiring.swap("c3", False))
    world.kernel.advance(30 * S)
    assert outcomes(records, world, S + 100 * MS, 4 * S) == {**ALL_WELL, "c3": {"time-out"}}
    assert outcomes(records, world, 10 * S, 30 * S) == ALL_WELL
    assert [record[4] for record in records if record[0] == CHANGE] == ["19200 Bd 8E1, swapped", "19200 Bd 8E1"]
    assert len(world.lines["wall"].groups) == 2


def test_a_camera_that_sets_its_own_baud_hears_the_master_no_more_until_the_others_follow() -> None:
    world, records = hall()
    kernel, wiring, line = world.kernel, world.wiring, world.lines["wall"]
    fast, format = Fraction(38400), CharFormat.parse("8N1")
    kernel.at(S, lambda _: wiring.set_port("c2", fast, format))
    kernel.advance(4 * S)
    assert outcomes(records, world, S + 100 * MS, 4 * S) == {**ALL_WELL, "c2": {"time-out"}}
    for name in ("c1", "c3", "c4"):
        wiring.set_port(name, fast, format)
    desk = next(station for station in line.stations if station.name == "desk")
    line.reset(desk, world.cameras["c1"].station.setting)
    kernel.advance(40 * S)
    assert outcomes(records, world, 20 * S, 40 * S) == ALL_WELL
    assert sorted(len(group.members) for group in line.groups) == [1, 4]
    assert [record[-1] for record in records if record[0] == BURST][-10:] == [0] * 10


def test_a_camera_that_is_answering_sets_its_port_when_it_has_finished() -> None:
    world, records = hall()
    kernel = world.kernel
    camera = world.cameras["c1"].station
    while camera.burst is None or camera.burst.end <= kernel.now:
        kernel.advance(kernel.next_deadline() or 0)
    ends = camera.burst.off
    world.wiring.set_port("c1", Fraction(9600), CharFormat.parse("8E1"))
    kernel.advance(2 * S)
    assert [record[1] for record in records if record[0] == CHANGE] == [ends]


def test_a_session_with_hands_in_it_replays_to_the_identical_trace(tmp_path: Path) -> None:
    path = tmp_path / "hands.trace"
    run = Run(wall(cameras=4, turnaround="1..3 ms"), 3, trace=path)
    wiring = run.world.wiring
    for at, what in enumerate((
        lambda: wiring.unplug("c1"), lambda: wiring.cut("wall", 4), lambda: wiring.swap("c4"),
        lambda: wiring.plug("c1"), lambda: wiring.unplug("c2", through=False), lambda: wiring.join("wall", 4),
        lambda: wiring.swap("c4", False), lambda: wiring.plug("c2"),
    ), 1):  # fmt: skip
        run.advance(at * 300 * MS + 7)
        what()
    run.advance(4 * S)
    run.finish()
    again = replay(path)
    assert (again.complete, again.difference) == (True, None)
    with open_trace(path) as trace:
        assert [record[4:] for record in trace.records(INPUT)] == [
            ("unplug", b""), ("cut", b"4"), ("swap", b""), ("plug", b""), ("unplug", b"cuts"), ("join", b"4"),
            ("straight", b""), ("plug", b""),
        ]  # fmt: skip


@pytest.mark.parametrize(
    ("what", "arguments"),
    [("unplug", ("c9",)), ("plug", ("desk",)), ("cut", ("wall", -1)), ("cut", ("roof", 1)), ("join", ("wall", 99))],
)
def test_what_is_not_there_cannot_be_touched(what: str, arguments: tuple[Any, ...]) -> None:
    world, _ = hall()
    with pytest.raises(UserError):
        getattr(world.wiring, what)(*arguments)


@pytest.mark.parametrize("cameras", [2, 3])
def test_cameras_that_hear_alike_again_part_again_one_by_one(cameras: int) -> None:
    """One is set to another rate, back, and away once more: the others answer all the time."""
    records: list[Record] = []
    world = build(wall(cameras=cameras, turnaround="1 ms"), 1, records.append)
    usual = world.cameras["c1"].station.setting
    for at, baud in ((100, 9600), (200, 19200), (300, 9600)):
        world.kernel.at(at * MS, lambda _, baud=baud: world.wiring.set_port("c1", Fraction(baud), usual.format))
    world.start()
    world.kernel.advance(600 * MS)
    others = set(range(2, cameras + 1))
    for since in (100, 200, 300):
        ended = [one for one in records if one[0] == EXCHANGE and since * MS + 20 * MS < one[10] < (since + 100) * MS]
        answered = {one[4] for one in ended if one[12] == "ok"}
        assert answered == (others | {1} if since == 200 else others), since


def test_a_disturbance_lasts_however_many_others_begin_in_it() -> None:
    """At 1 MBd on 1 km of cable, 5 us: another level for 1.4 us, when the farthest station has just sampled a stop bit,
    spoils the next start bit for it. Shorter ones, more than the line keeps, do not end that.
    """
    wire = Wire()
    for number in range(3):
        wire.station(str(number), 500.0 * number, port(1_000_000))
    wire.start()
    wire.send(1000, "0", b"\x55" * 20)
    middle = 1000 + 10 * 10_000 + 4600
    wire.at(middle, lambda _: wire.line.pulse(1400, floating=False))
    for number in range(80):
        wire.at(middle + 10 + 3 * number, lambda _: wire.line.pulse(2, floating=False))
    wire.run()
    assert wire.values("2") != b"\x55" * 20


def test_a_camera_does_not_take_its_own_reply_for_a_request_where_the_pair_is_cut_behind_the_last() -> None:
    """The reply to a write of one register is its echo (MODBUS Application Protocol V1.1b3, 6.6)."""
    guest = Guest(boxed())
    guest.run.world.wiring.cut("wall line", len(guest.run.plan.lines[0].order) - 1)
    guest.wait(MS)
    guest.connect()
    guest.ask()
    write = sealed("01 06 00 00 00 07")
    assert guest.ask(write, 200 * MS) == write
    assert guest.ask(write, 200 * MS) == write


def test_a_port_set_anew_has_heard_what_reached_it_and_no_more() -> None:
    """At 1 MBd, 1 km and 5 us away: 2 us after the fifth character has left, the far end has heard four."""
    wire = Wire()
    for number in range(2):
        wire.station(str(number), 1000.0 * number, port(1_000_000))
    wire.start()
    wire.send(1000, "0", b"abcdefgh")
    wire.at(1000 + 5 * 10_000 + 2000, lambda _: wire.line.reset(wire.stations["1"], port(1_000_000)))
    wire.run()
    assert wire.values("1")[:4] == b"abcd"
    assert wire.values("1")[4:5] != b"e"


def test_the_record_of_a_missed_character_begins_where_it_should_have_been_heard() -> None:
    """At 9600 Bd, 8N1: the middle of the stop bit, nine and a half bits after the start, and 20 m at 5 ns later."""
    wire = Wire()
    wire.station("box", 0.0)
    wire.station("camera", 20.0, port(300))
    wire.start()
    wire.send(1000, "box", b"x")
    wire.run()
    (record,) = (one for one in wire.records if one[0] == HEARD)
    assert record[3] == pytest.approx(1000 + 9.5 * BIT + 20 * 5, abs=BIT / 16 + 5)


hands = st.tuples(
    st.sampled_from(["unplug", "cuts", "plug", "swap", "straight", "cut", "join", "set"]),
    st.integers(0, 7),
    st.integers(0, 390_000_000),
    st.sampled_from([9600, 19200, 38400, 115200]),
)


def handled(plan: Plan, deeds: list[Any], *, exact: bool) -> dict[tuple[int, int], list[Record]]:
    """As `test_both_paths.records_of`, with changes of the wiring."""
    records: list[Record] = []
    world = build(plan, 1, records.append, always_exact=exact)
    wiring, names, order = world.wiring, list(world.cameras), len(plan.lines[0].order)

    def do(deed: Any) -> None:
        what, number, _, baud = deed
        name = names[number % len(names)]
        if what in ("cut", "join"):
            getattr(wiring, what)("pair", number % (order + 1))
        elif what in ("unplug", "cuts"):
            wiring.unplug(name, through=what == "unplug")
        elif what == "set":
            wiring.set_port(name, Fraction(baud), world.cameras[name].station.setting.format)
        elif what == "plug":
            wiring.plug(name)
        else:
            wiring.swap(name, what == "swap")

    for deed in sorted(deeds, key=lambda deed: deed[2]):
        world.kernel.at(deed[2], do, deed)
    world.start()
    world.kernel.advance(400 * MS)
    made: dict[tuple[int, int], list[Record]] = {}
    for record in records:
        if record[0] not in (HEARD, FRAME):
            made.setdefault(record[0:3:2], []).append(record[:-1] if record[0] in (BURST, EXCHANGE) else record)
    return made


SET_WHILE_A_REQUEST_BEGINS = {  # one of two cameras that share a receiver group, in the first start bit
    "baud": 38400, "format": "8E1", "contention": "random", "errors": 0, "bias": True, "chatter": 0, "idle": "200 us",
    "length": 3, "latency": "0", "time_out": "7 ms", "second": False, "listen": "0", "every": "23 ms",
    "cameras": [
        {"bus_id": 1, "after": 0, "turnaround": "2..2.1 ms", "echo": True, "hold": "200 us", "format": ""},
        {"bus_id": 1, "after": 250, "turnaround": "2..2.1 ms", "echo": True, "hold": "0", "format": ""},
        {"bus_id": 3, "after": 0, "turnaround": "0", "echo": False, "hold": "0", "format": ""},
    ],
}  # fmt: skip


def test_two_far_cameras_on_one_pair_again_answer_to_the_nanosecond_as_on_the_exact_path() -> None:
    deeds = [("unplug", 0, 50 * MS, 0), ("plug", 0, 100 * MS, 0)]
    fast, exact = (
        handled(wall(cameras=2, after="400 m", turnaround="1 ms"), deeds, exact=exact) for exact in (False, True)
    )
    assert fast == exact


@pytest.mark.timeout(600)
@example(SET_WHILE_A_REQUEST_BEGINS, [("set", 7, 3575, 38400)])
@settings(max_examples=80, deadline=None, suppress_health_check=list(HealthCheck))
@given(plans, st.lists(hands, min_size=1, max_size=8))
def test_an_installation_with_hands_in_it_does_the_same_on_both_paths(case: dict[str, Any], deeds: list[Any]) -> None:
    plan = read_text(text_of(case))
    fast, exact = (handled(plan, deeds, exact=exact) for exact in (False, True))
    assert Counter({who: len(of) for who, of in fast.items()}) == Counter({w: len(of) for w, of in exact.items()})
    for who, records in fast.items():
        for number, (one, other) in enumerate(zip(records, exact[who], strict=True)):
            assert one == other, f"record {number} of {who}"
