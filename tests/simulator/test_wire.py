"""The wire: literal rows, formats, clocks, polarity, contention, and the two paths held equal."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from wire_bench import RawListener, Wire, port

from busim.recording.trace import BREAK, BURST, FRAMING, HEARD, PARITY, Record
from busim.simulator.bus import Setting, Station
from busim.simulator.bus import exact as exact_path
from busim.simulator.bus.uart import Uart
from busim.simulator.bus.wave import MARK, SPACE, Wave

BIT = 1e9 / 9600


def collide(skew: float, *, contention: str = "space-wins", exact: bool = False, metres: float = 0.0) -> Wire:
    """55 from one station, 33 from another `skew` bits later, heard by a third."""
    wire = Wire(contention=contention, always_exact=exact, coin_key=7)
    wire.station("first", 0.0)
    wire.station("second", metres)
    wire.station("listener", 0.0)
    wire.start()
    wire.send(1000, "first", b"\x55")
    wire.send(1000 + round(skew * BIT), "second", b"\x33")
    return wire.run()


# -- literal rows: the levels of two characters laid over each other, worked out by hand ------------------------------


@pytest.mark.parametrize("skew", [0, 0.1, 0.25, 0.45])
def test_two_characters_within_half_a_bit_read_as_their_and(skew: float) -> None:
    heard = collide(skew).heard("listener")
    assert [(value, flags) for value, _, flags in heard] == [(0x55 & 0x33, 0)] == [(0x11, 0)]


@pytest.mark.parametrize("skew", [0.55, 0.75, 1.0, 1.25, 1.4])
def test_a_bit_later_they_read_44_with_a_framing_error(skew: float) -> None:
    heard = collide(skew).heard("listener")
    assert [(value, flags) for value, _, flags in heard] == [(0x44, FRAMING)]


def test_a_collision_is_in_the_trace_as_two_exact_bursts_and_what_was_heard() -> None:
    wire = collide(1.0)
    assert wire.line.traffic.exact_bursts == 2
    records = wire.records
    assert [record[-1] for record in records if record[0] == BURST] == [1, 1]
    assert (b"\x44", bytes([FRAMING])) in [record[5:7] for record in records if record[0] == HEARD]


@pytest.mark.parametrize(("lead", "begins"), [(-500, 1000), (0, 1000), (1, 1001), (500, 1500)])
def test_characters_wait_for_a_driver_that_is_enabled_before_them_and_not_for_one_that_comes_late(
    lead: int, begins: int
) -> None:
    wire = Wire()
    wire.station("one", lead=lead)
    wire.start()
    wire.send(1000, "one", b"U")
    wire.run()
    assert [record[3] for record in wire.records if record[0] == BURST] == [begins]


@pytest.mark.parametrize(("more", "written"), [(-1, []), (0, [b"U"]), (1, [b"U"])])
def test_a_burst_that_begins_as_the_run_ends_is_written_with_its_first_character(
    more: int, written: list[bytes]
) -> None:
    """Its start bit began: the trace says that somebody drove the line, and one character is under way."""
    wire = Wire()
    wire.station("one")
    wire.start()
    wire.send(1000, "one", b"UU")
    wire.run(until=1000 + more)
    assert [record[6] for record in wire.records if record[0] == BURST] == written


def test_a_station_hears_its_own_first_character_though_the_last_one_before_had_no_stop_bit() -> None:
    """Its receiver waited for mark, which came; a master looks at what it has heard, and sends at that instant."""
    wire = Wire(always_exact=True)
    for name in ("first", "second"):
        wire.station(name)
    own = wire.station("own", echo=True)
    wire.start()
    wire.send(1000, "first", b"\x55")
    wire.send(1000 + round(BIT), "second", b"\x33")
    wire.at(20_000_000, lambda _: wire.line.catch_up(own))
    wire.send(20_000_000, "own", b"\x01\x03")
    wire.run()
    assert [(value, flags) for value, _, flags in wire.heard("own")] == [(0x44, FRAMING), (1, 0), (3, 0)]


def test_a_port_of_seven_data_bits_sends_seven_bits_of_each_byte() -> None:
    wire = Wire()
    for name in ("one", "listener"):
        wire.station(name, of=port(format="7E1"))
    wire.start()
    wire.send(0, "one", b"\xff\x80\x41")
    wire.run()
    assert wire.values("listener") == b"\x7f\x00\x41"
    assert [record[6] for record in wire.records if record[0] == BURST] == [b"\x7f\x00\x41"]


@pytest.mark.parametrize(("bits", "settled"), [(2.9, True), (3.1, False), (3.9, False), (4.1, True)])
def test_a_level_has_settled_a_bit_after_its_last_change(bits: float, settled: bool) -> None:
    wave = Wave(MARK)
    for at, level in ((0, SPACE), (round(1.5 * BIT), MARK), (round(3 * BIT), SPACE)):
        wave.set(at, level)
    assert Uart(port()).settled(wave, round(bits * BIT)) is settled


@pytest.mark.parametrize(("swapped", "shown"), [(False, ""), (True, ", swapped")])
def test_a_setting_that_fails_a_test_is_shown_whole(swapped: bool, shown: str) -> None:
    assert repr(port(38400, "8E1", 50.0, swapped)) == f"Setting(38400 Bd 8E1, 50.0 ppm{shown})"


def test_a_long_collision_is_written_in_pieces_of_4096_characters() -> None:
    """A line that is disturbed for hours must not be kept in memory until it ends. A burst that ended in one piece
    has no part in the next.
    """
    wire = Wire()
    for name in ("one", "other", "short"):
        wire.station(name)
    wire.station("listener").label = 3
    wire.start()
    wire.send(0, "one", b"\x55" * 5000)
    wire.send(0, "other", b"\x33" * 5000)
    wire.send(0, "short", b"\x11" * 3)
    wire.run(until=6_000_000_000)
    written = [record[3:6] for record in wire.records if record[0] == HEARD and record[2] == 3]
    instants = [at for _, at, _ in wire.heard("listener")]
    assert [(first, last, len(data)) for first, last, data in written] == [
        (instants[0], instants[4095], 4096), (instants[4096], instants[-1], 904),
    ]  # fmt: skip


def test_identical_characters_close_together_decode_as_if_one_had_sent() -> None:
    """A collision can be clean: equal bytes within half a bit (common practice, no source)."""
    wire = Wire()
    for name in ("one", "other", "listener"):
        wire.station(name)
    wire.start()
    wire.send(0, "one", b"\x01\x02\x03")
    wire.send(round(0.4 * BIT), "other", b"\x01\x02\x03")
    wire.run()
    assert [(v, f) for v, _, f in wire.heard("listener")] == [(1, 0), (2, 0), (3, 0)]


def test_the_nearer_driver_wins_where_the_line_says_so() -> None:
    wire = Wire(contention="nearer-wins")
    wire.station("near first", 10.0)
    wire.station("first", 0.0)
    wire.station("second", 300.0)
    wire.station("near second", 290.0)
    wire.start()
    wire.send(0, "first", b"\x55")
    wire.send(0, "second", b"\x33")
    wire.run()
    assert wire.values("near first") == b"\x55"
    assert wire.values("near second") == b"\x33"


def test_a_random_contention_is_the_same_for_the_same_key_and_both_paths() -> None:
    once, again, exact = (collide(0.3, contention="random", exact=e) for e in (False, False, True))
    assert once.heard("listener") == again.heard("listener") == exact.heard("listener")


LISTENERS = {"here": 0.0, "a metre on": 1.0, "halfway": 60.0, "beside the halfway": 61.0, "there": 120.0}


def fight(key: int, *, exact: bool = False, of: Setting | None = None) -> Wire:
    """Two drivers 120 m apart send different bytes at nearly the same time; listeners hear it along the cable."""
    wire = Wire(contention="random", coin_key=key, always_exact=exact)
    wire.station("first", 0.0, of)
    wire.station("second", 120.0, of)
    for name, metres in LISTENERS.items():
        wire.station(name, metres, of)
    wire.start()
    wire.send(1000, "first", b"\x55\x0f\x31")
    wire.send(1000 + round(0.3 * BIT), "second", b"\x33\xc4\x9a")
    return wire.run()


def test_listeners_a_metre_apart_hear_one_random_fight_alike() -> None:
    """A metre is 5 ns, a bit at 9600 Bd 104 us: both receivers sample between the same edges."""
    outcomes = set()
    for key in range(40):
        wire = fight(key)
        heard = {name: [(value, flags) for value, _, flags in wire.heard(name)] for name in LISTENERS}
        assert heard["here"] == heard["a metre on"]
        assert heard["halfway"] == heard["beside the halfway"]
        outcomes.add(str(heard["halfway"]))
    assert len(outcomes) > 20  # and each key is another fight


def test_a_random_fight_has_one_outcome_at_every_place_where_its_edges_come_in_one_order() -> None:
    # 120 m are 606 ns: no edge of one driver comes that close to one of the other, which are 0.2 bits (20 us) apart
    for key in range(40):
        wire = fight(key)
        assert len({str([(value, flags) for value, _, flags in wire.heard(name)]) for name in LISTENERS}) == 1


@pytest.mark.parametrize("key", range(10))
def test_a_random_fight_is_heard_alike_on_both_paths_at_every_distance(key: int) -> None:
    fast, exact = fight(key), fight(key, exact=True)
    assert {name: fast.heard(name) for name in LISTENERS} == {name: exact.heard(name) for name in LISTENERS}


# -- formats ----------------------------------------------------------------------------------------------------------

FORMATS = [f"{bits}{parity}{stop}" for bits in "5678" for parity in "NEOMS" for stop in ("1", "1.5", "2")]


@pytest.mark.parametrize("format", FORMATS)
def test_every_format_carries_every_value_on_both_paths(format: str) -> None:
    values = bytes(range(1 << int(format[0])))
    heard = []
    for exact in (False, True):
        wire = Wire(always_exact=exact)
        wire.station("sender", 0, port(19200, format))
        wire.station("receiver", 40.0, port(19200, format))
        wire.start()
        wire.send(0, "sender", values)
        heard.append(wire.run().heard("receiver"))
    assert bytes(value for value, _, _ in heard[0]) == values
    assert not any(flags for _, _, flags in heard[0])
    # a chunk's inner instants are worked out by the test from its first; the rounding of each start edge may differ by
    # 1 ns
    assert [(v, f) for v, _, f in heard[0]] == [(v, f) for v, _, f in heard[1]]
    assert heard[0][-1][1] == pytest.approx(heard[1][-1][1], abs=1)


@pytest.mark.parametrize(("format", "bits"), [("8N1", 9.5), ("8E1", 10.5), ("8N2", 9.5), ("7E1", 9.5), ("5N1.5", 6.5)])
def test_a_byte_is_there_in_the_middle_of_its_first_stop_bit(format: str, bits: float) -> None:
    """Analog Devices / Maxim tutorial 2141: the last sample is at 152 of 160 ticks (9.5 bits in 8N1)."""
    for exact in (False, True):
        wire = Wire(always_exact=exact)
        wire.station("sender", 0, port(9600, format))
        wire.station("receiver", 0, port(9600, format))
        wire.start()
        wire.send(5000, "sender", b"\x15")
        ((_, at, _),) = wire.run().heard("receiver")
        assert at == 5000 + round(bits * Fraction(10**9, 9600))


# -- clocks: Analog Devices / Maxim tutorial 2141; MODBUS over Serial Line V1.02, 3.2 ---------------------------------


def back_to_back(ppm: float, format: str) -> list[tuple[int, int]]:
    wire = Wire()
    wire.station("sender", 0, port(19200, format, ppm))
    wire.station("receiver", 0, port(19200, format))
    wire.start()
    wire.send(0, "sender", bytes(range(256)))
    return [(value, flags) for value, _, flags in wire.run(10**9).heard("receiver")]


@pytest.mark.parametrize("format", ["8N1", "8E1"])
@pytest.mark.parametrize("ppm", [-20000, 20000])
def test_every_value_survives_two_percent_of_clock_error(format: str, ppm: float) -> None:
    assert back_to_back(ppm, format) == [(value, 0) for value in range(256)]


@pytest.mark.parametrize("format", ["8N1", "8E1"])
@pytest.mark.parametrize("ppm", [-60000, 60000])
def test_some_value_fails_at_six_percent(format: str, ppm: float) -> None:
    assert back_to_back(ppm, format) != [(value, 0) for value in range(256)]


# -- other settings than the sender's ---------------------------------------------------------------------------------


def cross(
    sender: str, receiver: str, data: bytes, *, baud: int = 9600, receiver_baud: int = 9600
) -> list[tuple[int, int]]:
    wire = Wire()
    wire.station("sender", 0, port(baud, sender))
    wire.station("receiver", 0, port(receiver_baud, receiver))
    wire.start()
    wire.send(0, "sender", data)
    return [(value, flags) for value, _, flags in wire.run().heard("receiver")]


def test_even_read_as_odd_gives_right_values_with_a_parity_error_each() -> None:
    assert cross("8E1", "8O1", b"\x01\x03\xc5") == [(1, PARITY), (3, PARITY), (0xC5, PARITY)]


def test_8e1_read_as_8n1_frames_wrongly_where_the_parity_bit_is_0() -> None:
    assert cross("8E1", "8N1", b"\x01") == [(1, 0)]  # parity 1: looks like a stop bit
    assert cross("8E1", "8N1", b"\x03") == [(3, FRAMING)]  # parity 0


def test_7e1_read_as_8n1_shows_the_parity_as_the_top_bit() -> None:
    assert cross("7E1", "8N1", b"\x01") == [(0x81, 0)]


def test_mark_and_space_parity_are_told_apart() -> None:
    assert cross("8M1", "8M1", b"\x55") == [(0x55, 0)]
    assert cross("8S1", "8S1", b"\x55") == [(0x55, 0)]
    assert cross("8M1", "8S1", b"\x55") == [(0x55, PARITY)]


def test_a_slow_sender_reads_as_a_break_per_run_of_zeros_at_twelve_times_the_rate() -> None:
    heard = cross("8N1", "8N1", b"\x00", baud=9600, receiver_baud=115200)
    assert heard == [(0, FRAMING | BREAK)]


def test_ninety_six_hundred_read_at_nineteen_two() -> None:
    """Each bit of 55 seen twice: start 00, then pairs; worked out by hand from the levels."""
    assert cross("8N1", "8N1", b"\x55", baud=9600, receiver_baud=19200)[0] == (0x66, FRAMING)


# -- the pair ---------------------------------------------------------------------------------------------------------


def test_a_swapped_pair_reads_a_break_and_then_sheared_bytes() -> None:
    """Derived from the levels by hand; the same bytes are common practice, no source."""
    wire = Wire()
    wire.station("sender")
    wire.station("swapped", 0, port(swapped=True))
    wire.start()
    wire.send(100_000_000, "sender", bytes.fromhex("0103000000070408"))
    heard = wire.run().heard("swapped")
    assert bytes(value for value, _, _ in heard[:8]) == bytes.fromhex("007f7efffff1f7ef")
    assert heard[0][2] == FRAMING | BREAK


def test_a_swapped_sender_is_not_understood_but_two_swapped_ends_understand_each_other() -> None:
    wire = Wire()
    wire.station(
        "swapped", 0, port(swapped=True), lead=2_000_000
    )  # drives mark for a while, or its first start bit is lost
    wire.station("swapped too", 0, port(swapped=True))
    wire.station("straight")
    wire.start()
    wire.send(100_000_000, "swapped", b"\x12\x34")
    wire.run()
    assert wire.values("straight") != b"\x12\x34"
    assert wire.values("swapped too")[1:3] == b"\x12\x34"  # after the break that the idle line reads as


def test_propagation_delays_by_position() -> None:
    """5.05 ns/m at v = 0.66 (derived: 1 / (0.66 c))."""
    wire = Wire()
    wire.station("sender", 0.0)
    wire.station("near", 100.0)
    wire.station("far", 1000.0)
    wire.start()
    wire.send(0, "sender", b"A")
    wire.run()
    near, far = wire.heard("near")[0][1], wire.heard("far")[0][1]
    assert far - near == pytest.approx(900 * 5.05, abs=5)


def test_echo_comes_back_only_where_the_station_has_it() -> None:
    for exact in (False, True):
        wire = Wire(always_exact=exact)
        wire.station("with", 0.0, echo=True)
        wire.station("without", 5.0)
        wire.start()
        wire.send(0, "with", b"ab")
        wire.send(50_000_000, "without", b"cd")
        wire.run()
        assert wire.values("with") == b"abcd"
        assert wire.values("without") == b"ab"


def test_a_driver_that_lets_go_too_early_cuts_the_last_byte() -> None:
    wire = Wire()
    wire.station("early", 0.0, hold=-round(3.2 * BIT))
    wire.station("listener")
    wire.start()
    wire.send(0, "early", b"\x11\x00")
    wire.run()
    # of the last 00 the bits from number 6 on read as the idle line, mark
    assert wire.values("listener") == b"\x11\xc0"


@pytest.mark.parametrize("at", [4.5, 5.5, 9.9])
def test_characters_sent_behind_an_early_release_wait_for_those_before_them(at: float) -> None:
    wire = Wire()
    wire.station("early", 0.0, hold=-round(50.2 * BIT))
    wire.station("listener")
    wire.start()
    char = 10 * BIT
    wire.send(0, "early", b"\x11" * 10)
    wire.send(round(at * char), "early", b"\x22" * 10)
    wire.run()
    bursts = [record[3:5] for record in wire.records if record[0] == BURST]
    assert [bursts[0][0], *(end for _, end in bursts)] == [start for start, _ in bursts] + [bursts[-1][1]]
    assert bursts[-1][1] == pytest.approx(20 * char, abs=2)


def test_a_driver_enabled_too_late_cuts_the_first_bits() -> None:
    wire = Wire()
    wire.station("late", 0.0, lead=-round(1.6 * BIT))
    wire.station("listener")
    wire.start()
    wire.send(0, "late", b"\xfe\x55")
    wire.run()
    # start and bit 0 of FE are lost to an undriven (idle) line until the driver comes on behind the middle of bit 0
    assert wire.values("listener")[-1:] == b"\x55"
    assert wire.values("listener") != b"\xfe\x55"


def test_a_driver_enabled_when_its_burst_is_over_drives_nothing_then_or_later() -> None:
    wire = Wire()
    wire.station("too late", 0.0, lead=-5_000_000)
    wire.station("other")
    wire.station("listener")
    wire.start()
    wire.send(0, "too late", b"\x00")
    wire.send(20_000_000, "other", b"\x12")
    wire.run()
    assert wire.values("listener") == wire.values("too late") == b"\x12"


def test_a_held_driver_clobbers_the_head_of_a_quick_reply_only_where_mark_can_win() -> None:
    replies = {}
    for contention in ("space-wins", "nearer-wins"):
        wire = Wire(contention=contention)
        wire.station("master", 0.0, hold=3_000_000)
        wire.station("camera", 100.0)
        wire.station("bystander", 1.0)
        wire.start()
        wire.send(0, "master", b"?")
        wire.send(2_000_000, "camera", b"\x00\x00\x00\x00")
        replies[contention] = wire.run().values("bystander")
    assert replies["space-wins"] == b"?\x00\x00\x00\x00"
    assert replies["nearer-wins"] != replies["space-wins"]


def test_without_bias_chatter_is_heard_only_while_nobody_drives_and_not_by_fail_safe_receivers() -> None:
    wire = Wire(biased=False)
    wire.station("sender")
    wire.station("plain")
    wire.station("safe", 0.0, fail_safe=True)
    wire.start()
    wire.at(1_000_000, lambda _: wire.line.pulse(round(3 * BIT), True))
    wire.send(50_000_000, "sender", b"\xff\xff\xff")
    wire.at(50_000_000 + round(5 * BIT), lambda _: wire.line.pulse(round(3 * BIT), True))
    wire.run()
    assert (
        wire.values("plain") == b"\xfc\xff\xff\xff"
    )  # the pulse as start and two bits of space; then the data, unharmed
    assert wire.values("safe") == b"\xff\xff\xff"


def test_with_bias_there_is_no_chatter() -> None:
    wire = Wire(biased=True)
    wire.station("plain")
    wire.start()
    wire.at(1_000_000, lambda _: wire.line.pulse(round(3 * BIT), True))
    assert wire.run().values("plain") == b""


def test_a_noise_pulse_of_one_bit_flips_exactly_that_bit() -> None:
    for bit in range(8):
        wire = Wire()
        wire.station("sender")
        wire.station("listener")
        wire.start()
        wire.send(0, "sender", b"\x00\x5a")
        wire.at(round((bit + 1) * BIT), lambda _, w=wire: w.line.pulse(round(BIT), False))  # type: ignore[misc]
        assert wire.run().values("listener") == bytes((1 << bit, 0x5A))


def test_noise_on_the_idle_line_makes_a_character_out_of_nothing() -> None:
    wire = Wire()
    wire.station("listener")
    wire.start()
    wire.at(1000, lambda _: wire.line.pulse(round(BIT), False))
    assert wire.run().heard("listener") == [(0xFF, 1000 + round(9.5 * Fraction(10**9, 9600)), 0)]


def test_a_dip_shorter_than_half_a_bit_is_no_start_bit() -> None:
    wire = Wire()
    wire.station("listener")
    wire.start()
    wire.at(1000, lambda _: wire.line.pulse(round(0.4 * BIT), False))
    assert wire.run().values("listener") == b""


def test_a_dip_counts_as_the_start_edge_when_something_else_makes_its_middle_space() -> None:
    wire = Wire()
    wire.station("listener")
    wire.start()
    for start, length in ((0, 0.2), (0.25, 0.1), (0.4, 1.0)):
        wire.at(1000 + round(start * BIT), lambda _, n=length: wire.line.pulse(round(n * BIT), False))  # type: ignore[misc]
    assert wire.run().heard("listener") == [(0xFF, 1000 + round(9.5 * Fraction(10**9, 9600)), 0)]


# -- sending ----------------------------------------------------------------------------------------------------------


def test_a_shared_group_is_asked_what_is_coming_at_the_sender_s_instants() -> None:
    wire = Wire()
    wire.station("sender", 0.0)
    both = RawListener()
    for name in ("near", "far"):
        station = wire.stations[name] = Station(name, 100.0, port())
        wire.listeners[name] = both
        wire.line.attach(station, both)
    wire.start()
    wire.send(0, "sender", b"ab")
    found = []
    for bits in (0, 9.2, 9.9, 19.6):
        wire.at(round(bits * BIT) + 1, lambda _: found.append(wire.line.coming(wire.stations["near"])))
    wire.run()
    of = port()
    assert found[:2] == [(0, of.sample)] * 2
    assert found[2] in ((0, of.sample), (of.char, of.char + of.sample))


def test_a_swapped_receiver_reads_the_idle_pair_as_a_break_from_the_start() -> None:
    wire = Wire()
    wire.station("sender")
    wire.station("swapped", 0.0, port(swapped=True))
    wire.start()
    wire.run()
    assert [value for value, _, flags in wire.heard("swapped")] == [0]


def test_what_is_dropped_of_a_long_disturbance_is_never_what_somebody_still_hears(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Two stations send into a third's long bursts all the time: more bursts and pulses than are kept."""
    monkeypatch.setattr(exact_path, "_KEPT", 12)
    dropping = disturbed()
    monkeypatch.setattr(exact_path, "_KEPT", 10**9)
    keeping = disturbed()
    assert [dropping.heard(name) for name in dropping.stations] == [keeping.heard(name) for name in keeping.stations]
    assert len(dropping.line._exact.recent) < 12 < len(keeping.line._exact.recent)


