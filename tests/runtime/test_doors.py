"""Any input at a converter's door, empty data included, leaves the session running and its trace replayable."""

from __future__ import annotations

import asyncio
import contextlib
import os
import shutil
import socket
import struct
import sys
import tempfile
import termios
import time
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import Bundle, RuleBasedStateMachine, consumes, invariant, rule
from policy_plans import BUS_ID, FROM_ONE, ONE, Lane, plan_of
from serving import Served, read_frame, value_frame, wait_for
from test_udp import Peer

from busim.foundation.diagnostics import Findings
from busim.plan import read_text
from busim.recording.trace import INPUT
from busim.runtime.clocks import wall_loop
from busim.runtime.session import Live, replay

# -- data that holds nothing ------------------------------------------------------------------------------------------


def test_an_empty_datagram_is_ignored_and_its_sender_is_no_client(tmp_path: Path) -> None:
    with Served(tmp_path, plan_of("{most: 1}", "transport: udp")) as served:
        with Peer(served.address("box")) as empty, Peer(served.address("box")) as one:
            empty.send(b"")
            assert one.ask(ONE) == FROM_ONE
            one.send(b"")
            assert one.ask(ONE) == FROM_ONE
        served.interrupt()
        assert replay(served.trace).difference is None


@pytest.mark.parametrize("transport", ["tcp", "udp"])
async def test_a_box_that_goes_down_before_its_port_is_open_refuses_all_the_same(
    transport: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """On a busy machine the set-up takes longer than the time until the reboot."""
    monkeypatch.setattr("busim.runtime.session.live._LEAD", -3_000_000_000)
    text = plan_of("4", f"transport: {transport}\n    when_down: refuse\n    reboots: [{{at: 2 s, down: 1 h}}]")
    news: list[str] = []
    async with Live(read_text(text), any_port=True, news=news.append) as live:
        assert "box: reboots" in news
        await asyncio.sleep(0)  # a closed transport gives its port back in the next turn of the loop
        assert refused(live.addresses["box"], socket.SOCK_DGRAM if transport == "udp" else socket.SOCK_STREAM)


def refused(address: tuple[str, int], kind: int) -> bool:
    """Whether nothing has this port."""
    with socket.socket(type=kind) as one:
        one.settimeout(5)
        try:
            one.connect(address)
            one.send(ONE)
            one.recv(100)
        except ConnectionRefusedError:
            return True
        except TimeoutError:
            return False
    return False


@pytest.mark.parametrize("more", ["", "rfc2217: applies", "transport: udp"])
@pytest.mark.parametrize("sharing", ["replies-to-all", "arbitrated"])
def test_an_empty_chunk_is_no_input(more: str, sharing: str) -> None:
    lane = Lane(f"{{sharing: {sharing}}}", more)
    lane.open(1)
    lane.box.chunk(1, b"")
    lane.box.take(b"")
    lane.go(10)
    lane.box.chunk(1, ONE)
    lane.go(100)
    assert bytes(lane.got[1]) == FROM_ONE
    assert [record[4:] for record in lane.records if record[0] == INPUT] == [("open", b""), ("bytes", ONE)]


@pytest.mark.parametrize("to", ["network", "line"])
def test_a_keep_alive_without_bytes_is_refused_in_the_plan(to: str) -> None:
    with pytest.raises(Findings) as caught:
        read_text(plan_of(f'{{keep_alive: {{every: 10 s, bytes: "", to: {to}}}}}'))
    (finding,) = caught.value.findings
    assert finding.field == "converters[0].clients.keep_alive.bytes"
    assert "no bytes" in finding.what


@pytest.mark.parametrize(
    ("more", "field"),
    [
        ('clients: {keep_alive: {every: 1 us, bytes: "00"}}', "converters[0].clients.keep_alive.every"),
        ("dials: 198.51.100.5:4000\n    redial: 0", "converters[0].redial"),
    ],
)
def test_what_a_converter_does_by_itself_has_a_shortest_time(more: str, field: str) -> None:
    """A box that redials without a pause would use up the machine."""
    text = plan_of("4", more).replace("clients: 4\n    clients:", "clients:")
    with pytest.raises(Findings) as caught:
        read_text(text)
    (finding,) = caught.value.findings
    assert finding.field == field
    assert " ms to " in (finding.expected or "")


# -- clients are bounded as at a real box -----------------------------------------------------------------------------


def test_a_client_cannot_hand_over_much_more_than_the_line_carries(tmp_path: Path) -> None:
    """A box has a few kB of input buffer; the rest stays in the client's own system."""
    with Served(tmp_path, plan_of("4")) as served, socket.create_connection(served.address("box")) as client:
        client.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, 4096)
        client.settimeout(0.5)
        sent = 0
        with contextlib.suppress(TimeoutError):
            while sent < 1_000_000:
                sent += client.send(bytes(4096))
        assert sent < 100_000
        served.interrupt()


