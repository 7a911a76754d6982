"""What is overheard on a line: told apart in any pieces, and beside the plan of the emulated line it came from."""

from __future__ import annotations

import asyncio
import json
import os
from collections import Counter
from collections.abc import Iterator
from contextlib import nullcontext, suppress
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lines import FORMAT, terminal, world_links
from serving import read_frame, value_frame, wall, with_crc, write_frame
from typer.testing import CliRunner

from busim.cli.app import app
from busim.foundation.errors import UserError
from busim.foundation.units import CharFormat
from busim.onsite.captures import BOTH, FROM_LINE, TO_LINE, Piece, open_capture
from busim.onsite.heard import Exchange
from busim.onsite.listening import NONE, SURE, Overheard, Survey, as_well, fits, guessed, heard, least_baud
from busim.onsite.listening import settings as tried
from busim.onsite.targets import Link, open_target, parse_target
from busim.plan import read_text
from busim.protocols import find, names
from busim.recording.exports import to_pcapng
from busim.recording.figures import Histogram
from busim.recording.trace import BURST, EXCHANGE, open_trace
from busim.runtime.session import Live, Run

MS = 1_000_000
RTU = find("modbus-rtu")


def recorded(path: Path, plan: str, *, seconds: float = 2) -> Path:
    """The trace of a plan, simulated."""
    run = Run(read_text(plan), 1, trace=path)
    run.advance(round(seconds * 1e9))
    run.finish()
    return path


def surveyed(pieces: list[Piece], protocol: str = "modbus-rtu") -> Survey:
    survey = Survey(find(protocol))
    survey.take(pieces)
    survey.end()
    return survey


def asked(pieces: list[Piece]) -> list[tuple[int, int, str]]:
    """Address, key and outcome of every exchange in these pieces."""
    found: list[tuple[int, int, str]] = []
    overheard = Overheard(RTU, lambda one: found.append((one.request.address, one.request.key, one.outcome)))
    overheard.take(pieces)
    overheard.end()
    return found


def polled(count: int, *, turnaround: int = 5, every: int = 20, address: int = 1) -> list[Piece]:
    """Reads of one camera, each answered: request and reply as pieces of their own."""
    pieces = []
    for n in range(count):
        pieces.append(Piece(n * every * MS, BOTH, read_frame(address, 3, 2)))
        pieces.append(Piece((n * every + turnaround) * MS, BOTH, value_frame(address, n, 7)))
    return pieces


# -- told apart ---------------------------------------------------------------------------------------------


def test_the_reply_to_a_write_is_no_second_request() -> None:
    write = write_frame(2, 5, 700)  # its reply is its echo (MODBUS Application Protocol V1.1b3, 6.6)
    pieces = [
        Piece(0, BOTH, write),
        Piece(5 * MS, BOTH, write),
        Piece(20 * MS, BOTH, write),
        Piece(25 * MS, BOTH, write),
    ]
    assert asked(pieces) == [(2, 5, "ok"), (2, 5, "ok")]


@given(st.lists(st.integers(1, 120), max_size=12), st.integers(0, 3))
@settings(max_examples=30, deadline=None)
def test_the_pieces_in_which_bytes_come_change_nothing(cuts: list[int], noise: int) -> None:
    whole = bytes(noise) + b"".join(piece.data for piece in polled(6)) + write_frame(2, 5, 1) * 2
    ends = [0, *sorted({min(cut, len(whole)) for cut in cuts}), len(whole)]
    pieces = [Piece(n * MS, BOTH, whole[a:b]) for n, (a, b) in enumerate(pairwise(ends)) if b > a]
    assert asked(pieces) == [(1, 3, "ok")] * 6 + [(2, 5, "ok")]


def test_noise_without_end_is_held_in_bounded_memory() -> None:
    overheard = Overheard(RTU, lambda _: None)
    overheard.take(Piece(n * MS, BOTH, bytes(100)) for n in range(300))
    assert len(overheard._held) <= 1124
    overheard.end()
    assert overheard.conversation.explained == 0


WAYS = st.sampled_from([BOTH, TO_LINE, FROM_LINE])
BYTES = st.binary(min_size=1, max_size=40) | st.sampled_from(
    [read_frame(1, 2), value_frame(1, 9), write_frame(1, 2, 3)]
)


@given(st.lists(st.tuples(WAYS, BYTES), max_size=25), st.sampled_from(names()))
@settings(max_examples=40, deadline=None)
def test_whatever_is_heard_raises_nothing_and_explains_no_more_than_it_is(
    came: list[tuple[int, bytes]], protocol: str
) -> None:
    survey = surveyed([Piece(n * MS, way, data) for n, (way, data) in enumerate(came)], protocol)
    assert 0 <= survey.explained <= 1
    survey.groups()
    survey.late()
    survey.second_master()


