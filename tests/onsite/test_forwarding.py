"""A tap passes on what comes, as it comes: bytes, ends and resets; faults only when asked for."""

from __future__ import annotations

import asyncio
import os
import signal
import socket
import struct
import subprocess
import sys
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager, suppress
from pathlib import Path

import pytest
from lines import terminal
from serving import WITHIN, Client, read_frame, value_frame
from typer.testing import CliRunner

from busim.cli.app import app
from busim.foundation.errors import Defect, UserError
from busim.onsite.tapping import Observer, ReplyFaults, SerialEnd, Tap, TapBeside
from busim.protocols import ModbusRtu
from busim.recording.trace import BURST, EXCHANGE, open_trace

Serve = Callable[[asyncio.StreamReader, asyncio.StreamWriter], Awaitable[None]]
NOWHERE = ("127.0.0.1", 1)  # nothing listens at port 1


async def echo(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    """Sends everything back, and ends when its client has ended."""
    while data := await reader.read(4096):
        writer.write(data)
    writer.close()


@asynccontextmanager
async def box(serve: Serve = echo) -> AsyncIterator[tuple[str, int]]:
    """Something that listens where a converter would."""
    server = await asyncio.start_server(serve, "127.0.0.1", 0)
    try:
        yield server.sockets[0].getsockname()
    finally:
        server.close()


@asynccontextmanager
async def tap_before(serve: Serve = echo) -> AsyncIterator[tuple[Tap, Observer, list[str]]]:
    news: list[str] = []
    observer = Observer(None, None)
    async with box(serve) as at, Tap(("127.0.0.1", 0), at, observer, news.append) as tap:
        yield tap, observer, news


async def test_a_megabyte_passes_unchanged_though_its_reader_is_slow() -> None:
    data = bytes(range(256)) * 4096
    async with tap_before() as (tap, observer, _):
        reader, writer = await asyncio.open_connection(*tap.address)
        writer.write(data)
        writer.write_eof()
        got = b""
        while piece := await asyncio.wait_for(reader.read(1000), WITHIN):
            got += piece
        assert got == data
        assert observer.passed == [len(data), len(data)]
        writer.close()


async def test_the_converter_may_still_answer_after_the_controller_has_ended() -> None:
    async def answers_at_the_end(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writer.write(str(len(await reader.read())).encode())
        writer.close()

    async with tap_before(answers_at_the_end) as (tap, _, _):
        reader, writer = await asyncio.open_connection(*tap.address)
        writer.write(b"12345")
        writer.write_eof()
        assert await asyncio.wait_for(reader.read(), WITHIN) == b"5"
        writer.close()


async def test_a_reset_of_the_converter_reaches_the_controller() -> None:
    async def resets(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await reader.read(1)
        at_once = struct.pack("ii", 1, 0)
        writer.get_extra_info("socket").setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, at_once)
        writer.transport.abort()

    async with tap_before(resets) as (tap, _, news):
        reader, writer = await asyncio.open_connection(*tap.address)
        writer.write(b"x")
        with pytest.raises(ConnectionResetError):
            await asyncio.wait_for(reader.readexactly(1), WITHIN)
        writer.close()
        assert any("reset" in text or "closed" in text for text in news)


async def test_a_converter_that_is_not_there_costs_the_controller_its_connection() -> None:
    news: list[str] = []
    async with Tap(("127.0.0.1", 0), NOWHERE, Observer(None, None), news.append) as tap:
        reader, writer = await asyncio.open_connection(*tap.address)
        with pytest.raises((ConnectionResetError, asyncio.IncompleteReadError)):
            await asyncio.wait_for(reader.readexactly(1), WITHIN)
        writer.close()
    assert any("cannot be reached" in text for text in news)


# -- faults -------------------------------------------------------------------------------------------------


async def test_no_reply_is_touched_until_a_fault_is_asked_for_and_then_as_asked() -> None:
    async with tap_before() as (tap, observer, _):
        reader, writer = await asyncio.open_connection(*tap.address)

        async def ask() -> bytes:
            writer.write(b"abcd")
            return await asyncio.wait_for(reader.readexactly(4), WITHIN)

        assert [await ask() for _ in range(20)] == [b"abcd"] * 20
        assert observer.effects == {}
        tap.faults.set("damaged-reply 100 %")
        damaged = await ask()
        assert sum((one ^ other).bit_count() for one, other in zip(damaged, b"abcd", strict=True)) == 1
        tap.faults.set("off")
        tap.faults.set("late-reply 1 ms")
        assert await ask() == b"abcd"
        tap.faults.set("off")
        assert await ask() == b"abcd"
        tap.faults.set("lost-reply 100 %")
        writer.write(b"gone")
        while observer.effects.get("lost-reply", 0) < 1:
            await asyncio.sleep(0)
        tap.faults.set("off")
        assert await ask() == b"abcd"
        assert observer.effects == {"damaged-reply": 1, "late-reply": 1, "lost-reply": 1}
        tap.drop()
        with pytest.raises((ConnectionResetError, asyncio.IncompleteReadError)):
            await asyncio.wait_for(reader.readexactly(1), WITHIN)
        writer.close()


@pytest.mark.parametrize("line", ["", "late", "late-reply", "late-reply 20 s", "late-reply 0 ms", "lost-reply", "x 1 %",
                                  "lost-reply 0 %", "lost-reply 101 %", "damaged-reply nan %"])  # fmt: skip
def test_a_line_that_is_no_fault_says_what_is_one(line: str) -> None:
    faults = ReplyFaults()
    with pytest.raises(UserError):
        faults.set(line)
    assert faults.on == {}


# -- in a process of its own --------------------------------------------------------------------------------


@asynccontextmanager
async def beside(at: tuple[str, int], observer: Observer) -> AsyncIterator[tuple[TapBeside, list[str]]]:
    said: list[str] = []
    async with TapBeside(("127.0.0.1", 0), at, observer, said.append, said.append) as tap:
        yield tap, said


async def test_the_process_beside_forwards_and_what_passed_is_all_told_at_the_end() -> None:
    observer = Observer(ModbusRtu(), None)

    async def camera(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        while await reader.read(64):
            writer.write(value_frame(3, 7))

    async with box(camera) as at, beside(at, observer) as (tap, said):
        reader, writer = await asyncio.open_connection(*tap.address)
        for _ in range(50):
            writer.write(read_frame(3, 1))
            assert await asyncio.wait_for(reader.readexactly(7), WITHIN) == value_frame(3, 7)
        tap.do("nonsense")
        while not any("not done" in text for text in said):
            await asyncio.sleep(0.01)
        writer.close()
    assert observer.watched.cameras[3].outcomes == {"ok": 50}


async def test_a_process_beside_that_is_killed_is_an_error_and_what_passed_is_kept() -> None:
    observer = Observer(None, None)

    async def killed(at: tuple[str, int]) -> None:
        async with beside(at, observer) as (tap, _):
            reader, writer = await asyncio.open_connection(*tap.address)
            writer.write(b"abcd")
            assert await asyncio.wait_for(reader.readexactly(4), WITHIN) == b"abcd"
            while observer.passed != [4, 4]:
                await asyncio.sleep(0.01)
            os.kill(tap.pid, signal.SIGKILL)
            await asyncio.wait_for(tap.over, WITHIN)
            writer.close()

    async with box() as at:
        with pytest.raises(Defect, match="forwards"):
            await killed(at)
    assert observer.passed == [4, 4]


async def test_a_port_that_is_taken_is_said_before_anything_is_forwarded() -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken, pytest.raises(UserError, match="nothing can listen"):
        async with TapBeside(taken.getsockname(), NOWHERE, Observer(None, None), print, print):
            pass


# -- the command --------------------------------------------------------------------------------------------


def test_without_a_terminal_and_without_yes_nothing_is_opened() -> None:
    done = CliRunner().invoke(app, ["tap", "127.0.0.1:0", "socket://127.0.0.1:1"])
    assert isinstance(done.exception, UserError)
    assert "nobody is there to agree" in str(done.exception)


@pytest.mark.parametrize(("listen", "target"), [("here", "socket://127.0.0.1:1"), ("127.0.0.1:0", "/dev/ttyUSB0")])
def test_a_place_where_no_tap_can_stand_is_refused(listen: str, target: str) -> None:
    done = CliRunner().invoke(app, ["tap", listen, target, "--yes"])
    assert isinstance(done.exception, UserError)


def test_ctrl_c_ends_the_tap_with_a_complete_trace_of_all_that_passed(tmp_path: Path) -> None:
    path = tmp_path / "tap.busim"
    listening = socket.create_server(("127.0.0.1", 0))
    target = f"socket://127.0.0.1:{listening.getsockname()[1]}"
    command = [sys.executable, "-m", "busim", "tap", "127.0.0.1:0", target, "--yes", "--faults", "--trace", str(path)]
    with listening, subprocess.Popen(command, stdout=subprocess.PIPE, stdin=subprocess.PIPE, text=True) as tap:
        assert tap.stdout is not None
        assert tap.stdin is not None
        address = tap.stdout.readline().split(";")[0].rpartition(" ")[2].rpartition(":")
        with Client((address[0], int(address[2]))) as client:
            line = listening.accept()[0]
            for number in range(20):
                client.socket.sendall(read_frame(3, number))
                assert line.recv(8, socket.MSG_WAITALL) == read_frame(3, number)
                line.sendall(value_frame(3, number))
                assert client.hear(7) == value_frame(3, number)
            tap.send_signal(signal.SIGINT)
            said = tap.stdout.read()
            line.close()
        assert tap.wait(WITHIN) == 0
    assert "160 bytes to the line, 140 from it" in said
    with open_trace(path) as trace:
        assert trace.head["complete"] == 1
        assert len(list(trace.records(BURST))) == 40
        assert [row[12] for row in trace.records(EXCHANGE)] == ["ok"] * 20


# -- serial ports ---------------------------------------------------------------------------------------------------


async def got(descriptor: int, count: int) -> bytes:
    """So many bytes of a port that the test holds."""
    data, arrived = b"", asyncio.Event()
    os.set_blocking(descriptor, False)  # a read that blocks would hold up the tap, which runs in this loop
    loop = asyncio.get_running_loop()
    loop.add_reader(descriptor, arrived.set)
    try:
        while len(data) < count:
            await asyncio.wait_for(arrived.wait(), WITHIN)
            arrived.clear()  # it may be set once more for bytes that were read already
            with suppress(BlockingIOError):
                data += os.read(descriptor, count - len(data))
    finally:
        loop.remove_reader(descriptor)
    return data


async def test_a_tap_stands_between_a_program_and_its_serial_port(tmp_path: Path) -> None:
    observer, news = Observer(ModbusRtu(), None), list[str]()
    link = tmp_path / "desk"
    ask, reply = read_frame(1, 3), value_frame(1, 700)
    with terminal() as (device, path):
        async with Tap(str(link), SerialEnd(path, 38400, "8N1", "hardware"), observer, news.append) as tap:
            assert tap.address == (str(link), 0)
            for _ in range(2):  # a program opens the port, and another one after it
                program = os.open(link, os.O_RDWR | os.O_NOCTTY)
                os.write(program, ask)
                assert await got(device, len(ask)) == ask
                os.write(device, reply)
                assert await got(program, len(reply)) == reply
                os.close(program)
        assert not link.is_symlink()
    assert observer.watched.cameras[1].outcomes == {"ok": 2}


async def test_a_serial_port_that_vanishes_ends_the_controller_s_connection() -> None:
    news = list[str]()
    with terminal() as (device, path):
        end = SerialEnd(path, 38400, "8N1", "hardware")
        async with Tap(("127.0.0.1", 0), end, Observer(None, None), news.append) as tap:
            reader, writer = await asyncio.open_connection(*tap.address)
            writer.write(b"x")
            assert await got(device, 1) == b"x"
            os.close(device)
            with pytest.raises(ConnectionResetError):
                assert await asyncio.wait_for(reader.read(), WITHIN) != b""
            writer.close()


async def test_a_serial_port_that_is_not_there_is_told(tmp_path: Path) -> None:
    news = list[str]()
    end = SerialEnd(str(tmp_path / "none"), 38400, "8N1", "hardware")
    async with Tap(("127.0.0.1", 0), end, Observer(None, None), news.append) as tap:
        reader, writer = await asyncio.open_connection(*tap.address)
        with pytest.raises(ConnectionResetError):
            await asyncio.wait_for(reader.read(), WITHIN)
        writer.close()
    assert any("cannot be reached" in one for one in news)


async def test_a_pseudo_terminal_is_not_put_over_a_file(tmp_path: Path) -> None:
    (tmp_path / "desk").write_text("a plan")
    with pytest.raises(OSError, match="exists"):
        async with Tap(str(tmp_path / "desk"), NOWHERE, Observer(None, None)):
            pass
    assert (tmp_path / "desk").read_text() == "a plan"


@pytest.mark.parametrize("options", [(), ("--baud", "38400", "--format", "8N1", "--direction", "rts")])
def test_a_tap_at_a_serial_port_needs_its_settings_and_a_driver_that_switches_itself(options: tuple[str, ...]) -> None:
    done = CliRunner().invoke(app, ["tap", "pty:desk", "/dev/ttyUSB9", "--yes", *options])
    assert isinstance(done.exception, UserError)
    assert not Path("desk").is_symlink()
