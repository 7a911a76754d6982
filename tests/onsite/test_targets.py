"""Targets: named, asked for, opened, and clear about what goes wrong with them."""

from __future__ import annotations

import contextlib
import os
import queue
import socket
import termios
import threading
from contextlib import ExitStack
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
import serial
import serial.rfc2217
import serial.rs485
from fake_devices import Port
from lines import BAUD, FORMAT, terminal, tool_on, world_links
from virtual_halls import MS, hall

from busim.cli.real_line import agree
from busim.foundation.errors import UserError
from busim.foundation.units import CharFormat
from busim.onsite.targets import Link, OtherMaster, RealTool, Target, adapter_of, dangers, open_target, parse_target
from busim.onsite.targets.direction import switch
from busim.onsite.targets.opening import _UNREAD, _Rfc2217
from busim.plan import read_text
from busim.plan.models import load
from busim.protocols import READ, Request

WITHIN = 20  # seconds that anything here may take on a busy machine
PLAIN = CharFormat.parse("8N1")
IRIS = load("zoom-camera").keys["modbus-rtu"]["iris"]
DEFAULT = next(one.default for one in load("zoom-camera").parameters if one.name == "iris")


@pytest.mark.parametrize(
    ("text", "kind", "where"),
    [
        ("socket://192.0.2.10:4001", "socket", "192.0.2.10:4001"),
        ("rfc2217://[::1]:4001/", "rfc2217", "[::1]:4001"),
        ("/dev/ttyUSB0", "port", "/dev/ttyUSB0"),
    ],
)
def test_a_target_is_a_box_or_a_serial_port(text: str, kind: str, where: str) -> None:
    target = parse_target(text)
    assert (target.kind, target.where, target.remote) == (kind, where, kind != "port")


@pytest.mark.parametrize(
    "text", ["", "http://192.0.2.10:80", "socket://192.0.2.10", "socket://:4001", "socket://a:b", "socket://a:99999",
             "socket://a:1/x", "socket://a:1?logging=debug", "socket://me@a:1", "loop://", "a\nb"],
)  # fmt: skip
def test_what_is_no_target_is_refused(text: str) -> None:
    with pytest.raises(UserError, match="not a target"):
        parse_target(text)


def test_what_opening_does_is_said_for_each_kind() -> None:
    assert "may evict the show's controller" in " ".join(dangers(parse_target("socket://a:1")))
    assert "sets baud and format" in " ".join(dangers(parse_target("rfc2217://a:1")))
    said = " ".join(dangers(parse_target("/dev/ttyUSB0")))
    assert "enables the driver" in said
    assert "people, hands" in said
    assert "for each message" in " ".join(dangers(parse_target("/dev/ttyUSB0"), "rts"))