def disturbed() -> Wire:
    wire = Wire(contention="random", coin_key=5)
    for name, metres in (("long", 0.0), ("one", 40.0), ("other", 80.0), ("listener", 120.0)):
        wire.station(name, metres)
    wire.start()
    at = 0
    for n in range(5):
        wire.send(at, "long", bytes(range(n, n + 40)))
        for part in range(6):
            wire.send(at + round((30 + 61 * part) * BIT), ("one", "other")[part % 2], bytes((n, part)))
        wire.at(at + round(50.5 * BIT), lambda _: wire.line.pulse(round(0.9 * BIT), False))
        at += round(401 * BIT)
    return wire.run(at - 1)


# -- a driver that loses its power ------------------------------------------------------------------------------------


def cut_at(bits: float, data: bytes, exact: bool = False, **driver: Any) -> Wire:
    """A sender whose driver loses its power this many bits after it was given these bytes, and one that listens."""
    wire = Wire(always_exact=exact)
    wire.station("sender", 0.0, **driver)
    wire.station("listener", 100.0)
    wire.start()
    wire.send(0, "sender", data)
    wire.at(round(bits * BIT), lambda _: wire.line.cut_off(wire.stations["sender"]))
    return wire


@pytest.mark.parametrize("exact", [False, True])
@pytest.mark.parametrize(
    ("bits", "sent", "heard"),
    [
        (14.2, b"\x00\x00", b"\x00\xf8"),  # start and three bits of the second character; the rest reads as idle
        (10.0, b"\x00", b"\x00"),
        (9.3, b"\x00", b"\x00"),  # in the stop bit, which reads as idle just as well
        (3.2, b"\x00", b"\xfc"),
        (0.3, b"\x00", b""),  # shorter than half a start bit
        (29.2, b"\x00\x00\x00", b"\x00\x00\x00"),
    ],
)
def test_a_driver_that_loses_its_power_sends_no_bit_more(exact: bool, bits: float, sent: bytes, heard: bytes) -> None:
    wire = cut_at(bits, bytes(3), exact).run()
    assert wire.values("listener") == heard
    assert [record[3:5] + record[6:7] for record in wire.records if record[0] == BURST] == [
        (0, round(bits * BIT), sent)
    ]
    assert [record[5] for record in heard_otherwise(wire)] == ([heard] if heard != sent else [])


