"""`busim serve`: real peers over real sockets, bad input, and an orderly end."""

from __future__ import annotations

import asyncio
import contextlib
import itertools
import json
import os
import re
import signal
import socket
import subprocess
import sys
import threading
import time
import tracemalloc
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pymodbus import FramerType
from pymodbus.client import AsyncModbusTcpClient
from pymodbus.exceptions import ModbusException
from serving import WITHIN, Client, Served, busim, busim_here, read_frame, value_frame, wait_for, wall, write_frame

from busim.foundation.errors import Defect, UserError
from busim.plan import read_text
from busim.recording.trace import EFFECT, EXCHANGE, INPUT, MARK, open_trace
from busim.runtime.bridge import Address, addresses, cautions
from busim.runtime.session import Live, Run
from busim.runtime.session.live import nothing, warned
from busim.simulator.kernel import Chance

MS = 1_000_000
IRIS, SHUTTER, RED_GAIN, BUS_ID = 0, 2, 5, 100  # registers of the zoom-camera model
PLAN = read_text(wall())


def others_are_served(served: Served, camera: int = 3) -> None:
    """A fresh client gets its answer; until a slot is free it tries again."""
    end = time.monotonic() + WITHIN
    while time.monotonic() < end:
        with Client(served.address()) as client, contextlib.suppress(ConnectionError):
            reply = client.ask(read_frame(camera, BUS_ID), 7, patience=0.3)
            if reply.endswith(value_frame(camera, camera)):
                return
    raise AssertionError("a fresh client got no answer")


# -- real peers ---------------------------------------------------------------------------------------------


async def _pymodbus(address: tuple[str, int]) -> AsyncModbusTcpClient:
    client = AsyncModbusTcpClient(address[0], port=address[1], framer=FramerType.RTU, timeout=0.3, retries=20)
    assert await client.connect()
    return client


def test_a_modbus_client_and_a_plain_socket_share_a_line_and_see_what_the_other_wrote(tmp_path: Path) -> None:
    async def peers(served: Served) -> None:
        modbus = await _pymodbus(served.address())
        with Client(served.address()) as plain:
            written = await modbus.write_register(IRIS, 321, device_id=1)
            assert not written.isError()
            plain.insist(read_frame(1, IRIS), value_frame(1, 321))
            plain.insist(write_frame(2, RED_GAIN, 77), write_frame(2, RED_GAIN, 77))
            read = await modbus.read_holding_registers(RED_GAIN, count=1, device_id=2)
            assert read.registers == [77]
        modbus.close()

    with Served(tmp_path, wall()) as served:
        asyncio.run(peers(served))
        served.interrupt()


def test_two_clients_that_ask_at_once_get_through_however_their_frames_meet(tmp_path: Path) -> None:
    def insist(address: tuple[str, int], done: list[int]) -> None:
        with Client(address) as plain:
            for value in range(100, 115):
                plain.insist(write_frame(2, RED_GAIN, value), write_frame(2, RED_GAIN, value))
                done.append(value)

    async def poll(address: tuple[str, int]) -> int:
        modbus = await _pymodbus(address)
        good = 0
        while good < 15:
            try:
                read = await modbus.read_holding_registers(SHUTTER, count=1, device_id=1)
            except ModbusException:  # the other frame damaged it too often
                await modbus.connect()
                continue
            good += read.registers == [1]
        modbus.close()
        return good

    with Served(tmp_path, wall()) as served:
        done: list[int] = []
        thread = threading.Thread(target=insist, args=(served.address(), done))
        thread.start()
        good = asyncio.run(poll(served.address()))
        thread.join(WITHIN)
        assert done == list(range(100, 115))
        assert good == 15
        served.interrupt()
    with open_trace(served.trace) as trace:
        outcomes = {record[12] for record in trace.records(EXCHANGE)}
    assert "ok" in outcomes


