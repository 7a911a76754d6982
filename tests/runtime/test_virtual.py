"""Virtual time: asyncio programs, unchanged, against a plan in memory; the clock jumps, and every run is the same."""

from __future__ import annotations

import asyncio
import concurrent.futures
import errno
import socket
import subprocess
import sys
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from places import TESTS
from pymodbus.client import AsyncModbusTcpClient
from pymodbus.framer import FramerType
from serving import read_frame, value_frame
from virtual_halls import BOX, MS, hall, in_loop

from busim.foundation.errors import Defect, UserError
from busim.plan import Plan, read_text
from busim.plan.models import load
from busim.recording.trace import EFFECT, EXCHANGE, INPUT, open_trace
from busim.runtime.clocks import Refused
from busim.runtime.session import Run, Virtual, replay
from busim.runtime.session.compare import recorded_report
from busim.simulator.kernel import Kernel

HOUR = 3600 * 1000 * MS
IRIS = load("zoom-camera").keys["modbus-rtu"]["iris"]


async def ask(reader: asyncio.StreamReader, writer: asyncio.StreamWriter, camera: int) -> bytes:
    """Read its iris, and wait for the 7 bytes of the reply."""
    writer.write(read_frame(camera, IRIS))
    return await reader.readexactly(7)


def iris() -> int:
    return next(one.default for one in load("zoom-camera").parameters if one.name == "iris")


# -- a controller, unchanged --------------------------------------------------------------------------------


async def poll(until: float) -> int:
    """A controller as in pymodbus's documentation, unaware of busim. Returns the number of replies."""
    answered = 0
    loop = asyncio.get_running_loop()
    async with AsyncModbusTcpClient(BOX[0], port=BOX[1], framer=FramerType.RTU, timeout=0.3) as client:
        while loop.time() < until:
            for camera in (1, 2, 3):
                reply = await client.read_holding_registers(100, count=2, device_id=camera)
                assert not reply.isError()
                answered += 1
            await asyncio.sleep(0.9)
    return answered


def test_a_general_modbus_client_polls_a_line_for_a_virtual_hour() -> None:
    session = Virtual(hall())
    answered = session.run(poll, 3600.0)
    assert HOUR <= session.now < HOUR + 2000 * MS
    assert answered > 3 * 3600 * 0.95
    figures = session.report().lines[0].figures
    assert figures["exchanges"].value == answered
    assert figures["damaged"].value == 0


def test_what_the_controller_did_replays_to_the_identical_trace(tmp_path: Path) -> None:
    path = tmp_path / "virtual.busim"
    Virtual(hall(latency="200..900 us"), 7, trace=path).run(poll, 5.0)
    again = replay(path)
    assert again.complete
    assert again.difference is None
    with open_trace(path) as trace:
        inputs = [record[4] for record in trace.records(INPUT)]
        assert trace.head["clock"] == "virtual"
    assert inputs[0] == "open"
    assert inputs[-1] == "close"
    assert inputs.count("bytes") > 10


def test_the_same_seed_gives_the_same_trace_on_the_fast_and_the_virtual_clock_in_any_process(tmp_path: Path) -> None:
    program = """
import asyncio, sys
sys.path.insert(0, sys.argv[1])
from virtual_halls import hall
from busim.runtime.session import Run, Virtual
clock, path, seed = sys.argv[2:]
plan = hall(latency="200..900 us", masters="both")
if clock == "fast":
    run = Run(plan, int(seed), trace=path)
    run.advance(3 * 10**9)
    run.finish()
else:
    async def panels():  # a program of one's own beside it, which asks nothing, changes nothing
        async with asyncio.TaskGroup() as group:
            for number in range(1, 8):
                group.create_task(asyncio.sleep(3 / number))
    Virtual(plan, int(seed), trace=path, play=["controller"]).run(panels)
"""
    prints = {}
    for clock, seed, salt in (("fast", 5, 1), ("virtual", 5, 2), ("virtual", 5, 3), ("virtual", 6, 1)):
        path = tmp_path / f"{clock}{seed}{salt}.busim"
        subprocess.run(
            [sys.executable, "-c", program, str(TESTS), clock, str(path), str(seed)],
            check=True, env={"PYTHONHASHSEED": str(salt)}, timeout=60,
        )  # fmt: skip
        with open_trace(path) as trace:
            assert trace.head["complete"]
            assert sum(1 for _ in trace.records(EXCHANGE)) > 100
            prints[clock, seed, salt] = trace.fingerprint()
    assert prints["fast", 5, 1] == prints["virtual", 5, 2] == prints["virtual", 5, 3]
    assert prints["virtual", 6, 1] != prints["virtual", 5, 2]