SOURCES = st.sampled_from(["", "desk", "laptop"])
TRAFFIC = st.lists(
    st.tuples(
        st.integers(1, 3), st.sampled_from(["clean"] * 6 + ["silent", "refused", "split", "late", "noise", "both"]),
        st.booleans(), WAYS, SOURCES, st.integers(0, 9),
    ),
    max_size=40,
)  # fmt: skip


def drawn(traffic: list[tuple[int, str, bool, int, str, int]]) -> list[Piece]:
    """Exchanges as pieces, a hundred ms apart: mostly clean ones, some with what goes wrong on a line."""
    pieces: list[Piece] = []
    for n, (address, what, write, way, source, value) in enumerate(traffic):
        at = 100 * n * MS
        ask = write_frame(address, 5, value % 2) if write else read_frame(address, 3, 2)
        reply = ask if write else value_frame(address, value, 7)
        if what == "refused":
            reply = with_crc(bytes((address, ask[1] | 0x80, 2)))  # V1.1b3, 7
        there, back = (way, way) if way == BOTH else (TO_LINE, FROM_LINE)
        since = at - value % 3 * MS if value % 2 else -1
        parts = {
            "silent": [], "split": [(5, reply[:3]), (6, reply[3:])], "late": [(130, reply)],
            "noise": [(3, b"\x00\xff"), (5, reply)], "both": [(5, reply), (7, reply)],
        }.get(what, [(5, reply)])  # fmt: skip
        pieces.append(Piece(at, there, ask, source, since))
        pieces += [
            Piece(at + after * MS, back, data, source, at + 4 * MS if value % 2 else -1) for after, data in parts
        ]
    return sorted(pieces, key=lambda one: one.at)


def state(survey: Survey) -> object:
    """All that a survey has counted."""
    watched, said = survey.watched, survey.overheard.conversation
    return (
        {
            address: (
                one.outcomes, one.retries, one.late, one.unanswered, buckets(one.turnaround), buckets(one.reply),
                {key: (age.count, age.worst, age.mean(survey.until)) for key, age in one.ages.items()},
            )
            for address, one in watched.cameras.items()
        },
        watched.exchanges, buckets(watched.gaps), survey.sources, survey.crossed, survey.until,
        {key: (one.count, one.last, buckets(one.periods.counted)) for key, one in survey.polls.items()},
        survey.overheard.bytes, said.explained, said.stray, said.unread, said.others, said.before,
    )  # fmt: skip


def buckets(times: Histogram) -> tuple[object, ...]:
    return times._buckets, times.count, times.total, times.largest


@given(TRAFFIC)
@settings(max_examples=60, deadline=None)
def test_clean_exchanges_count_as_they_do_piece_by_piece(
    traffic: list[tuple[int, str, bool, int, str, int]],
) -> None:
    pieces = drawn(traffic)
    quick, slow = Survey(RTU), Survey(RTU)
    slow.overheard._clean = lambda _: 0  # type: ignore[method-assign]
    quick.take(pieces)
    for piece in pieces:
        slow.take([piece])
    assert state(quick) == state(slow)
    quick.end()
    slow.end()
    assert state(quick) == state(slow)


def test_a_request_that_was_answered_once_has_its_clean_exchanges_counted_apart() -> None:
    emitted, counted = list[Exchange](), list[tuple[int, ...]]()
    Overheard(RTU, emitted.append, again=lambda _: lambda *times: counted.append(times)).take(polled(50))
    assert (len(emitted), len(counted)) == (1, 49)


def test_what_came_before_a_source_fails_counts() -> None:
    def vanishing() -> Iterator[Piece]:
        yield from polled(5)[:-1]
        raise UserError("gone", mend="plug it in")

    survey = Survey(RTU)
    with pytest.raises(UserError, match="gone"):
        survey.take(vanishing())
    survey.end()
    assert survey.watched.cameras[1].outcomes == {"ok": 4, "time-out": 1}
    assert survey.overheard.bytes == sum(len(one.data) for one in polled(5)[:-1])


# -- beside the plan ----------------------------------------------------------------------------------------