def test_every_client_gets_every_reply(tmp_path: Path) -> None:
    with Served(tmp_path, wall()) as served, Client(served.address()) as one, Client(served.address()) as other:
        wait_for(lambda: served.errors().count("connected") == 2)
        assert all(re.match(r"\d+\.\d{3} s: wall box: client", line) for line in served.errors().splitlines())
        reply = value_frame(3, 3)
        assert one.ask(read_frame(3, BUS_ID), len(reply)) == reply
        assert other.hear(len(reply)) == reply
        served.interrupt()


# -- clients that behave badly ------------------------------------------------------------------------------


def test_one_client_too_many_sees_a_close_and_the_others_go_on(tmp_path: Path) -> None:
    with Served(tmp_path, wall()) as served:
        inside = [Client(served.address()) for _ in range(3)]
        wait_for(lambda: served.errors().count("connected") == 3)
        with Client(served.address()) as refused:
            assert refused.is_closed()
        inside[0].insist(read_frame(1, BUS_ID), value_frame(1, 1))
        inside[1].close()
        wait_for(lambda: "gone" in served.errors())
        with Client(served.address()) as late:
            late.insist(read_frame(2, BUS_ID), value_frame(2, 2))
        assert "client 4" in served.errors()
        assert "refused" in served.errors()
        served.interrupt()
        for client in inside:
            client.close()
    with open_trace(served.trace) as trace:
        assert [record[3] for record in trace.records(EFFECT)] == ["clients"]


def test_clients_that_vanish_in_the_middle_of_a_frame_leave_no_trouble_behind(tmp_path: Path) -> None:
    with Served(tmp_path, wall()) as served:
        for number in range(30):
            client = Client(served.address())
            client.socket.sendall(read_frame(1, BUS_ID)[: 1 + number % 7])
            if number % 2:
                client.vanish()
            else:
                client.close()
        others_are_served(served)
        served.interrupt()
    with open_trace(served.trace) as trace:
        seen = {record[4] for record in trace.inputs()}
    assert {"open", "bytes", "close", "reset"} <= seen


def test_two_hundred_connects_in_a_second_are_let_in_or_refused_and_forgotten(tmp_path: Path) -> None:
    with Served(tmp_path, wall()) as served:
        others_are_served(served)
        before, files = served.memory(), len(os.listdir(f"/proc/{served.process.pid}/fd"))
        start = time.monotonic()
        clients = [Client(served.address()) for _ in range(200)]
        took = time.monotonic() - start
        assert took < 1
        for client in clients:
            client.close()
        others_are_served(served)
        wait_for(lambda: len(os.listdir(f"/proc/{served.process.pid}/fd")) <= files)
        assert served.memory() < before + 10_000_000
        assert served.errors().count("\n") < 100  # it reports a few and counts the rest
        served.interrupt()
    with open_trace(served.trace) as trace:
        numbers = [record[3] for record in trace.inputs() if record[4] == "open"]
    assert numbers == list(range(1, len(numbers) + 1))
    assert len(numbers) >= 200


FAST = wall().replace("115200 Bd", "3000000 Bd").replace("1..3 ms", "100 us").replace("200..900 us", "100 us")


def test_a_client_that_never_reads_costs_bounded_memory_and_the_others_nothing(tmp_path: Path) -> None:
    """3 MBd and tenfold speed fill the buffers of both systems in seconds; after that the converter keeps 64 kB."""
    with Served(tmp_path, FAST, "--speed", "10") as served:
        address = served.address()
        lazy = socket.socket()
        lazy.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
        lazy.connect(address)
        before = served.memory()
        with Client(address) as busy:
            request, length = read_frame(1, IRIS, 15), 35
            for _ in range(20_000):
                assert len(busy.ask(request, length)) == length
                if "does not read" in served.errors():
                    break
            for _ in range(2500):  # 35 bytes each: more than the converter holds for it
                assert len(busy.ask(request, length)) == length
        others_are_served(served)
        assert served.memory() < before + 12_000_000
        lazy.close()
        others_are_served(served)
        served.interrupt()
    with open_trace(served.trace) as trace:
        assert [record[4] for record in trace.inputs() if record[3] == 1] in (
            ["open", "stall", "close"],
            ["open", "stall", "reset"],
        )
        assert "unread" in {record[3] for record in trace.records(EFFECT)}