@given(pauses=st.lists(st.floats(0, 0.2), min_size=1, max_size=6), cameras=st.lists(st.integers(1, 3), min_size=6))
@settings(max_examples=15, deadline=None)
def test_a_controller_that_pauses_as_it_likes_does_the_same_again(pauses: list[float], cameras: list[int]) -> None:
    async def main() -> list[tuple[float, bytes]]:
        seen = []
        reader, writer = await asyncio.open_connection(*BOX)
        for pause, camera in zip(pauses, cameras, strict=False):
            seen.append((asyncio.get_running_loop().time(), await ask(reader, writer, camera)))
            await asyncio.sleep(0.005 + pause)
        return seen

    plan = hall(latency="200..900 us")
    first, second = Virtual(plan, 3).run(main), Virtual(plan, 3).run(main)
    assert first == second
    assert [reply[1] for reply in first] == [
        value_frame(camera, iris()) for camera, _ in zip(cameras, pauses, strict=False)
    ]


# -- time ---------------------------------------------------------------------------------------------------


def test_time_jumps_and_is_that_of_the_kernel() -> None:
    kernel = Kernel()

    async def main() -> float:
        await asyncio.sleep(86400)
        return asyncio.get_running_loop().time()

    assert in_loop(main, kernel=kernel) == 86400.0
    assert kernel.now == 24 * HOUR


def test_at_one_instant_events_of_the_kernel_come_before_callbacks_and_those_in_the_order_they_were_set() -> None:
    kernel, seen = Kernel(), list[str]()
    kernel.at(5 * MS, seen.append, "kernel")

    async def main() -> None:
        loop = asyncio.get_running_loop()
        for name in "abcdefgh":
            loop.call_at(0.005, seen.append, name)
        await asyncio.sleep(0.004)
        kernel.at(5 * MS, seen.append, "kernel, set later")
        await asyncio.sleep(0.002)

    in_loop(main, kernel=kernel)
    assert seen == ["kernel", "kernel, set later", *"abcdefgh"]


def test_an_event_of_the_kernel_wakes_who_waits_for_it_at_its_instant() -> None:
    kernel = Kernel()

    async def main() -> float:
        future = asyncio.get_running_loop().create_future()
        kernel.at(7, future.set_result)
        await future
        return asyncio.get_running_loop().time()

    assert in_loop(main, kernel=kernel) == 7e-9


@given(st.lists(st.integers(0, 10**15), min_size=1, max_size=8))
@settings(deadline=None)
def test_a_timer_rings_at_the_nanosecond_it_was_set_for(instants: list[int]) -> None:
    kernel = Kernel()
    rung = []

    async def main() -> None:
        loop = asyncio.get_running_loop()
        for at in instants:
            loop.call_at(at / 1e9, lambda: rung.append(kernel.now))
        await asyncio.sleep(10**6)

    in_loop(main, kernel=kernel)
    assert rung == sorted(instants)


@given(st.floats(0, 1e6))
@settings(deadline=None)
def test_a_timer_never_rings_before_its_time_and_at_most_a_nanosecond_after_it(when: float) -> None:
    async def main() -> float:
        loop, rang = asyncio.get_running_loop(), asyncio.get_running_loop().create_future()
        loop.call_at(when, lambda: rang.set_result(loop.time()))
        return float(await rang)

    rang = in_loop(main)
    assert when <= rang <= when + 1.0001e-9


def test_a_cancelled_timer_does_not_hold_time_up() -> None:
    kernel = Kernel()

    async def main() -> None:
        loop = asyncio.get_running_loop()
        for _ in range(1000):
            loop.call_later(5, lambda: None).cancel()
        async with asyncio.timeout(100):
            await asyncio.sleep(1)

    in_loop(main, kernel=kernel)
    assert kernel.now == 1000 * MS


# -- who waits in vain --------------------------------------------------------------------------------------


def test_a_deadlock_is_an_error_that_names_who_waits_and_where() -> None:
    async def main() -> None:
        await asyncio.gather(asyncio.create_task(listen(), name="panel feed"), asyncio.Event().wait())

    async def listen() -> None:
        reader, _ = await asyncio.open_connection(*BOX)
        await reader.readexactly(1)

    with pytest.raises(UserError, match="never comes") as caught:
        Virtual(hall()).run(main)
    assert "panel feed" in str(caught.value.found)
    assert "Task-" in str(caught.value.found)
    assert f"listen ({__file__}:" in str(caught.value.found)
    assert caught.value.mend