def test_after_a_power_cut_the_pair_is_free_for_others() -> None:
    wire = cut_at(14.2, bytes(3))
    wire.send(round(22 * BIT), "listener", b"\x55")
    wire.send(round(100 * BIT), "sender", b"ok")
    wire.run()
    assert wire.values("sender") == b"\x55"
    assert wire.values("listener") == b"\x00\xf8ok"
    assert [record[-1] for record in wire.records if record[0] == BURST] == [1, 1, 0]  # at last on the fast path again


def test_what_waits_behind_a_burst_is_lost_with_the_power() -> None:
    wire = cut_at(5000 * 10 + 7000.5, bytes(4500))
    for at in range(1, 6):  # more than one burst holds: the rest begins another, when the first is over
        wire.send(at, "sender", bytes(range(1, 251)) * 5)
    wire.run(10**10)
    bursts = [record for record in wire.records if record[0] == BURST]
    assert bursts[-1][4] == round((5000 * 10 + 7000.5) * BIT)
    assert len(wire.values("listener")) in (5700, 5701)


def test_a_driver_that_loses_its_power_before_its_first_start_bit_has_sent_nothing() -> None:
    wire = cut_at(1.0, b"abc", lead=round(2 * BIT)).run()
    assert wire.records == []
    assert wire.values("listener") == b""
    assert wire.line.traffic.under_way == 0