def test_a_client_that_reads_again_gets_what_was_held_in_order() -> None:
    """In process, where the held bytes are known: below the limit no bytes are lost or reordered."""
    got = bytearray()
    run = Run(PLAN, 1, played=(), watched=True)
    port = run.world.converters["wall box"]
    port.open(1, lambda _, data: got.extend(data))
    expected = b""
    at = 0
    for number in range(20):
        if number == 5:
            port.stall(1)
        if number == 15:
            assert bytes(got) == value_frame(1, 1) * 5
            port.ready(1)
        port.chunk(1, read_frame(1, BUS_ID))
        expected += value_frame(1, 1)
        at += 20 * MS
        run.advance(at)
    assert bytes(got) == expected


def test_a_client_that_floods_is_asked_to_pause_and_loses_nothing(tmp_path: Path) -> None:
    """More than the converter holds and the line carries: the rest waits in the sockets."""
    with Served(tmp_path, FAST, "--speed", "10") as served:
        before = served.memory()
        flood = b"\xaa" * 70_000
        with Client(served.address()) as client:
            client.socket.settimeout(WITHIN)
            client.socket.sendall(flood)
            client.socket.shutdown(socket.SHUT_WR)
            assert client.is_closed()
        others_are_served(served)
        assert served.memory() < before + 40_000_000
        served.interrupt()
    with open_trace(served.trace) as trace:
        assert sum(len(record[5]) for record in trace.inputs() if record[3] == 1) == len(flood)
        assert list(trace.records(EFFECT)) == []


# -- bad bytes ----------------------------------------------------------------------------------------------


def _near(frame: bytes, place: int, bit: int) -> bytes:
    place %= len(frame)
    return frame[:place] + bytes((frame[place] ^ 1 << bit,)) + frame[place + 1 :]


FRAMES = st.one_of(
    st.builds(read_frame, st.integers(0, 255), st.integers(0, 65535), st.integers(0, 65535)),
    st.builds(write_frame, st.integers(0, 255), st.integers(0, 65535), st.integers(0, 65535)),
)
BYTES = st.one_of(
    st.binary(min_size=1, max_size=300),
    FRAMES,
    st.builds(_near, FRAMES, st.integers(0, 7), st.integers(0, 7)),
    st.builds(lambda frame, size: frame[:size], FRAMES, st.integers(1, 7)),
    st.builds(lambda one, other: one + other, FRAMES, FRAMES),
)


@st.composite
def chunks(draw: st.DrawFn, most: int = 6) -> list[bytes]:
    """Random and near-valid bytes: whole, byte by byte, or split anywhere."""
    data = b"".join(draw(st.lists(BYTES, min_size=1, max_size=most)))
    how = draw(st.sampled_from(("whole", "bytes", "split")))
    if how == "whole":
        return [data]
    if how == "bytes":
        return [data[n : n + 1] for n in range(len(data))]
    cuts = sorted(draw(st.sets(st.integers(0, len(data)), max_size=8)) | {0, len(data)})
    return [data[one:other] for one, other in itertools.pairwise(cuts)]


@settings(max_examples=100, deadline=None)
@given(chunks(), st.integers(0, 5 * MS), st.booleans())
def test_whatever_bytes_come_a_camera_that_is_asked_soundly_answers(data: list[bytes], gap: int, second: bool) -> None:
    got = bytearray()
    run = Run(read_text(wall(laptop=second)), 1, played=("laptop",), watched=True)
    port = run.world.converters["wall box"]
    assert port.open(1, lambda *_: None)
    at = 0
    for chunk in data:
        run.advance(at)
        port.chunk(1, chunk)
        at += gap
    at += 1000 * MS  # the line carries all of it, and falls silent
    run.advance(at)
    port.close(1, reset=True)
    assert port.open(2, lambda _, data: got.extend(data))
    for attempt in range(10):  # the second master may be in the way
        port.chunk(2, read_frame(2, BUS_ID))
        run.advance(at + (attempt + 1) * 83 * MS)
    assert value_frame(2, 2) in bytes(got)
    run.finish()


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(chunks(3))
def test_bad_bytes_over_a_real_socket_hurt_nobody_else(served_for_all: Served, data: list[bytes]) -> None:
    with Client(served_for_all.address()) as bad:
        for chunk in data:
            bad.socket.sendall(chunk)
        bad.vanish()
    with Client(served_for_all.address()) as good:
        good.insist(read_frame(3, BUS_ID), value_frame(3, 3))
    assert "Traceback" not in served_for_all.errors()