def test_who_waits_while_only_the_installation_goes_on_is_told_so() -> None:
    with pytest.raises(UserError, match="nothing reached it in 3600"):
        Virtual(hall(masters="both", every="10 s")).run(asyncio.Event().wait)


def test_a_controller_that_never_ends_is_stopped_at_a_given_instant() -> None:
    async def main() -> None:
        while True:
            await asyncio.sleep(1)

    session = Virtual(hall(), until=10_500 * MS)
    with pytest.raises(UserError, match=r"not ended after 10\.5"), session:
        session.run(main)
    assert session.now == 10_500 * MS


# -- what virtual time does not have ------------------------------------------------------------------------

REFUSED: dict[str, Callable[[Any], Any]] = {
    "add_reader": lambda loop: loop.add_reader(0, print),
    "add_writer": lambda loop: loop.add_writer(0, print),
    "sock_connect": lambda loop: loop.sock_connect(None, BOX),
    "sock_recv": lambda loop: loop.sock_recv(None, 1),
    "sock_sendall": lambda loop: loop.sock_sendall(None, b"x"),
    "sock_accept": lambda loop: loop.sock_accept(None),
    "sock=": lambda loop: loop.create_connection(asyncio.Protocol, sock=socket.socket),
    "a server's sock=": lambda loop: loop.create_server(asyncio.Protocol, sock=socket.socket),
    "ssl=": lambda loop: loop.create_connection(asyncio.Protocol, *BOX, ssl=True),
    "a datagram's sock=": lambda loop: loop.create_datagram_endpoint(asyncio.DatagramProtocol, sock=socket.socket),
    "create_unix_connection": lambda loop: loop.create_unix_connection(asyncio.Protocol, "/tmp/x"),
    "subprocess_exec": lambda _: asyncio.create_subprocess_exec("true"),
    "subprocess_shell": lambda _: asyncio.create_subprocess_shell("true"),
    "run_in_executor": lambda loop: loop.run_in_executor(None, print),
    "to_thread": lambda _: asyncio.to_thread(print),
    "getaddrinfo": lambda loop: loop.getaddrinfo("climbing.example", 80),
    "a name": lambda _: asyncio.open_connection("climbing.example", 80),
    "add_signal_handler": lambda loop: loop.add_signal_handler(2, print),
}


@pytest.mark.parametrize("name", REFUSED)
def test_what_takes_wall_time_is_refused_by_name_with_what_to_use_instead(name: str) -> None:
    async def main() -> None:
        asked = REFUSED[name](asyncio.get_running_loop())
        if isinstance(asked, Awaitable):
            await asked

    with pytest.raises(Refused, match="virtual time has no") as caught:
        in_loop(main)
    assert isinstance(caught.value, UserError)
    assert isinstance(caught.value, NotImplementedError)  # as portable programs expect
    assert caught.value.mend


def test_another_thread_may_not_call_into_the_loop() -> None:
    async def main() -> None:
        loop = asyncio.get_running_loop()
        with concurrent.futures.ThreadPoolExecutor() as threads:
            threads.submit(loop.call_soon_threadsafe, print).result()

    with pytest.raises(Refused, match="threads"):
        in_loop(main)


def test_addresses_need_no_look_up() -> None:
    async def main() -> list[tuple[Any, ...]]:
        loop = asyncio.get_running_loop()
        return [(await loop.getaddrinfo(host, 80))[0][4] for host in ("10.0.0.7", "localhost", "::1")]

    assert in_loop(main) == [("10.0.0.7", 80), ("127.0.0.1", 80), ("::1", 80, 0, 0)]


# -- connections --------------------------------------------------------------------------------------------


def test_a_converter_is_reached_where_it_is_planned_and_where_serve_would_have_it() -> None:
    async def main(host: str) -> bytes:
        return await ask(*await asyncio.open_connection(host, 15001), 2)

    assert {Virtual(hall()).run(main, host) for host in ("198.51.100.48", "127.51.100.48")} == {value_frame(2, iris())}


def test_where_nobody_serves_a_connection_is_refused_as_by_a_socket() -> None:
    async def main() -> float:
        with pytest.raises(ConnectionRefusedError) as caught:
            await asyncio.open_connection("198.51.100.99", 15001)
        assert caught.value.errno == errno.ECONNREFUSED
        return asyncio.get_running_loop().time()

    assert Virtual(hall()).run(main) == 0.0