def test_the_survey_of_an_emulated_line_finds_what_its_plan_and_its_master_say(tmp_path: Path) -> None:
    path = recorded(tmp_path / "wall.busim", wall(), seconds=5)
    with open_capture(str(path)) as capture:
        survey = surveyed([piece._replace(way=BOTH, source="") for piece in capture])  # as a laptop on the pair
    with open_trace(path) as trace:
        outcomes = Counter((row[4], row[12]) for row in trace.records(EXCHANGE))
    found = {(address, what): n for address, one in survey.watched.cameras.items() for what, n in one.outcomes.items()}
    assert found == outcomes
    assert sorted(survey.watched.cameras) == [1, 2, 3]
    silence = 1.75 * MS  # t3.5 above 19200 Bd, after which a camera takes a frame as whole (V1.02, p. 13)
    for camera in survey.watched.cameras.values():
        least = camera.turnaround.quantile(0.0)
        assert least is not None
        assert silence + 0.99 * MS <= least <= camera.turnaround.largest <= silence + 3.01 * MS  # the plan's 1..3 ms
    fastest = survey.groups()[0]
    assert {(poll.request.address, poll.request.key, poll.request.size) for poll in fastest.polls} == {
        (1, 0, 2), (2, 0, 2), (3, 0, 2),
    }  # fmt: skip
    assert fastest.every == pytest.approx(30 * MS, rel=0.05)  # the plan's `every: 30 ms`
    assert survey.second_master()[0] == "not seen"
    assert survey.explained > 0.99


def test_a_second_master_of_an_emulated_line_is_told_by_its_station(tmp_path: Path) -> None:
    path = recorded(tmp_path / "two.busim", wall(laptop=True))
    with open_capture(str(path)) as capture:
        survey = surveyed(list(capture))
    verdict, why = survey.second_master()
    assert verdict == "seen"
    assert "laptop" in why


def test_requests_into_running_exchanges_are_signs_of_a_second_master() -> None:
    pieces = []
    for n in range(4):
        pieces += [
            Piece(n * 100 * MS, BOTH, read_frame(1, 3)), Piece((n * 100 + 2) * MS, BOTH, read_frame(2, 4)),
            Piece((n * 100 + 6) * MS, BOTH, value_frame(1, 5)), Piece((n * 100 + 9) * MS, BOTH, value_frame(2, 6)),
        ]  # fmt: skip
    assert surveyed(pieces[:4]).second_master()[0] == "possible"
    assert surveyed(pieces).second_master()[0] == "likely"
    assert surveyed(polled(10)).second_master()[0] == "not seen"


def test_a_camera_slower_than_the_others_is_late_and_so_is_one_that_answers_too_late() -> None:
    slow = [*polled(10), *[one._replace(at=one.at + 1000 * MS) for one in polled(10, address=2)],
            *[one._replace(at=one.at + 2000 * MS) for one in polled(10, turnaround=19, address=3)]]  # fmt: skip
    assert [address for address, _ in surveyed(slow).late()] == [3]


# -- guessing -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("protocol", names())
def test_the_protocol_of_an_emulated_line_is_guessed(protocol: str, tmp_path: Path) -> None:
    plan = wall().replace("protocol: modbus-rtu", f"protocol: {protocol}")
    path = recorded(tmp_path / "wall.busim", plan, seconds=1)
    with open_capture(str(path)) as capture:
        found = fits([piece._replace(way=BOTH, source="") for piece in capture], map(find, names()))
    assert found[0].protocol == protocol
    assert found[0].confidence == SURE
    assert as_well(found[0], found[1:]) == []


def test_noise_is_no_protocol() -> None:
    noise = [Piece(n * MS, BOTH, bytes((n * n * 7 + k * 31) % 251 for k in range(9))) for n in range(300)]
    assert {one.confidence for one in fits(noise, map(find, names()))} == {NONE}


def test_the_baud_of_an_emulated_line_is_found_by_trying_and_its_formats_stay_open() -> None:
    plan = read_text(wall(laptop=True, every="40 ms").replace("{idle: 1 ms}", "{idle: 1 ms}, rfc2217: applies"))
    with world_links(plan, "wall box", play=("laptop",)) as (_, (link,)):

        def opened(baud: int, format: CharFormat) -> nullcontext[Link]:
            port = link._port
            port.baudrate, port.bytesize, port.parity = baud, format.data_bits, format.parity
            return nullcontext(link)

        found = guessed(tried(), opened, [RTU], 600 * MS)
    assert found[0].confidence == SURE
    assert found[0].setting.startswith("115200 Bd"), "as the plan has it"
    assert f"115200 Bd {FORMAT}" in {one.setting for one in (found[0], *as_well(found[0], found[1:]))}
    assert not any("38400" in one.setting for one in as_well(found[0], found[1:]))


def test_the_times_of_a_capture_bound_its_baud_from_below(tmp_path: Path) -> None:
    path = recorded(tmp_path / "wall.busim", wall(), seconds=1)
    with open_capture(str(path)) as capture:
        least = least_baud(list(capture), RTU, 11)
    assert least is not None
    assert 10_000 < least < 115200  # of the plan; 8 bytes of 11 bits within the shortest exchange