@pytest.fixture(scope="module")
def served_for_all(tmp_path_factory: pytest.TempPathFactory) -> Served:
    with Served(tmp_path_factory.mktemp("served"), wall()) as served:
        yield served  # type: ignore[misc]
        served.interrupt()


@pytest.mark.long
@pytest.mark.timeout(1800)
def test_a_hundred_thousand_bad_chunks_leave_memory_where_it_was() -> None:
    """In process and in fast time: clients connect, send drawn bytes, and vanish."""
    run = Run(PLAN, 1, played=(), watched=True)
    port = run.world.converters["wall box"]
    kernel = run.world.kernel
    draw = Chance(7).stream("bad chunks")
    sizes = []
    tracemalloc.start()
    try:
        for number in range(100_000):
            client = number // 5 + 1
            if number % 5 == 0:
                port.open(client, lambda *_: None)
            frame = read_frame(draw.between(0, 5), draw.between(0, 120), draw.between(0, 20))
            kind = draw.between(0, 3)
            if kind == 0:
                frame = bytes(draw.between(0, 255) for _ in range(draw.between(1, 40)))
            elif kind == 1:
                frame = _near(frame, draw.between(0, 7), draw.between(0, 7))
            elif kind == 2:
                frame = frame[: draw.between(1, 7)]
            port.chunk(client, frame)
            if number % 5 == 4:
                port.close(client, reset=bool(draw.between(0, 1)))
            run.advance(kernel.now + draw.between(0, 20 * MS))
            if number % 20_000 == 19_999:
                sizes.append(tracemalloc.get_traced_memory()[0])
    finally:
        tracemalloc.stop()
    assert sizes[-1] < sizes[0] + 1_000_000


# -- the command --------------------------------------------------------------------------------------------


@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_an_interrupt_ends_it_well_with_figures_and_a_complete_trace(tmp_path: Path, how: signal.Signals) -> None:
    with Served(tmp_path, wall(laptop=True)) as served:
        others_are_served(served)
        out = served.interrupt(how)
    assert "wall line" in out
    assert "Lateness on the wall clock" in out
    with open_trace(served.trace) as trace:
        assert trace.head["complete"] == 1
        assert trace.head["clock"] == "wall"
        assert trace.head["played"] == '["laptop"]'
        assert next(trace.lateness())[1] >= 0
        kinds = {record[5] for record in trace.records(EXCHANGE)}
    assert kinds == {"poll", "foreign"}


def test_a_trace_is_whole_up_to_its_last_batch_after_a_kill(tmp_path: Path) -> None:
    with Served(tmp_path, wall(laptop=True)) as served:
        others_are_served(served)
        wait_for(lambda: _count(served.trace, INPUT) > 0)
        served.process.kill()
        served.process.wait()
    with open_trace(served.trace) as trace:
        assert trace.head["complete"] == 0
        assert list(trace.inputs())


def _count(path: Path, kind: int) -> int:
    with open_trace(path) as trace:
        return sum(1 for _ in trace.records(kind))


def test_lines_typed_while_it_runs_are_marks(tmp_path: Path) -> None:
    with Served(tmp_path, wall(), input=True) as served:
        assert served.process.stdin is not None
        served.process.stdin.write(b"doors open\n\n  lights down \nhalf a li")
        served.process.stdin.flush()
        wait_for(lambda: _count(served.trace, MARK) == 2)
        served.process.stdin.write(b"ne")
        served.process.stdin.close()
        wait_for(lambda: _count(served.trace, MARK) == 3)
        served.process.stdin = None
        served.interrupt()
    with open_trace(served.trace) as trace:
        marks = [(at, text) for _, at, text in trace.records(MARK)]
    assert [text for _, text in marks] == ["doors open", "lights down", "half a line"]
    assert 0 <= marks[0][0] <= marks[1][0] < marks[2][0]