def test_a_run_that_ends_right_after_a_power_cut_records_the_part_that_was_sent() -> None:
    wire = cut_at(14.2, bytes(3)).run(round(14.2 * BIT) + 1)
    assert [record[3:5] + record[6:7] for record in wire.records] == [(0, round(14.2 * BIT), bytes(2))]


def test_bytes_that_come_while_it_sends_follow_without_a_gap() -> None:
    for exact in (False, True):
        wire = Wire(always_exact=exact)
        wire.station("sender")
        wire.station("listener")
        wire.start()
        wire.send(0, "sender", b"ab")
        wire.send(1_500_000, "sender", b"cd")
        wire.run()
        bursts = [record for record in wire.records if record[0] == BURST]
        assert [burst[6] for burst in bursts] == [b"abcd"]
        assert wire.values("listener") == b"abcd"
        assert bursts[0][4] - bursts[0][3] == round(40 * Fraction(10**9, 9600))


@pytest.mark.parametrize("exact", [False, True])
def test_bytes_that_come_when_the_last_one_was_heard_and_not_yet_over_are_heard_too(exact: bool) -> None:
    wire = Wire(always_exact=exact)
    wire.station("sender", 0.0, port(format="8N2"))
    wire.station("listener", 0.0, port(format="8N2"))
    wire.station("far", 300.0, port(format="8N2"))
    wire.start()
    wire.send(0, "sender", b"a")
    wire.send(round(9.5 * BIT) + 500, "sender", b"b")
    wire.run()
    assert [wire.values(name) for name in ("listener", "far")] == [b"ab", b"ab"]


