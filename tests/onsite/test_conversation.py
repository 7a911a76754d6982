"""Requests and replies of a tapped line: outcomes, retries, late replies, and bytes of any kind."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from serving import read_frame, value_frame, write_frame

from busim.foundation.units import CharFormat
from busim.onsite.heard import Conversation, Exchange, LineTrace, Seen, Watched
from busim.onsite.tapping import Observer
from busim.protocols import ModbusRtu, find
from busim.recording.trace import BURST, EXCHANGE, open_trace
from busim.simulator.converters import escaped

MS = 1_000_000


def heard(*pieces: tuple[str, int, bytes]) -> tuple[list[Exchange], Watched, Conversation]:
    """What a conversation makes of (way, ms, bytes)."""
    watched, found = Watched(), []

    def take(one: Exchange) -> None:
        found.append(one)
        watched.take(one)

    conversation = Conversation(ModbusRtu(), take)
    conversation.late = watched.take_late
    for way, at, data in pieces:
        (conversation.sent if way == ">" else conversation.heard)(data, at * MS)
    conversation.end(10_000 * MS)
    return found, watched, conversation


def test_a_reply_in_pieces_ends_its_exchange_with_the_last_of_them() -> None:
    reply = value_frame(5, 700)
    (one,), watched, _ = heard((">", 10, read_frame(5, 3)), ("<", 14, reply[:3]), ("<", 16, reply[3:]))
    assert (one.sent, one.asked, one.first, one.ended, one.outcome) == (10 * MS, 10 * MS, 14 * MS, 16 * MS, "ok")
    camera = watched.cameras[5]
    assert camera.turnaround.largest == 4 * MS
    assert camera.reply.largest == 6 * MS


def test_a_request_in_pieces_began_with_its_first() -> None:
    raw = read_frame(5, 3)
    (one,), _, _ = heard((">", 10, raw[:5]), (">", 12, raw[5:]), ("<", 14, value_frame(5, 1)))
    assert (one.sent, one.asked, one.outcome) == (10 * MS, 12 * MS, "ok")


def test_the_same_request_after_an_unanswered_one_is_a_retry_and_others_are_not() -> None:
    raw = read_frame(5, 3)
    found, watched, _ = heard(
        (">", 0, raw), (">", 200, raw), ("<", 204, value_frame(5, 1)), (">", 300, raw), ("<", 304, value_frame(5, 1)),
        (">", 400, raw), (">", 600, read_frame(6, 3)),
    )  # fmt: skip
    assert [(one.attempt, one.outcome) for one in found] == [
        (1, "time-out"), (2, "ok"), (1, "ok"), (1, "time-out"), (1, "time-out"),
    ]  # fmt: skip
    assert found[1].wanted == 0
    assert watched.cameras[5].retries == 1
    assert watched.gaps.count == 4


def test_a_reply_behind_the_next_request_is_late() -> None:
    found, watched, _ = heard(
        (">", 0, read_frame(5, 3)), (">", 200, read_frame(6, 4)), ("<", 203, value_frame(5, 1)),
        ("<", 210, value_frame(6, 2)),
    )  # fmt: skip
    assert [one.outcome for one in found] == ["time-out", "ok"]
    assert watched.cameras[5].late == 1


def test_bytes_without_a_request_are_stray_and_half_a_reply_is_damage() -> None:
    found, _, conversation = heard(("<", 0, b"\x00\xff"), (">", 5, read_frame(5, 3)), ("<", 8, value_frame(5, 1)[:4]))
    assert [one.outcome for one in found] == ["damaged"]
    assert conversation.stray == 2


def test_a_request_that_comes_from_the_line_is_a_second_masters_and_an_echo_is_not() -> None:
    mine, other = write_frame(0, 3, 1), read_frame(7, 1)
    assert heard((">", 0, mine), ("<", 1, mine))[2].others == 0
    assert heard((">", 0, read_frame(5, 3)), ("<", 4, value_frame(5, 1)), ("<", 9, other))[2].others == 1


def test_a_broadcast_has_no_reply_to_wait_for() -> None:
    found, _, conversation = heard((">", 0, write_frame(0, 3, 1)))
    assert [one.outcome for one in found] == ["unanswered"]
    assert conversation.address is None


def test_the_age_of_a_register_runs_from_the_request_that_read_it() -> None:
    raw, reply = read_frame(5, 3, 2), value_frame(5, 1, 2)
    _, watched, _ = heard((">", 0, raw), ("<", 5, reply), (">", 100, raw), ("<", 130, reply))
    assert watched.cameras[5].oldest(130 * MS) == (3, 130 * MS)
    assert watched.cameras[5].oldest(400 * MS) == (3, 300 * MS)


WAYS = st.lists(st.tuples(st.booleans(), st.binary(min_size=1, max_size=60) | st.just(read_frame(1, 2)) |
                          st.just(value_frame(1, 9))), max_size=30)  # fmt: skip


@given(WAYS, st.sampled_from(["modbus-rtu", "text", "short", "tagged"]))
@settings(max_examples=40, deadline=None)
def test_whatever_passes_is_told_apart_or_counted_and_nothing_is_raised(
    pieces: list[tuple[bool, bytes]], protocol: str
) -> None:
    cautions: list[str] = []
    observer = Observer(find(protocol), None, cautions.append)
    for at, (way, data) in enumerate(pieces):
        (observer.sent if way else observer.heard)(data, at * MS)
    observer.end(10_000 * MS)
    assert cautions == []
    assert observer.watched.exchanges == sum(camera.exchanges for camera in observer.watched.cameras.values())


def test_the_trace_has_every_byte_and_bursts_that_never_overlap(tmp_path: Path) -> None:
    path = tmp_path / "slow.busim"
    seen = Seen("127.0.0.1", 15001, "modbus-rtu", Fraction(1200), CharFormat.parse("8E1"), assumed=True)
    trace = LineTrace(path, seen, 0)
    observer = Observer(ModbusRtu(), trace)
    for round_ in range(5):
        observer.sent(read_frame(3, 1), round_ * 10 * MS)  # at 1200 Bd it would take 73 ms: the assumption is wrong
        observer.heard(value_frame(3, 7), round_ * 10 * MS + MS)
    observer.end(100 * MS)
    with open_trace(path) as opened:
        bursts = list(opened.records(BURST))
        assert b"".join(burst[6] for burst in bursts) == (read_frame(3, 1) + value_frame(3, 7)) * 5
        assert all(burst[3] <= burst[4] for burst in bursts)
        assert all(one[4] <= two[3] for one, two in pairwise(bursts))
        assert len(list(opened.records(EXCHANGE))) == 5


def test_an_error_in_the_record_keeps_the_decoder_and_says_so_once() -> None:
    class Broken:
        def sent(self, data: bytes, at: int) -> None:
            raise RuntimeError("the disk is full")

    cautions: list[str] = []
    observer = Observer(ModbusRtu(), Broken(), cautions.append)  # type: ignore[arg-type]
    observer.sent(read_frame(3, 1), 0)
    observer.heard(value_frame(3, 7), MS)
    observer.end(2 * MS)
    assert len(cautions) == 1
    assert "recording has ended" in cautions[0]
    assert observer.watched.cameras[3].outcomes == {"ok": 1}


def test_what_rfc_2217_says_between_the_bytes_is_left_out() -> None:
    observer = Observer(ModbusRtu(), None, telnet=True)
    observer.client(0, 1, "open")
    observer.sent(bytes.fromhex("ff fb 2c") + escaped(read_frame(255, 1)), MS)  # WILL COM-PORT-OPTION
    observer.heard(bytes.fromhex("ff fd 2c"), 2 * MS)
    observer.heard(escaped(value_frame(255, 255)), 3 * MS)
    assert observer.watched.cameras[255].outcomes == {"ok": 1}


@pytest.mark.parametrize("noise", [b"", b"\x00" * 40])
def test_a_reply_is_found_behind_noise(noise: bytes) -> None:
    found, _, _ = heard((">", 0, read_frame(5, 3)), ("<", 3, noise + value_frame(5, 700)))
    assert [one.outcome for one in found] == ["ok"]