def test_it_ends_by_itself_after_the_time_given_to_the_nanosecond(tmp_path: Path) -> None:
    plan, trace_path = tmp_path / "plan.yaml", tmp_path / "live.trace"
    plan.write_text(wall(laptop=True))
    done = busim(
        "serve", str(plan), "--port", "0", "--for", "3 s", "--speed", "2", "--play", "controller", "--json",
        "--trace", str(trace_path),
    )  # fmt: skip
    report = json.loads(done.stdout)
    assert report["length_s"] == 3.0
    assert report["clock"] == "wall"
    assert report["lateness"]["count"] > 10
    assert report["lines"][0]["figures"]["exchanges"]["value"] > 20
    with open_trace(trace_path) as trace:
        assert trace.head["ended_at"] == 3_000_000_000
        assert "foreign" not in {record[5] for record in trace.records(EXCHANGE)}  # none counted twice


def test_it_says_where_everything_listens(tmp_path: Path) -> None:
    plan = tmp_path / "plan.yaml"
    plan.write_text(wall().replace("198.51.100.48:15001", f"10.20.{os.getpid() % 250}.48:{_free_port()}"))
    done = busim("serve", str(plan), "--for", "10 ms", COLUMNS="200")
    assert done.returncode == 0, done.stderr
    row = next(line for line in done.stdout.splitlines() if line.startswith("wall box"))
    planned = next(converter for converter in read_text(plan.read_text()).converters)
    assert f"{planned.host}:{planned.port}" in row
    assert f"127.{planned.host.partition('.')[2]}:{planned.port}" in row
    assert "wall line" in row
    assert "wall low (1), wall high (2), wall mats (3)" in row


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def test_a_port_in_use_is_told_with_the_converter_and_an_older_trace_stays(tmp_path: Path) -> None:
    plan, trace = tmp_path / "plan.yaml", tmp_path / "old.trace"
    plan.write_text(wall())
    assert busim_here("run", str(plan), "--for", "1 s", "--trace", str(trace)).returncode == 0
    before = trace.read_bytes()
    with socket.socket() as holder:
        holder.bind(("127.51.100.48", 0))
        holder.listen()
        port = holder.getsockname()[1]
        plan.write_text(wall().replace("15001", str(port)))
        done = busim("serve", str(plan), "--trace", str(trace), "--overwrite")
    assert done.returncode == 2
    assert "wall box" in done.stderr
    assert f"sport = :{port}" in done.stderr
    assert "Traceback" not in done.stderr
    assert trace.read_bytes() == before


def test_planned_addresses_that_are_not_here_are_told_with_the_commands_that_would_add_them(tmp_path: Path) -> None:
    plan = tmp_path / "plan.yaml"
    plan.write_text(wall().replace("198.51.100.48", "192.0.2.48"))  # RFC 5737: an address that no machine has
    done = busim("serve", str(plan), "--listen", "planned")
    assert done.returncode == 2
    assert "192.0.2.48/32" in done.stderr
    assert "To undo it" in done.stderr
    assert "root" in done.stderr


def test_listening_beyond_loopback_prints_a_caution(tmp_path: Path) -> None:
    """The sentence itself; binding such an address in a test would open it to the network."""
    (caution,) = cautions({"wall box": Address("198.51.100.48", 15001), "rope box": Address("127.0.0.1", 15001)}, {})
    assert "wall box can be reached" in caution
    assert "no authentication" in caution
    assert "would be there twice" in caution
    with pytest.warns(UserWarning, match="no authentication"):
        warned(nothing, caution)  # a program that uses `busim.Live` without a function that shows cautions
    plan = tmp_path / "plan.yaml"
    plan.write_text(wall())
    assert busim("serve", str(plan), "--port", "0", "--for", "10 ms").stderr == ""