def test_without_a_terminal_and_without_yes_nothing_goes_on(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(UserError, match="nobody is there to agree"):
        agree(["This evicts the controller."], yes=False)
    agree(["This evicts the controller."], yes=True)
    assert capsys.readouterr().err.count("This evicts the controller.") == 2


def test_a_port_carries_every_value_both_ways_and_stamps_arrivals() -> None:
    every = bytes(range(256))
    with terminal() as (ours, path), open_target(parse_target(path), BAUD, PLAIN) as link:
        since = link.send(every)
        assert os.read(ours, 300) == every
        os.write(ours, every)
        heard = link.hear(10**10, enough=lambda packet: packet.at if packet.data.endswith(b"\xff") else None)
        assert heard.data == every
        assert since <= heard.since <= heard.packets[0].at <= heard.packets[-1].at <= heard.until


def test_a_pseudo_terminal_says_that_it_has_no_parity() -> None:
    with terminal() as (_, path), open_target(parse_target(path), BAUD, FORMAT) as link:
        assert "8E1 is assumed, not set" in link.notes[0]


def test_a_port_that_another_program_has_is_refused() -> None:
    with terminal() as (_, path), open_target(parse_target(path), BAUD, PLAIN), \
            pytest.raises(UserError, match="another program has this port"):  # fmt: skip
        open_target(parse_target(path), BAUD, PLAIN)


def test_a_port_that_vanishes_is_named() -> None:
    with terminal() as (ours, path), open_target(parse_target(path), BAUD, PLAIN) as link:
        os.close(ours)
        with pytest.raises(UserError, match="the target is gone: /dev/pts"):
            link.hear(10**10)
        with pytest.raises(UserError, match="the target is gone"):
            link.send(b"\x00")


def test_a_port_that_takes_no_bytes_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("busim.onsite.targets.opening.WRITE", 0.05)
    with terminal() as (_, path), open_target(parse_target(path), BAUD, PLAIN) as link, \
            pytest.raises(UserError, match="takes no"):  # fmt: skip
        link.send(bytes(100_000))  # nobody reads the other end


def test_what_is_not_there_is_refused(tmp_path: Path) -> None:
    (tmp_path / "file").write_bytes(b"")
    for path in ("none", "file", "."):
        with pytest.raises(UserError, match="the serial port cannot be used") as caught:
            open_target(parse_target(str(tmp_path / path)), BAUD, PLAIN)
        assert "Errno" not in str(caught.value)
    with socket.create_server(("127.0.0.1", 0)) as server:
        port = server.getsockname()[1]
    with pytest.raises(UserError, match="the box cannot be reached"):
        open_target(parse_target(f"socket://127.0.0.1:{port}"), BAUD, PLAIN)


def test_a_box_that_resets_is_named() -> None:
    with ExitStack() as stack, socket.create_server(("127.0.0.1", 0)) as server:
        link = open_target(parse_target(f"socket://127.0.0.1:{server.getsockname()[1]}"), BAUD, FORMAT)
        stack.enter_context(link)
        assert "assumed, not set" in link.notes[0]
        box, _ = server.accept()
        box.sendall(b"\x01\x02")
        heard = link.hear(10**10, enough=lambda packet: packet.at)
        assert heard.data in (b"\x01", b"\x01\x02")
        box.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, b"\x01\x00\x00\x00\x00\x00\x00\x00")
        box.close()
        with pytest.raises(UserError, match="the target is gone"):
            link.hear(10**10)


def test_a_rate_that_is_no_whole_number_and_a_direction_that_a_box_has_itself_are_refused() -> None:
    with pytest.raises(UserError, match="whole baud rates"):
        open_target(Target("x", "port", "x"), Fraction(1, 3), PLAIN)
    with pytest.raises(UserError, match="switches the driver"):
        open_target(parse_target("socket://127.0.0.1:1"), BAUD, PLAIN, direction="rts")


@pytest.mark.parametrize(
    ("direction", "said"), [("kernel", "neither an RS-485 mode nor an RTS line"), ("rts", "no RTS line")]
)
def test_a_port_that_can_enable_no_driver_is_refused(direction: str, said: str) -> None:
    """A pseudo-terminal has neither: ENOTTY to TIOCSRS485 and to TIOCMBIC (asked of the kernel here)."""
    with terminal() as (_, path), pytest.raises(UserError, match=said) as told:
        open_target(parse_target(path), BAUD, PLAIN, direction=direction)
    assert "--direction hardware" in str(told.value)


def test_where_a_driver_has_no_rs_485_mode_rts_does_it_and_the_user_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """The kernel refuses TIOCSRS485 on a pseudo-terminal (ENOTTY); its RTS line is a stand-in."""
    seen: list[bool] = []
    monkeypatch.setattr(serial.Serial, "_update_rts_state", lambda self: seen.append(self._rts_state))
    with terminal() as (ours, path):
        with open_target(parse_target(path), BAUD, PLAIN, direction="kernel") as link:
            assert "has no RS-485 mode (TIOCSRS485): RTS enables it" in link.notes[0]
            seen.clear()
            link.send(b"\x55")
            link.set(9600)
        assert os.read(ours, 1) == b"\x55"
    assert seen == [True, False]


def test_the_kernel_s_rs_485_mode_is_asked_of_the_driver(monkeypatch: pytest.MonkeyPatch) -> None:
    """TIOCSRS485 is 0x542F, and SER_RS485_ENABLED its first flag (Linux, include/uapi/linux/serial.h)."""
    seen = []
    with terminal() as (_, path), serial.rs485.RS485(path) as port:
        monkeypatch.setattr("fcntl.ioctl", lambda _, code, buffer: seen.append((code, buffer[0])))
        switch(port, "kernel")
        monkeypatch.undo()
    assert [code for code, flags in seen if flags & 1] == [0x542F]