def test_a_flood_stays_on_the_fast_path_and_loses_nothing() -> None:
    wire = Wire()
    wire.station("sender", 0.0, port(115200))
    wire.station("listener", 100.0, port(115200))
    wire.start()
    flood = bytes(range(256)) * 100
    for n in range(0, len(flood), 1024):
        wire.send(n, "sender", flood[n : n + 1024])
    wire.run(5 * 10**9)
    assert wire.values("listener") == flood
    assert [record[-1] for record in wire.records if record[0] == BURST] == [0] * 7


@pytest.mark.parametrize("hold", [0, 20_000])
def test_characters_beyond_the_longest_burst_follow_in_one_of_their_own(hold: int) -> None:
    wire = Wire()
    wire.station("sender", 0.0, port(115200), hold=hold)
    wire.station("far", 1000.0, port(115200))
    wire.start()
    wire.send(0, "sender", bytes(4096))
    wire.send(1, "sender", bytes(100))
    of, delay = wire.stations["sender"].setting, 0
    quiet: list[int] = []
    end = of.offset(4096 * of.halves)
    delay = wire.line.delay_over(1000.0)
    # the second burst has begun and has not reached the far end: the first one is over there when its last bit arrives
    wire.at(end + delay + delay // 2, lambda _: quiet.append(wire.line.quiet_from(wire.stations["far"])))
    wire.run(5 * 10**9)
    bursts = [record for record in wire.records if record[0] == BURST]
    assert [len(burst[6]) for burst in bursts] == [4096, 100]
    assert [burst[4] - burst[3] for burst in bursts] == [of.offset(len(burst[6]) * of.halves) for burst in bursts]
    assert bursts[1][3] == end + wire.line.span
    assert quiet == [end + delay]


def test_a_break_that_has_not_arrived_leaves_the_far_end_with_the_burst_before_it() -> None:
    wire = Wire()
    wire.station("sender")
    wire.station("far", 1000.0)
    wire.start()
    wire.send(0, "sender", b"a")
    quiet: list[int] = []
    delay = wire.line.delay_over(1000.0)
    wire.at(20 * 10**6, lambda _: wire.line.begin_break(wire.stations["sender"]))
    wire.at(20 * 10**6 + delay // 2, lambda _: quiet.append(wire.line.quiet_from(wire.stations["far"])))
    wire.at(30 * 10**6, lambda _: wire.line.end_break(wire.stations["sender"]))
    wire.run()
    assert quiet == [round(10 * BIT) + delay]


def test_a_clean_exchange_takes_the_fast_path_and_leaves_one_record_a_burst() -> None:
    wire = Wire()
    wire.station("master")
    wire.station("camera", 20.0)
    wire.start()
    wire.send(0, "master", b"request")
    wire.send(30_000_000, "camera", b"reply")
    wire.run()
    assert [(record[0], record[-1]) for record in wire.records] == [(BURST, 0), (BURST, 0)]


def after_a_burst(gap: int, baud: int = 9600, *, exact: bool = False, **line: Any) -> Wire:
    """One station sends, and another halfway to the far end `gap` ns after that signal has passed it. Not yet run."""
    wire = Wire(always_exact=exact, **line)
    for name, metres in (("near", 0.0), ("middle", 500.0), ("far", 1000.0)):
        wire.station(name, metres, port(baud))
    wire.start()
    wire.send(0, "near", b"reply")
    wire.send(port(baud).offset(100) + wire.line.delay_over(500.0) + gap, "middle", b"next")
    return wire


def path_of(wire: Wire) -> list[int]:
    return [record[-1] for record in wire.records if record[0] == BURST]


@pytest.mark.parametrize(
    ("gap", "baud", "path"),
    # at 1 MBd the last character comes to the far end only when the next burst has begun
    [(-1, 9600, [0, 1]), (0, 9600, [0, 0]), (1000, 9600, [0, 0]), (0, 10**6, [1, 1])],
)
def test_a_burst_behind_another_takes_the_fast_path_though_that_one_has_not_reached_the_far_end(
    gap: int, baud: int, path: list[int]
) -> None:
    """As masters ask where the protocol has no silence: their answer is over, and still on its way to others."""
    wire, exact = after_a_burst(gap, baud).run(), after_a_burst(gap, baud, exact=True).run()
    assert path_of(wire) == path
    for name in wire.stations:
        assert wire.heard(name) == exact.heard(name)
        assert wire.values(name) == {"near": b"next", "middle": b"reply", "far": b"replynext"}[name]


@pytest.mark.parametrize("disturb", ["pulse", "break"])
@pytest.mark.parametrize("gap", [0, 1000])
def test_what_follows_a_burst_so_closely_is_disturbed_alike_on_both_paths(gap: int, disturb: str) -> None:
    """The tail of the first burst still drives the far end, so a pulse on a floating pair acts there only behind it."""
    heard = []
    for exact in (False, True):
        wire = after_a_burst(gap, exact=exact, biased=False, contention="nearer-wins")
        at = round(50 * BIT) + wire.line.delay_over(500.0) + gap + 500
        if disturb == "pulse":
            wire.at(at, lambda _, line=wire.line: line.pulse(3 * 10**5, True))
        else:
            wire.at(at, lambda _, wire=wire: wire.line.begin_break(wire.stations["far"]))
            wire.at(at + 3 * 10**6, lambda _, wire=wire: wire.line.end_break(wire.stations["far"]))
        wire.run()
        heard.append({name: wire.heard(name) for name in wire.stations})
    assert heard[0] == heard[1]


# -- both paths -------------------------------------------------------------------------------------------------------

senders = st.lists(
    st.tuples(
        st.integers(0, 3),  # who
        # gap in half bits after the end of the one before, negative: into it; None: as soon as that has passed it
        st.integers(-12, 60) | st.none(),
        st.binary(min_size=1, max_size=5),
    ),
    min_size=1,
    max_size=6,
)
lines = st.fixed_dictionaries(
    {
        "format": st.sampled_from(FORMATS),
        "baud": st.sampled_from(
            [Fraction(9600), Fraction(38400), Fraction(115200), Fraction(250000), Fraction(10**6, 7)]
        ),
        "metres": st.tuples(*[st.floats(0, 100) for _ in range(4)]),
        "echo": st.tuples(*[st.booleans() for _ in range(4)]),
        "lead": st.tuples(*[st.sampled_from([0, 0, 3000]) for _ in range(4)]),
        "hold": st.tuples(*[st.sampled_from([0, 0, 5000, 40_000]) for _ in range(4)]),
        "contention": st.sampled_from(["space-wins", "random", "nearer-wins"]),
        "listeners": st.lists(st.floats(0, 100), max_size=3),
    }
)


def send_all(wire: Wire, case: dict, script: list[tuple[int, int | None, bytes]]) -> int:  # type: ignore[type-arg]
    """Have the script sent. Returns when its last character ends, ns, were there no `lead`."""
    of = port(case["baud"], case["format"])
    at, before = 1_000_000, 0
    mask = (1 << int(case["format"][0])) - 1
    for who, gap, data in script:
        if gap is None:
            driver = wire.stations[str(before)]
            at += max(driver.lead, 0) + driver.hold + driver.delays[who]
        else:
            at = max(at + of.offset(abs(gap)) * (1 if gap >= 0 else -1), 0)
        before = who
        wire.send(at, str(who), bytes(value & mask for value in data))
        at += of.offset(len(data) * of.halves)
    return at


def play(case: dict, script: list[tuple[int, int | None, bytes]], exact: bool) -> tuple[list, list]:  # type: ignore[type-arg]
    wire = Wire(always_exact=exact, contention=case["contention"], coin_key=3)
    of = port(case["baud"], case["format"])
    for n in range(4):
        wire.station(str(n), case["metres"][n], of, echo=case["echo"][n], lead=case["lead"][n], hold=case["hold"][n])
    for n, metres in enumerate(case["listeners"]):
        wire.station(f"listener {n}", metres, of)
    wire.start()
    at = send_all(wire, case, script)
    wire.run(at + 10**9)
    heard = []
    for name in wire.listeners:
        characters = []
        for data, first, last, flags in wire.listeners[name].chunks:
            instants = [first + of.offset(n * of.halves) for n in range(len(data))]
            assert abs(instants[-1] - last) <= 1
            instants[-1] = last
            characters += [(v, t, flags) for v, t in zip(data, instants, strict=True)]
        heard.append(characters)
    return heard, [record[:-1] for record in wire.records if record[0] == BURST]


def differ(one: list, other: list) -> bool:  # type: ignore[type-arg]
    """Values and flags must be equal, instants too (1 ns where the test itself had to place a chunk's inner
    character).
    """
    return [[(v, f) for v, _, f in c] for c in one] != [[(v, f) for v, _, f in c] for c in other] or any(
        abs(a[1] - b[1]) > 1 for x, y in zip(one, other, strict=True) for a, b in zip(x, y, strict=True)
    )


@pytest.mark.timeout(300)
@settings(max_examples=1_500, deadline=None, suppress_health_check=list(HealthCheck), database=None)
@given(lines, senders)
def test_both_paths_give_the_same_byte_for_byte_and_nanosecond_for_nanosecond(
    case: dict,
    script: list[tuple[int, int | None, bytes]],  # type: ignore[type-arg]
) -> None:
    _same_on_both_paths(case, script)


@pytest.mark.long
@pytest.mark.timeout(1800)
@settings(max_examples=10_000, deadline=None, suppress_health_check=list(HealthCheck), database=None)
@given(lines, senders)
def test_both_paths_give_the_same_on_ten_thousand_lines(
    case: dict,
    script: list[tuple[int, int | None, bytes]],  # type: ignore[type-arg]
) -> None:
    _same_on_both_paths(case, script)


def _same_on_both_paths(case: dict, script: list[tuple[int, int | None, bytes]]) -> None:  # type: ignore[type-arg]
    fast, bursts = play(case, script, exact=False)
    exact, exact_bursts = play(case, script, exact=True)
    assert not differ(fast, exact), (fast, exact)
    assert bursts == exact_bursts


# -- what is recorded as heard otherwise ------------------------------------------------------------------------------


def heard_otherwise(wire: Wire) -> list[Record]:
    return [record for record in wire.records if record[0] == HEARD]


def sent_meanwhile(wire: Wire, record: Record) -> bytes:
    """The characters that other stations sent in the stretch of a heard record, by the UART's definition: each
    character is there at the middle of its first stop bit, here with half a character to spare on either side.
    """
    station = next(one for one in wire.stations.values() if one.label == record[2])
    found = []
    for burst in [record for record in wire.records if record[0] == BURST]:
        sender = next(one for one in wire.stations.values() if one.label == burst[2])
        if sender is station and not station.echo:
            continue
        of = sender.setting
        for number, value in enumerate(burst[6]):
            at = burst[3] + of.offset(number * of.halves) + of.sample + station.delays[sender.number]
            if record[3] - of.char // 2 <= at <= record[4] + of.char // 2:
                found.append((at, value))
    return bytes(value for _, value in sorted(found))


def exchanges(wire: Wire, count: int) -> None:
    for n in range(count):
        wire.send(n * 20_000_000, "one" if n % 2 else "other", b"hello")


@pytest.mark.parametrize("bursts", [63, 64, 65, 200])
@pytest.mark.parametrize("ppm", [0, 15_000, -15_000])
@pytest.mark.parametrize("fresh", [True, False], ids=["idle between", "holding something throughout"])
def test_clean_bursts_on_the_exact_path_are_never_heard_otherwise_however_many(
    bursts: int, ppm: float, fresh: bool
) -> None:
    wire = Wire(always_exact=True)
    wire.station("one")
    wire.station("other", 50.0)
    wire.station("listener", 100.0, port(ppm=ppm))
    wire.listeners["listener"].holds = not fresh
    wire.start()
    exchanges(wire, bursts)
    for n in range(0, bursts, 2):  # noise between the samples, while a burst is half received
        wire.at(n * 20_000_000 + round(22.1 * BIT), lambda _: wire.line.pulse(1000, False))
    wire.run(10**10)
    assert heard_otherwise(wire) == []


@pytest.mark.parametrize("bits", [0.5, 5, 9.6, 12, 25, 49.8])
def test_a_run_that_ends_in_mid_burst_records_what_began_and_nothing_heard_otherwise(bits: float) -> None:
    wire = Wire(always_exact=True)
    wire.station("one")
    wire.station("other", 50.0)
    wire.start()
    wire.send(0, "one", b"hello")
    wire.run(round(bits * BIT))
    begun = int(bits // 10) + 1
    assert [(record[0], record[6]) for record in wire.records] == [(BURST, b"hello"[:begun])]


def test_a_break_that_is_held_at_the_end_of_a_run_is_recorded_up_to_there() -> None:
    wire = Wire()
    wire.station("one")
    wire.station("other", 50.0)
    wire.start()
    wire.at(1000, lambda _: wire.line.begin_break(wire.stations["one"]))
    wire.run(7_000_000)
    assert [record[3:7] for record in wire.records if record[0] == BURST] == [(1000, 7_000_000, 0, b"")]


def test_a_sender_that_starts_while_it_receives_is_said_to_miss_the_rest() -> None:
    wire = Wire()
    wire.station("one")
    wire.station("other", 0.0)
    wire.stations["other"].label = 2
    wire.start()
    wire.send(0, "one", b"\x01\x02\x03\x04\x05")
    wire.send(round(20.2 * BIT), "other", bytes(2))  # the first two characters are there; it is deaf to the next two
    wire.run()
    (record,) = [record for record in heard_otherwise(wire) if record[2] == 2]
    assert record[5] == b"\x01\x02\x05"
    assert sent_meanwhile(wire, record) == b"\x01\x02\x03\x04\x05"


ALL_AT_ONE_PLACE: dict[str, object] = {
    "format": "5N1", "baud": Fraction(9600), "metres": (0.0,) * 4, "echo": (False,) * 4, "lead": (0,) * 4,
    "hold": (0,) * 4, "contention": "space-wins", "listeners": [],
}  # fmt: skip


@settings(max_examples=200, deadline=None, suppress_health_check=list(HealthCheck))
# the pulse flips the stop bit of a character that was sent as 00 and is heard as 00: only the flag differs
@example(ALL_AT_ONE_PLACE, [(0, 17, b"\x00")], [28], 30, 0)
@given(lines, senders, st.lists(st.integers(-5, 400), max_size=70), st.integers(0, 400), st.sampled_from([0, 12_000]))
def test_nothing_is_said_to_be_heard_otherwise_that_was_heard_as_it_was_sent(
    case: dict,  # type: ignore[type-arg]
    script: list[tuple[int, int | None, bytes]],
    pulses: list[int],
    end: int,
    ppm: float,
) -> None:
    wire = Wire(contention=case["contention"], coin_key=3)
    for n in range(4):
        of = port(case["baud"], case["format"], ppm if n == 3 else 0)
        wire.station(str(n), case["metres"][n], of, echo=case["echo"][n], lead=case["lead"][n], hold=case["hold"][n])
        wire.stations[str(n)].label = n + 1
    wire.start()
    send_all(wire, case, script)
    of = port(case["baud"], case["format"])
    for halves in pulses:
        wire.at(1_000_000 + of.offset(max(halves, 0)), lambda _: wire.line.pulse(of.offset(1) // 40, False))
    wire.run(1_000_000 + of.offset(end))
    for record in heard_otherwise(wire):
        assert any(record[6]) or record[5] != sent_meanwhile(wire, record)


def test_who_drives_is_told_from_the_first_instant_to_before_the_last_and_only_its_own_edges_count() -> None:
    """A0 in 8N1 at 9600 Bd: space from the start bit to bit 4, then mark, space, mark; the driver lets go unseen."""
    wire = Wire()
    wire.station("near")
    wire.station("far", 20.0)
    wire.start()
    wire.send(1000, "near", b"\xa0")
    bit, told = 1e9 / 9600, {}
    for after in (0.0, 3.0, 5.9, 9.6, 10.0):
        at = 1000 + round(after * bit)
        wire.at(at, lambda _, after=after: told.__setitem__(after, wire.line.driving(round(bit * 0.7))))
    wire.run()
    near = wire.stations["near"]
    assert told == {0.0: (near, True), 3.0: (near, False), 5.9: (near, True), 9.6: (near, False), 10.0: None}
