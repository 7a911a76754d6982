"""A port that gets other settings in a run, and breaks: what receivers hear then, on both paths."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from wire_bench import RawListener, Wire, port

from busim.foundation.errors import Defect
from busim.recording.trace import BREAK, BURST, FRAMING, HEARD
from busim.simulator.bus import Station

BIT = 1e9 / 9600


def two(**line: Any) -> Wire:
    wire = Wire(**line)
    wire.station("box", 0.0)
    wire.station("camera", 20.0)
    return wire.start()


def reset(wire: Wire, when: int, name: str, baud: int = 9600, format: str = "8N1") -> None:
    wire.at(when, lambda _: wire.line.reset(wire.stations[name], port(baud, format)))


def hold_space(wire: Wire, when: int, until: int, name: str = "box") -> None:
    wire.at(when, lambda _: wire.line.begin_break(wire.stations[name]))
    wire.at(until, lambda _: wire.line.end_break(wire.stations[name]))


def test_what_was_sent_at_half_the_baud_reads_as_two_characters() -> None:
    """By hand: 0F at 4800 is 0 11110000 1, each bit two of a 9600 Bd receiver's. From the first edge it samples
    0 | 0 1 1 1 1 1 1 1 | 1, which is FE; from the next, at the fifth data bit, 0 | 0 0 0 0 0 0 0 1 | 1, which is 80.
    """
    wire = two()
    reset(wire, 0, "box", 4800)
    wire.send(1000, "box", b"\x0f")
    wire.run()
    assert [(value, flags) for value, _, flags in wire.heard("camera")] == [(0xFE, 0), (0x80, 0)]


def test_equal_settings_again_give_the_bytes_again_and_the_fast_path() -> None:
    wire = two()
    reset(wire, 0, "box", 19200)
    reset(wire, 5_000_000, "box", 9600)
    wire.send(10_000_000, "box", b"hello")
    wire.send(40_000_000, "camera", b"world")
    wire.run()
    assert (wire.values("camera"), wire.values("box")) == (b"hello", b"world")
    assert [record[-1] for record in wire.records if record[0] == BURST] == [0, 0]


def test_both_ends_set_anew_talk_at_the_new_rate() -> None:
    wire = two()
    for name in wire.stations:
        reset(wire, 0, name, 38400, "8E1")
    wire.send(1_000_000, "box", b"\x00\xff")
    wire.run()
    assert wire.values("camera") == b"\x00\xff"
    burst = next(record for record in wire.records if record[0] == BURST)
    assert burst[4] - burst[3] == round(22 / 38400 * 1e9)


def test_a_port_with_seven_data_bits_carries_seven() -> None:
    wire = two()
    for name in wire.stations:
        reset(wire, 0, name, 9600, "7E1")
    wire.send(1_000_000, "box", b"\x80\xc1")
    wire.run()
    assert wire.values("camera") == b"\x00\x41"


def test_a_character_that_is_being_received_is_lost() -> None:
    wire = two()
    wire.send(0, "box", b"\xff\xff\xff")
    reset(wire, round(10.5 * BIT), "camera")  # in the first data bit of the second: mark until the third begins
    wire.run()
    assert wire.values("camera") == b"\xff\xff"
    assert [record[5] for record in wire.records if record[0] == HEARD] == [b"\xff"]


def test_a_port_that_sends_cannot_be_set_anew() -> None:
    wire = two()
    wire.send(0, "box", b"abc")
    reset(wire, 1000, "box", 19200)
    with pytest.raises(Defect, match="while it sends"):
        wire.run()


def test_a_break_is_one_character_however_long_it_lasts() -> None:
    """A framing error with all bits space, and the next start bit only after a mark (16550-type UARTs; from memory)."""
    wire = two()
    hold_space(wire, 1_000_000, 201_000_000)
    wire.send(210_000_000, "box", b"ok")
    wire.run()
    (first, at, flags), *rest = wire.heard("camera")
    assert (first, flags) == (0, FRAMING | BREAK)
    assert at == 1_000_000 + round(9.5 * BIT) + wire.stations["camera"].delays[wire.stations["box"].number]
    assert [(value, flags) for value, _, flags in rest] == [(ord("o"), 0), (ord("k"), 0)]


def test_space_shorter_than_a_character_reads_as_the_character_it_looks_like() -> None:
    wire = two()
    hold_space(wire, 0, round(5 * BIT))  # start bit and four data bits
    wire.run()
    assert [(value, flags) for value, _, flags in wire.heard("camera")] == [(0xF0, 0)]


def test_a_break_is_a_burst_without_characters_in_the_trace() -> None:
    wire = two()
    hold_space(wire, 1_000_000, 9_000_000)
    wire.run()
    assert [record[3:7] for record in wire.records if record[0] == BURST] == [(1_000_000, 9_000_000, 0, b"")]


def test_a_break_spoils_what_another_sends_where_space_wins() -> None:
    wire = two()
    wire.station("third", 3.0)
    wire.start()
    wire.send(0, "camera", b"\xff" * 4)
    hold_space(wire, round(12 * BIT), round(25 * BIT))
    wire.run()
    assert wire.values("third")[0] == 0xFF
    assert wire.values("third") != b"\xff" * 4


def test_who_waits_for_quiet_looks_again_while_a_break_lasts() -> None:
    wire = two()
    found: list[int] = []
    wire.at(1_000_000, lambda _: wire.line.begin_break(wire.stations["box"]))
    wire.at(2_000_000, lambda _: found.append(wire.line.quiet_from(wire.stations["camera"])))
    wire.run()
    assert 2_000_000 < found[0] < 4_000_000


class SettledListener(RawListener):
    """Takes chunks apart as they come, since its setting changes."""

    def __init__(self, station: Station) -> None:
        super().__init__()
        self.station = station

    def heard(
        self, data: bytes, first: int, last: int, flags: int, source: Station | None, deaf: Station | None
    ) -> None:
        of = self.station.setting
        self.got += [(value, first + of.offset(n * of.halves), flags) for n, value in enumerate(data)]


names = st.sampled_from(["box", "camera", "other"])
deeds = st.tuples(
    st.sampled_from(["send", "send", "reset", "break"]),
    names,
    st.integers(0, 30_000),  # us
    st.sampled_from([9600, 9600, 19200, 4800, 9601]),
    st.sampled_from(["8N1", "8N1", "8E1", "7E1"]),
    st.binary(min_size=1, max_size=6),
)


def played(case: list[Any], *, exact: bool) -> tuple[dict[str, Any], list[Any]]:
    wire = Wire(always_exact=exact)
    for name, metres in (("box", 0.0), ("camera", 120.0), ("other", 300.0)):
        station = Station(name, metres, port())
        wire.stations[name] = station
        wire.listeners[name] = SettledListener(station)
        wire.line.attach(station, wire.listeners[name])
    wire.start()
    line, kernel = wire.line, wire.kernel
    held: set[str] = set()

    def do(deed: Any) -> None:
        what, name, _, baud, format, data = deed
        station = wire.stations[name]
        if name in held:
            return
        if what == "send":
            line.send(station, data)
        elif station.burst is None or max(station.burst.off, station.burst.end) <= kernel.now:
            if what == "reset":
                line.reset(station, port(baud, format))
            else:
                held.add(name)
                line.begin_break(station)
                kernel.at(kernel.now + baud * 100, end, name)

    def end(name: str) -> None:
        held.discard(name)
        line.end_break(wire.stations[name])

    for deed in sorted(case, key=lambda deed: deed[2]):
        kernel.at(deed[2] * 1000, do, deed)
    wire.run(200_000_000)
    bursts = [record[:-1] for record in wire.records if record[0] == BURST]
    return {name: listener.got for name, listener in wire.listeners.items()}, sorted(bursts)


@settings(max_examples=400, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.lists(deeds, min_size=1, max_size=8))
def test_changed_ports_and_breaks_are_heard_the_same_on_both_paths(case: list[Any]) -> None:
    (fast, bursts), (exact, same) = played(case, exact=False), played(case, exact=True)
    assert bursts == same
    for name, heard in fast.items():
        assert [(value, flags) for value, _, flags in heard] == [(value, flags) for value, _, flags in exact[name]]
        # a chunk tells its first instant, from which the others are worked out here: 1 ns of rounding
        assert all(abs(one[1] - other[1]) <= 1 for one, other in zip(heard, exact[name], strict=True))


def test_a_break_that_nobody_holds_cannot_be_ended() -> None:
    wire = Wire()
    station = wire.station("one")
    wire.start()
    with pytest.raises(Defect, match="holds none"):
        wire.line.end_break(station)
    wire.line.send(station, b"a")
    with pytest.raises(Defect, match="holds none"):
        wire.line.end_break(station)


def test_who_holds_the_pair_at_space_sends_no_characters() -> None:
    wire = two()
    hold_space(wire, 1000, 5_000_000)
    wire.send(2_000_000, "box", b"x")
    with pytest.raises(Defect, match="holds the pair at space"):
        wire.run()