@pytest.mark.skipif(sys.platform != "linux", reason="an end is seen through the pause where poll tells of it")
@pytest.mark.parametrize("broken", [False, True])
def test_the_end_of_a_client_is_noticed_while_it_has_to_pause(tmp_path: Path, broken: bool) -> None:
    """7000 characters take 8 s at 9600 Bd in 8E1; the sender's slot is free long before."""
    with Served(tmp_path, plan_of("1").replace("38400 Bd", "9600 Bd")) as served:
        with socket.create_connection(served.address("box")) as client:
            client.sendall(bytes(7000))
            wait_for(lambda: "connected" in served.errors())
            if broken:
                client.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
        begun = time.monotonic()
        wait_for(lambda: "client 1 gone" in served.errors())
        assert time.monotonic() - begun < 2.5  # what was read is half gone after 3.5 s
        served.interrupt()
        assert replay(served.trace).difference is None


# -- every kind of input at every kind of door ------------------------------------------------------------------------

_BOX = """
  - name: {name}
    endpoint: 198.51.100.{number}:15001
    latency: 500 us
    {more}"""
_LINE = """
  - name: {name} line
    baud: 115200 Bd
    format: 8E1
    protocol: modbus-rtu
    order: [{{converter: {name}}}, {{camera: {name} camera, after: 5 m}}]"""
BOXES = {
    "refusing": "clients: {most: 2, hold_slot: 50 ms, greeting: '48 49', stale: 16}",
    "dropping": "clients: {most: 1, when_full: drop-oldest, keep_alive: {every: 20 ms, bytes: '00', to: line}}",
    "ignoring": "clients: {most: 1, when_full: accept-and-ignore, idle_close: 30 ms, idle_way: ignore}",
    "settable": "rfc2217: applies\n    clients: {keep_alive: {every: 20 ms}}",
    "arbitrated": "clients: {sharing: arbitrated}\n    reboots: [{at: 300 ms, down: 50 ms}]",
    "datagrams": "transport: udp\n    clients: {most: 1, when_full: drop-oldest, idle_close: 30 ms}",
    "packets": "transport: udp\n    clients: {sharing: arbitrated, keep_alive: {every: 20 ms, to: line}}",
    "quiet": "clients: 1",
}
PLAN = f"""
busim: 1
name: doors
lines:{"".join(_LINE.format(name=name) for name in BOXES)}
converters:{"".join(_BOX.format(name=name, number=44 + n, more=more) for n, (name, more) in enumerate(BOXES.items()))}
cameras:{"".join(f"{chr(10)}  - {{name: {name} camera, bus_id: 1, turnaround: 1 ms}}" for name in BOXES)}
"""
UDP = [name for name, more in BOXES.items() if "udp" in more]
TCP = [name for name in BOXES if name not in UDP and name != "quiet"]

_TELNET = st.lists(
    st.sampled_from([b"\xff", b"\xfa", b"\xf0", b"\x2c", b"\xfb", b"\xfd", b"\x05", b"\x01", b"\x00\x00\x00\x4b"]),
    max_size=12,
).map(b"".join)
DATA = st.one_of(
    st.just(b""), st.just(ONE), st.binary(max_size=80), _TELNET, st.just(b"\xff\xfb\x2c\xff\xfd\x2c"),
    st.integers(1, 3).map(lambda many: many * ONE), st.integers(1000, 70_000).map(bytes),
)  # fmt: skip