def test_ctrl_c_while_a_pipe_is_awaited_shows_what_came_before_it(monkeypatch: pytest.MonkeyPatch) -> None:
    class Pipe:
        def __init__(self) -> None:
            self.notes: list[str] = []

        def __iter__(self) -> Iterator[Piece]:
            yield from polled(5)
            raise KeyboardInterrupt

    monkeypatch.setattr("busim.onsite.captures.open_capture", lambda *_, **__: nullcontext(Pipe()))
    done = CliRunner().invoke(app, ["listen", "-"])
    assert done.exit_code == 0
    assert "5 requests" in " ".join(done.stdout.split())
    assert "ended by Ctrl-C" in done.stdout


# -- at a line ----------------------------------------------------------------------------------------------


def test_listening_at_a_port_hears_all_and_sends_nothing() -> None:
    frames = read_frame(1, 3) + value_frame(1, 700)
    with terminal() as (ours, path), open_target(parse_target(path), Fraction(38400), CharFormat.parse("8N1")) as link:
        os.write(ours, frames)
        got: list[Piece] = []
        for piece in heard(link, None, lambda: sum(len(one.data) for one in got) >= len(frames)):
            got.append(piece)
        os.set_blocking(ours, False)
        with pytest.raises(BlockingIOError):
            os.read(ours, 1)
    assert b"".join(one.data for one in got) == frames


async def test_listening_over_rfc2217_hears_a_master_and_sends_nothing_to_the_line(tmp_path: Path) -> None:
    plan = read_text(wall(laptop=True, every="40 ms").replace("{idle: 1 ms}", "{idle: 1 ms}, rfc2217: applies"))
    async with Live(plan, 1, any_port=True, play=("laptop",), trace=tmp_path / "live.busim") as live:
        target = parse_target(f"rfc2217://{live.addresses['wall box']}")

        def listened() -> list[Piece]:
            with open_target(target, plan.lines[0].baud, plan.lines[0].format) as link:
                survey = Survey(RTU)
                got: list[Piece] = []
                for piece in heard(link, 20_000 * MS, lambda: survey.watched.exchanges >= 3):
                    survey.take([piece])
                    got.append(piece)
                return got

        found = surveyed(await asyncio.to_thread(listened))
    assert found.overheard.bytes > 0
    assert found.watched.exchanges >= 2
    assert set(found.watched.cameras) <= {1, 2, 3}
    with open_trace(tmp_path / "live.busim") as opened:
        drove = {opened.names[row[2]].name for row in opened.records(BURST)}
        assert "laptop" in drove
        assert "wall box" not in drove


def test_listen_asks_before_it_opens_a_port() -> None:
    with terminal() as (_, path):
        done = CliRunner().invoke(app, ["listen", path])
    assert isinstance(done.exception, UserError)
    assert "nobody is there to agree" in str(done.exception)


def test_what_was_read_before_the_damage_of_a_capture_is_shown_and_then_the_damage(tmp_path: Path) -> None:
    trace = recorded(tmp_path / "wall.busim", wall(), seconds=1)
    with open_trace(trace) as opened:
        to_pcapng(opened, tmp_path / "wall.pcapng")
    data = (tmp_path / "wall.pcapng").read_bytes()
    cut = data.rfind(b"\x06\0\0\0", 0, len(data) // 2)  # the type of a packet block
    (tmp_path / "bad.pcapng").write_bytes(data[:cut] + b"\x06\0\0\0\1" + data[cut + 5 :])
    done = CliRunner().invoke(app, ["listen", str(tmp_path / "bad.pcapng")])
    assert "Overheard (measured)" in done.output
    assert isinstance(done.exception, UserError)
    assert "damaged" in str(done.exception)


def keep(pieces: Iterator[Piece], got: list[Piece]) -> None:
    for piece in pieces:
        got.append(piece)


def test_a_port_that_vanishes_ends_the_listening_with_what_was_heard() -> None:
    frames = read_frame(1, 3) + value_frame(1, 700)
    got: list[Piece] = []
    with terminal() as (ours, path), open_target(parse_target(path), Fraction(38400), CharFormat.parse("8N1")) as link:
        os.write(ours, frames)

        def unplugged() -> bool:
            if sum(len(one.data) for one in got) >= len(frames):
                with suppress(OSError):
                    os.close(ours)
            return False

        with pytest.raises(UserError):
            keep(heard(link, 20_000 * MS, unplugged), got)
    assert b"".join(one.data for one in got) == frames


def test_listen_shows_a_capture_and_has_the_same_as_json(tmp_path: Path) -> None:
    path = recorded(tmp_path / "wall.busim", wall(), seconds=1)
    said = CliRunner().invoke(app, ["listen", str(path), "--guess"], catch_exceptions=False).output
    assert "Guess: modbus-rtu; confidence: sure." in said
    assert "Second master: not seen" in said
    told = json.loads(CliRunner().invoke(app, ["listen", str(path), "--json"], catch_exceptions=False).output)
    assert [one["address"] for one in told["cameras"]] == [1, 2, 3]
    assert told["groups"][0]["every_s"] == pytest.approx(0.03, rel=0.05)