def test_two_converters_that_would_meet_on_loopback_are_refused() -> None:
    one = PLAN.converters[0]
    other = type(one)("other box", "10." + one.host.partition(".")[2], one.port, 0)
    with pytest.raises(UserError) as caught:
        addresses([one, other])
    assert str(caught.value.found).startswith(
        "'wall box' (198.51.100.48:15001) and 'other box' (10.51.100.48:15001), both"
    )
    assert "--port 0" in str(caught.value)
    assert addresses([one, other], any_port=True)["other box"] == ("127.51.100.48", 0)
    assert addresses([one, other], planned=True)["other box"] == ("10.51.100.48", 15001)


@pytest.mark.parametrize(
    ("options", "says"),
    [
        (("--speed", "20"), "0.1 to 10"),
        (("--play", "nobody"), "'controller' or 'laptop'"),
        (("--listen", "everywhere"), "loopback or planned"),
        (("--port", "15001"), "expected 0"),
        (("--ready", "/no/such/folder/ready.json"), "ready file"),
    ],
)
def test_options_that_make_no_sense_are_the_users_to_mend(tmp_path: Path, options: tuple[str, str], says: str) -> None:
    plan = tmp_path / "plan.yaml"
    plan.write_text(wall())
    arguments = ("--port", "0", *options) if options[0] != "--port" else options
    done = busim("serve", str(plan), *arguments)
    assert done.returncode == 2
    assert says in done.stderr
    assert "Traceback" not in done.stderr


def test_a_session_runs_inside_a_program_of_ones_own(tmp_path: Path) -> None:
    async def work() -> None:
        news: list[str] = []
        async with Live(PLAN, trace=tmp_path / "own.trace", any_port=True, news=news.append) as live:
            reader, writer = await asyncio.open_connection(*live.addresses["wall box"])
            writer.write(read_frame(1, BUS_ID))
            assert await asyncio.wait_for(reader.readexactly(7), WITHIN) == value_frame(1, 1)
            live.mark("asked")
            writer.close()
        assert live.report().lines[0].figures["exchanges"].value == 1
        assert news[0].startswith("wall box: client 1 from 127.0.0.1:")

    asyncio.run(work())
    with open_trace(tmp_path / "own.trace") as trace:
        assert trace.head["complete"] == 1
        assert [record[2] for record in trace.records(MARK)] == ["asked"]


def test_a_session_that_fails_raises_a_defect_and_leaves_the_trace_so_far(tmp_path: Path) -> None:
    def broken(_: object) -> None:
        raise ZeroDivisionError("broken part")

    async def work() -> None:
        async with Live(PLAN, trace=tmp_path / "own.trace", any_port=True) as live:
            live.run.world.kernel.at(live.run.world.kernel.now, broken)
            live.mark("before")
            await asyncio.wait_for(live.ended(), WITHIN)

    with pytest.raises(Defect, match="broken part"):
        asyncio.run(work())
    with open_trace(tmp_path / "own.trace") as trace:
        assert trace.head["complete"] == 0


def test_standard_output_that_is_no_longer_read_does_not_stop_it(tmp_path: Path) -> None:
    """A shell pipeline such as `busim serve PLAN 2>&1 | head -1`."""
    plan = tmp_path / "plan.yaml"
    plan.write_text(wall())
    reading, writing = os.pipe()
    process = subprocess.Popen(
        [sys.executable, "-m", "busim", "serve", str(plan), "--port", "0", "--ready", str(tmp_path / "ready.json")],
        stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=writing,
        env={**os.environ, "PYTHONUNBUFFERED": ""},  # or nothing would be left to fail at Python's exit
    )  # fmt: skip
    os.close(writing)
    os.close(reading)
    try:
        wait_for((tmp_path / "ready.json").exists)
        place = json.loads((tmp_path / "ready.json").read_text())["converters"]["wall box"]
        with Client((place["host"], place["port"])) as client:
            client.insist(read_frame(1, BUS_ID), value_frame(1, 1))
    finally:
        process.send_signal(signal.SIGINT)
        assert process.wait(WITHIN) == 0