class Doors(RuleBasedStateMachine):
    """A session in wall time with any input at its doors, in any order, from plain sockets."""

    clients = Bundle("clients")
    ports = Bundle("ports")

    def __init__(self) -> None:
        super().__init__()
        self.folder = Path(tempfile.mkdtemp(prefix="doors-"))
        self.trace = self.folder / "doors.trace"
        self.runner = asyncio.Runner(loop_factory=wall_loop)
        pty = self.folder / "ports" if sys.platform == "linux" else None
        self.live = Live(read_text(PLAN), trace=self.trace, any_port=True, pty=pty)
        self.runner.run(self.live.__aenter__())
        self.over = self.runner.get_loop().create_task(self.live.ended())
        self.peer = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self.peer.bind(("127.0.0.1", 0))
        self.peer.setblocking(False)
        self.open: list[socket.socket] = [self.peer]

    def turn(self, seconds: float = 0.002) -> None:
        self.runner.run(asyncio.sleep(seconds))

    @rule(target=clients, box=st.sampled_from(TCP))
    def connect(self, box: str) -> socket.socket:
        client = socket.create_connection(self.live.addresses[box], timeout=5)
        client.setblocking(False)
        self.open.append(client)
        self.turn()
        return client

    @rule(client=clients, data=DATA)
    def send(self, client: socket.socket, data: bytes) -> None:
        with contextlib.suppress(OSError):
            client.send(data)

    @rule(client=clients)
    def read(self, client: socket.socket) -> None:
        with contextlib.suppress(OSError):
            client.recv(100_000)

    @rule(client=clients)
    def say_no_more(self, client: socket.socket) -> None:
        with contextlib.suppress(OSError):
            client.shutdown(socket.SHUT_WR)

    @rule(client=consumes(clients), broken=st.booleans())
    def leave(self, client: socket.socket, broken: bool) -> None:
        if broken:
            client.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
        client.close()

    @rule(box=st.sampled_from(UDP), data=DATA)
    def send_datagram(self, box: str, data: bytes) -> None:
        self.peer.sendto(data[:65_507], self.live.addresses[box])

    @rule(box=st.sampled_from(UDP), data=DATA)
    def send_datagram_from_elsewhere(self, box: str, data: bytes) -> None:
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as other:
            other.sendto(data[:65_507], self.live.addresses[box])

    if sys.platform == "linux":

        @rule(target=ports, box=st.sampled_from(TCP + UDP))
        def open_port(self, box: str) -> int:
            port = os.open(self.live.ptys[box], os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
            self.turn(0.03)
            return port

        @rule(port=ports, data=DATA)
        def write_port(self, port: int, data: bytes) -> None:
            with contextlib.suppress(OSError):
                os.write(port, data)

        @rule(port=ports, baud=st.sampled_from([termios.B0, termios.B50, termios.B9600, termios.B115200]))
        def set_port(self, port: int, baud: int) -> None:
            flags = termios.tcgetattr(port)
            flags[4] = flags[5] = baud
            termios.tcsetattr(port, termios.TCSANOW, flags)

        @rule(port=consumes(ports))
        def close_port(self, port: int) -> None:
            os.close(port)

    @rule(seconds=st.sampled_from([0.0, 0.005, 0.05]))
    def wait(self, seconds: float) -> None:
        self.turn(seconds)

    @invariant()
    def it_goes_on(self) -> None:
        self.turn()
        assert not self.over.done()

    def teardown(self) -> None:
        """Other clients are served as before, and the trace replays identically."""
        try:
            self.runner.run(asyncio.wait_for(self.somebody_else(), 5))
            self.over.cancel()
            self.runner.run(self.live.__aexit__(None, None, None))
            assert replay(self.trace).difference is None
        finally:
            for client in self.open:
                client.close()
            self.runner.close()
            shutil.rmtree(self.folder)

    async def somebody_else(self) -> None:
        reader, writer = await asyncio.open_connection(*self.live.addresses["quiet"])
        writer.write(read_frame(1, BUS_ID))
        reply = value_frame(1, 1)
        assert await reader.readexactly(len(reply)) == reply
        writer.close()


Doors.TestCase.settings = settings(
    max_examples=4, stateful_step_count=40, deadline=None, suppress_health_check=list(HealthCheck)
)
TestDoors = Doors.TestCase


@pytest.mark.long
@pytest.mark.timeout(1800)
def test_many_times_whatever_comes_to_a_door_the_session_goes_on_and_replays() -> None:
    class Many(Doors):
        pass

    Many.TestCase.settings = settings(
        max_examples=400, stateful_step_count=60, deadline=None, suppress_health_check=list(HealthCheck)
    )
    Many.TestCase().runTest()