def test_one_client_too_many_connects_and_is_sent_away_while_the_others_are_served(tmp_path: Path) -> None:
    async def main() -> tuple[bytes, bytes]:
        reader, writer = await asyncio.open_connection(*BOX)
        refused, _ = await asyncio.open_connection(*BOX)
        return await refused.read(), await ask(reader, writer, 1)

    path = tmp_path / "trace.busim"
    assert Virtual(hall(clients=1), trace=path).run(main) == (b"", value_frame(1, iris()))
    with open_trace(path) as trace:
        assert [record[3] for record in trace.records(EFFECT)] == ["clients"]
        assert [record[4] for record in trace.records(INPUT)] == ["open", "open", "bytes", "close"]


# Replies of 35 bytes: the window (64 KiB) and the write buffer of the door (16 KiB) take them, up to the one too many.
# Of those after it the box keeps 8 KB.
@pytest.mark.parametrize(("asked", "kept"), [(2500, 2500), (2600, (65536 + 16384) // 35 + 1 + 8192 // 35)])
def test_a_client_that_does_not_read_stalls_the_converter_for_itself_and_is_replayed(
    tmp_path: Path, asked: int, kept: int
) -> None:
    async def main() -> int:
        loop = asyncio.get_running_loop()
        heard = 0

        class Deaf(asyncio.Protocol):
            def data_received(self, data: bytes) -> None:
                nonlocal heard
                heard += len(data)

        transport, _ = await loop.create_connection(Deaf, *BOX)
        transport.pause_reading()
        reader, writer = await asyncio.open_connection(*BOX)
        for _ in range(asked):
            writer.write(read_frame(1, IRIS, 15))
            await reader.readexactly(35)
        before = heard
        transport.resume_reading()
        await asyncio.sleep(1)
        assert before == 0
        transport.abort()
        return heard

    path = tmp_path / "trace.busim"
    heard = Virtual(hall(), trace=path).run(main)
    assert heard == kept * 35
    with open_trace(path) as trace:
        lost = [record[4] for record in trace.records(EFFECT)]
        assert lost == ["35 bytes lost: client 1 does not read"] * (asked - kept)
        assert [record[4] for record in trace.records(INPUT) if record[4] in ("stall", "ready")] == ["stall", "ready"]
    assert replay(path).difference is None


def test_more_than_the_line_carries_holds_a_controller_back() -> None:
    async def main() -> tuple[float, float]:
        loop = asyncio.get_running_loop()
        _, writer = await asyncio.open_connection(*BOX)
        writer.transport.set_write_buffer_limits(4096, 1024)
        writer.write(b"\xff" * 100_000)
        began = loop.time()
        await writer.drain()
        return began, loop.time()

    began, drained = Virtual(hall()).run(main)
    # Bytes that need not wait: the window (64 KiB), the write buffer's low mark (1 KiB), and the converter's
    # input (2 KiB, and one chunk of 4 KiB). The rest leaves at 11 bits a character.
    rest = 100_000 - 65536 - 1024 - 2048 - 4096
    assert (drained - began) >= rest * 11 / 115200
    assert (drained - began) <= 100_000 * 11 / 115200


def test_a_controller_serves_its_panels_in_the_same_loop() -> None:
    async def serve_panels() -> list[bytes]:
        line = await asyncio.open_connection(*BOX)

        async def panel(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
            writer.write(await ask(*line, (await reader.readexactly(1))[0]))
            writer.close()

        async with await asyncio.start_server(panel, "127.0.0.1", 7000):
            seen = []
            for camera in (1, 3):
                reader, writer = await asyncio.open_connection("localhost", 7000)
                writer.write(bytes([camera]))
                seen.append(await reader.read())
                await asyncio.sleep(0.01)
            return seen

    assert Virtual(hall()).run(serve_panels) == [value_frame(1, iris()), value_frame(3, iris())]


# -- sessions -----------------------------------------------------------------------------------------------


def test_runs_in_one_session_follow_each_other() -> None:
    async def main() -> bytes:
        reply = await ask(*await asyncio.open_connection(*BOX), 1)
        await asyncio.sleep(0.5)
        return reply

    with Virtual(hall(clients=1)) as session:
        assert session.run(main) == session.run(main)  # the first one's client has gone when its loop closed
        session.mark("both done")
        assert 1000 * MS < session.now < 1100 * MS
    assert session.report().length == session.now


def test_a_test_framework_takes_the_loop_factory() -> None:
    with Virtual(hall()) as session, asyncio.Runner(loop_factory=session.loop) as runner:
        reader, writer = runner.run(asyncio.open_connection(*BOX))
        assert runner.run(ask(reader, writer, 3)) == value_frame(3, iris())
        with pytest.raises(UserError, match="two loops"):
            session.loop()


def test_a_session_that_has_not_begun_says_so() -> None:
    with pytest.raises(UserError, match="not begun"):
        Virtual(hall()).loop()


def test_a_session_that_is_over_does_not_begin_again() -> None:
    session = Virtual(hall())
    session.run(asyncio.sleep, 1)
    for again in (session.loop, session.__enter__, lambda: session.run(asyncio.sleep, 1), lambda: session.mark("late")):
        with pytest.raises(UserError, match="over"):
            again()
    assert session.report().length == 1000 * MS


def test_a_session_does_not_begin_inside_a_running_loop() -> None:
    async def main() -> None:
        with pytest.raises(UserError, match="inside a running"):
            Virtual(hall()).run(asyncio.sleep, 1)

    asyncio.run(main())


def test_asyncio_s_debug_mode_changes_nothing() -> None:
    def times(debug: bool) -> float:
        with Virtual(hall()) as session, asyncio.Runner(loop_factory=session.loop, debug=debug) as runner:
            runner.run(poll(2.0))
        return session.now

    assert times(True) == times(False)


def test_a_callback_that_raises_is_reported_as_by_asyncio_s_own_loop() -> None:
    def reported(loop: asyncio.AbstractEventLoop) -> list[tuple[str, str]]:
        said: list[tuple[str, str]] = []
        loop.set_exception_handler(lambda _, what: said.append((what["message"], type(what["exception"]).__name__)))

        def fails() -> None:
            raise LookupError

        loop.call_soon(fails)
        loop.call_later(0.001, fails)
        loop.call_later(0.002, fails).cancel()
        loop.run_until_complete(asyncio.sleep(0.003))
        loop.close()
        return said

    with Virtual(hall()) as session:
        mine = reported(session.loop())
    assert mine == reported(asyncio.new_event_loop())
    assert len(mine) == 2


def test_the_trace_is_complete_also_where_the_controller_fails(tmp_path: Path) -> None:
    async def main() -> None:
        await ask(*await asyncio.open_connection(*BOX), 1)
        raise LookupError("the controller's own")

    path = tmp_path / "trace.busim"
    with pytest.raises(LookupError):
        Virtual(hall(), trace=path).run(main)
    with open_trace(path) as trace:
        assert trace.head["complete"]
    assert replay(path).difference is None


@pytest.mark.parametrize("where", ["event", "input"])
def test_a_bug_of_ours_ends_the_run_as_a_defect_and_leaves_the_trace_marked(
    where: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: object) -> None:
        raise ZeroDivisionError("a bug")

    async def main() -> None:
        _, writer = await asyncio.open_connection(*BOX)
        writer.write(read_frame(1, 100))
        await asyncio.sleep(5)

    part = "clients.Clients._arrive" if where == "event" else "converter_ports.ConverterPort.chunk"
    target = f"busim.simulator.world.{part}"
    monkeypatch.setattr(target, broken)
    path = tmp_path / "trace.busim"
    with pytest.raises(Defect, match="ZeroDivisionError"):
        Virtual(hall(), trace=path).run(main)
    with open_trace(path) as trace:
        assert not trace.head["complete"]


def test_what_is_played_and_unknown_is_refused() -> None:
    with pytest.raises(UserError, match="no master of this name"):
        Virtual(hall(), play=["nobody"])


def test_a_fast_run_and_a_session_have_the_same_figures() -> None:
    plan: Plan = hall(masters="both")
    run = Run(plan, 2)
    run.advance(2000 * MS)
    run.finish()
    session = Virtual(plan, 2, play=["controller"])
    session.run(asyncio.sleep, 2)
    assert session.report().lines == run.report().lines


def test_what_a_plan_expects_is_judged_over_the_time_in_which_the_controller_is_there(tmp_path: Path) -> None:
    async def late() -> None:
        await asyncio.sleep(30)
        reader, writer = await asyncio.open_connection(*BOX)
        for _ in range(100):
            await ask(reader, writer, 1)
            await asyncio.sleep(0.05)
        writer.close()
        await asyncio.sleep(60)

    path = tmp_path / "late.busim"
    bounds = "{figure: poll rate, of: wall low, at_least: 10 Hz}, {figure: age worst, of: wall low, at_most: 0.2 s}"
    session = Virtual(read_text(f"{hall().source}\nexpect: [{bounds}]"), trace=path)
    session.run(late)
    report = session.report()
    assert [verdict.verdict for verdict in report.verdicts] == ["met", "met"]
    with open_trace(path) as trace:
        assert recorded_report(trace).lines == report.lines
    assert replay(path).report.lines == report.lines