def test_rts_goes_up_for_each_message_and_down_after_it(monkeypatch: pytest.MonkeyPatch) -> None:
    seen: list[object] = []
    monkeypatch.setattr(serial.Serial, "_update_rts_state", lambda self: seen.append(self._rts_state))
    with terminal() as (ours, path), open_target(parse_target(path), BAUD, PLAIN, direction="rts") as link:
        seen.clear()
        monkeypatch.setattr(serial.Serial, "rts", property(None, lambda _, on: seen.append(on)))
        monkeypatch.setattr(serial.Serial, "setRTS", lambda _, on=True: seen.append(on))
        before = serial.Serial.write
        monkeypatch.setattr(serial.Serial, "write", lambda self, b: (seen.append(bytes(b)), before(self, b))[1])
        link.send(b"\x55")
        assert os.read(ours, 1) == b"\x55"
    assert seen == [True, b"\x55", False]


def test_a_port_that_says_another_rate_than_it_was_given_is_doubted(monkeypatch: pytest.MonkeyPatch) -> None:
    def lying(descriptor: int) -> list[object]:
        flags = tcgetattr(descriptor)
        flags[4] = flags[5] = termios.B9600
        return flags

    tcgetattr = termios.tcgetattr
    with terminal() as (_, path):
        monkeypatch.setattr(termios, "tcgetattr", lying)
        with open_target(parse_target(path), BAUD, PLAIN) as link:
            assert "says that it has another rate" in " ".join(link.notes)


def test_a_target_that_never_stops_sending_fills_no_memory(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("busim.onsite.targets.link._MOST", 1000)

    class Endless(Port):
        in_waiting = 0

        def read(self, size: int = 1) -> bytes:
            self.now += 1000
            return bytes(size)

    port = Endless(lambda _: b"")
    shown: Any = port
    heard = Link(shown, "endless", clock=lambda: port.now).hear(10 * MS)
    assert heard.flooded
    assert len(heard.data) == 1000


def test_a_box_over_rfc_2217_that_does_not_speak_it_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    def refused(*_: object) -> None:
        raise serial.SerialException("Remote does not seem to support RFC2217 or BINARY mode")

    monkeypatch.setattr(serial.rfc2217.Serial, "open", refused)
    with pytest.raises(UserError, match="cannot be used over RFC 2217") as caught:
        open_target(parse_target("rfc2217://192.0.2.1:4001"), BAUD, PLAIN)
    assert "socket://192.0.2.1:4001" in (caught.value.mend or "")


def test_a_box_over_rfc_2217_that_is_not_there_is_said_so() -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:
        port = server.getsockname()[1]
    with pytest.raises(UserError, match="the box cannot be reached"):
        open_target(parse_target(f"rfc2217://127.0.0.1:{port}"), BAUD, PLAIN)


def test_a_box_over_rfc_2217_that_never_stops_sending_has_to_wait_and_can_be_left() -> None:
    ours, theirs = socket.socketpair()
    with ours, theirs:
        theirs.settimeout(WITHIN)
        port: Any = _Rfc2217(None, timeout=WITHIN)
        port._socket, port.is_open = ours, True
        waiting = port._read_buffer = queue.Queue[bytes]()
        port._thread = thread = threading.Thread(target=port._telnet_read_loop)
        thread.start()
        flood = threading.Thread(target=_send_for_ever, args=(theirs,))
        flood.start()
        while not waiting.full():
            assert thread.is_alive()
        assert waiting.qsize() == _UNREAD
        assert port.read(2 * _UNREAD) == bytes(2 * _UNREAD)  # the line goes on as it is read
        port.close()
        assert not thread.is_alive()
        flood.join()


def _send_for_ever(box: socket.socket) -> None:
    with contextlib.suppress(OSError):
        while True:
            box.sendall(bytes(1 << 16))


def test_bytes_that_are_no_telnet_end_the_reading_without_a_traceback(monkeypatch: pytest.MonkeyPatch) -> None:
    """IAC SE without SB (RFC 855), on which pyserial 3.5 raises TypeError in its thread."""
    seen: list[object] = []
    monkeypatch.setattr(threading, "excepthook", seen.append)
    ours, theirs = socket.socketpair()
    with ours, theirs:
        port: Any = _Rfc2217(None)
        port._socket, port.is_open, port._read_buffer = ours, True, queue.Queue()
        theirs.sendall(b"\xff\xf0")
        reader = threading.Thread(target=port._telnet_read_loop)
        reader.start()
        reader.join()
        port._socket = None
    assert seen == []


def test_the_latency_timer_of_an_adapter_is_read_and_said(tmp_path: Path) -> None:
    place = tmp_path / "bus/usb-serial/devices/ttyUSB7"
    place.mkdir(parents=True)
    (place / "latency_timer").write_text("16\n")
    adapter = adapter_of("/dev/ttyUSB7", tmp_path)
    assert adapter.latency_timer == 16
    assert "16 ms (read from the system)" in adapter.told
    assert adapter_of("/dev/ttyS0", tmp_path).told == ""


def test_a_tool_asks_a_camera_and_knows_when_its_answer_was_there() -> None:
    plan = hall()
    with world_links(plan, "wall box") as (_, (link,)):
        tool = tool_on(link, plan)
        asked = tool.ask(Request(1, READ, IRIS, 1))
        assert asked.reply is not None
        assert asked.reply.values == (DEFAULT,)
        assert tool.echo is False
        # 8 and 7 characters of 11 bits at 115200 Bd, t3.5 of 1.75 ms, turnaround 1 to 3 ms, packing 2, latency twice 1
        wire = 15 * 11 / 115200 * 1e9
        assert asked.took is not None
        assert 0 <= asked.took - wire - 1.75 * MS - 4 * MS - 1 * MS <= 2 * MS + 1
        silent = tool.ask(Request(9, READ, IRIS, 1))
        assert silent.silent


def test_a_tool_that_hears_itself_takes_its_echo_off() -> None:
    plan = read_text(hall().source.replace("clients: 4}", "clients: 4, driver: {echo: true}}"))
    with world_links(plan, "wall box") as (_, (link,)):
        tool = tool_on(link, plan)
        for _ in range(2):
            asked = tool.ask(Request(1, READ, IRIS, 1))
            assert asked.reply is not None
            assert asked.rest == b""
            assert asked.echoed is not None
        assert tool.echo is True
        raw = tool.send(tool.protocol.encode_request(Request(1, READ, IRIS, 1)), 50 * MS)
        assert len(raw.rest) == 7


def test_a_line_with_a_master_is_heard_and_left_alone() -> None:
    plan = hall(masters="both")
    with world_links(plan, "wall box") as (_, (link,)):
        tool = tool_on(link, plan)
        with pytest.raises(OtherMaster, match="somebody else is heard") as caught:
            tool.listen_first(2 * 10**9)
        assert {one.address for one in caught.value.requests} == {3}
        assert tool.sent == []


def ask_often(tool: RealTool) -> None:
    for _ in range(200):
        tool.ask(Request(1, READ, IRIS, 1), linger=None)


def test_a_master_that_begins_later_stops_the_tool() -> None:
    plan = hall(masters="both")
    with world_links(plan, "wall box") as (_, (link,)):
        tool = tool_on(link, plan)
        with pytest.raises(OtherMaster):
            ask_often(tool)


class Endless:
    """A port whose bytes never end, one at a time as pyserial's sockets give them; each read takes 10 us."""

    in_waiting = 1

    def __init__(self) -> None:
        self.now = 0

    def read(self, count: int) -> bytes:
        self.now += 10_000
        return b"\xff" * count


def test_a_target_that_never_stops_sending_does_not_hold_up_the_end_of_a_wait() -> None:
    port = Endless()
    link = Link(port, "a box", clock=lambda: port.now)  # type: ignore[arg-type]
    found = link.hear(20_000_000)
    assert found.until - found.since < 23_000_000
    assert len(found.data) > 1000
