"""`busim://` URLs: programs written for pyserial, in one thread and simulated time."""

from __future__ import annotations

import gc
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import minimalmodbus
import pytest
import serial
from hypothesis import given, settings
from hypothesis import strategies as st
from serving import read_frame, value_frame, write_frame
from virtual_halls import MS, hall

from busim.foundation.errors import Defect, UserError
from busim.plan import read_text
from busim.plan.models import load
from busim.recording.trace import CHANGE, EXCHANGE, INPUT, open_trace
from busim.runtime.session import SerialWorld, replay, serial_world
from busim.runtime.urls import offers

IRIS = load("zoom-camera").keys["modbus-rtu"]["iris"]
DEFAULT = next(one.default for one in load("zoom-camera").parameters if one.name == "iris")


@pytest.fixture
def world() -> Iterator[SerialWorld]:
    with serial_world(hall()) as world:
        yield world


@pytest.fixture
def port(world: SerialWorld) -> Iterator[serial.Serial]:
    with serial.serial_for_url(f"busim://{world}/wall box", timeout=0.3) as port:
        yield port


def test_a_general_modbus_library_polls_and_commands_unchanged(
    world: SerialWorld, port: serial.Serial, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(minimalmodbus, "time", world.clock)
    cameras = [minimalmodbus.Instrument(port, number) for number in (1, 2, 3)]
    for _ in range(50):
        assert [camera.read_register(IRIS) for camera in cameras] == [DEFAULT] * 3
    cameras[1].write_register(IRIS, DEFAULT + 7, functioncode=6)
    assert [camera.read_register(IRIS) for camera in cameras] == [DEFAULT, DEFAULT + 7, DEFAULT]
    with pytest.raises(minimalmodbus.NoResponseError):
        minimalmodbus.Instrument(port, 9).read_register(IRIS)
    figures = world.report().lines[0].figures
    assert figures["damaged"].value == 0
    assert figures["exchanges"].value == 50 * 3 + 1 + 3


def test_a_port_is_no_telnet_connection_where_its_converter_speaks_rfc_2217() -> None:
    """FF, which begins a command in Telnet (RFC 854), is an ordinary byte here."""
    text = hall().source.replace("packing: {idle: 2 ms}", "packing: {idle: 2 ms}, rfc2217: applies")
    assert "rfc2217" in text
    request = write_frame(1, IRIS, 0xFF)
    assert b"\xff" in request
    with serial_world(read_text(text)) as world:
        url = f"busim://{world}/wall box"
        with serial.serial_for_url(url, baudrate=115200, parity="E", timeout=1) as port:
            port.write(request)
            assert port.read(8) == request  # the reply repeats it


def asked(port: serial.Serial) -> bool:
    port.reset_input_buffer()
    port.write(read_frame(1, IRIS))
    return port.read(7) == value_frame(1, DEFAULT)


def test_what_a_program_sets_has_no_effect_on_a_converter_that_is_reached_raw(world: SerialWorld) -> None:
    with serial.serial_for_url(f"busim://{world}/wall box", baudrate=2400, parity="O", timeout=0.1) as port:
        assert asked(port)
        port.baudrate = 57600
        assert asked(port)


@pytest.mark.parametrize(
    ("manner", "heeds"), [("applies", True), ("acknowledges", False), ("answers-other", False), ("silent", False)]
)
def test_what_a_program_sets_is_done_where_the_converter_does_as_it_is_told(
    manner: str, heeds: bool, tmp_path: Path
) -> None:
    text = hall().source.replace("packing: {idle: 2 ms}", f"packing: {{idle: 2 ms}}, rfc2217: {manner}")
    trace = tmp_path / "set.trace"
    with (
        serial_world(read_text(text), trace=trace) as world,
        serial.serial_for_url(f"busim://{world}/wall box", timeout=0.1) as port,  # pyserial's own: 9600 Bd 8N1
    ):
        assert asked(port) is not heeds
        port.baudrate, port.parity = 115200, "E"
        assert asked(port)
        port.stopbits = 1.5
        port.bytesize = 5
        assert asked(port) is not heeds
    with open_trace(trace) as opened:
        settings = [record[4] for record in opened.records(CHANGE) if record[3] == "setting"]
    wanted = ["9600 Bd 8N1", "115200 Bd 8N1", "115200 Bd 8E1", "115200 Bd 8E1.5", "115200 Bd 5E1.5"]
    assert settings == (wanted if heeds else [])
    assert replay(trace).difference is None


def test_a_library_that_sleeps_in_wall_time_works_too_and_simulated_time_stands_still(
    world: SerialWorld, port: serial.Serial
) -> None:
    camera = minimalmodbus.Instrument(port, 1)
    before = world.now
    assert [camera.read_register(IRIS) for _ in range(3)] == [DEFAULT] * 3
    assert world.now - before < 60 * MS


def test_reading_takes_the_simulated_time_it_takes_on_the_line(world: SerialWorld, port: serial.Serial) -> None:
    port.write(read_frame(1, IRIS))
    assert port.read(7) == value_frame(1, DEFAULT)
    # Request 8 and reply 7 characters of 11 bits at 115200 Bd, 1.75 ms of silence before the camera takes the request
    # (MODBUS over Serial Line V1.02, 2.5.1.1), 1 to 3 ms of turnaround, 2 ms of packing, twice 1 ms of latency.
    least = 15 * 11 / 115200 + 1.75e-3 + 1e-3 + 2e-3 + 2e-3
    assert least * 1e9 - 100_000 <= world.now <= (least + 2e-3) * 1e9 + 100_000


def test_a_time_out_passes_in_simulated_time_and_gives_what_there_is(world: SerialWorld, port: serial.Serial) -> None:
    began = time.monotonic()
    port.timeout = 3000.0
    port.write(read_frame(1, IRIS))
    assert port.read(100) == value_frame(1, DEFAULT)
    assert world.now == 3000_000 * MS
    assert time.monotonic() - began < 60


def test_a_pause_between_bytes_ends_a_read(world: SerialWorld, port: serial.Serial) -> None:
    port.timeout, port.inter_byte_timeout = 50.0, 0.02
    port.write(read_frame(1, IRIS))
    assert port.read(100) == value_frame(1, DEFAULT)
    assert world.now < 50 * MS


def test_a_read_without_a_time_out_waits_for_bytes_and_in_vain_is_an_error(port: serial.Serial) -> None:
    port.timeout = None
    port.write(read_frame(1, IRIS))
    assert port.read(7) == value_frame(1, DEFAULT)
    with pytest.raises(UserError, match="never comes") as caught:
        port.read(1)
    assert "'wall box'" in str(caught.value.found)


def test_in_vain_is_noticed_while_a_master_goes_on_elsewhere() -> None:
    with serial_world(hall(masters="both")) as world:
        port = serial.serial_for_url(world.url("wall box"))
        with pytest.raises(UserError, match="never comes"):
            port.read(10**6)


def test_a_loop_of_looks_sees_bytes_come(port: serial.Serial) -> None:
    port.timeout = 0
    port.write(read_frame(2, IRIS))
    looks = 0
    while port.in_waiting < 7:
        looks += 1
    assert 5 <= looks <= 15  # a millisecond each
    assert port.read(3) + port.read(10) == value_frame(2, DEFAULT)
    assert port.read(1) == b""


def test_what_came_can_be_thrown_away(world: SerialWorld, port: serial.Serial) -> None:
    port.write(read_frame(1, IRIS))
    world.clock.sleep(0.05)
    assert port.in_waiting == 7
    port.reset_input_buffer()
    assert port.in_waiting == 0
    port.reset_output_buffer()
    port.flush()
    assert port.out_waiting == 0


@given(sizes=st.lists(st.integers(1, 9), min_size=1, max_size=12))
@settings(max_examples=25, deadline=None)
def test_however_a_reply_is_read_its_bytes_are_the_same(sizes: list[int]) -> None:
    with serial_world(hall()) as world, serial.serial_for_url(world.url("wall box"), timeout=0.05) as port:
        port.write(write_frame(1, IRIS, 77))
        read = b"".join(port.read(size) for size in sizes)
        assert read == write_frame(1, IRIS, 77)[: sum(sizes)]


def test_settings_are_accepted(port: serial.Serial) -> None:
    port.baudrate, port.parity, port.stopbits, port.bytesize = 9600, "O", 2, 7
    port.apply_settings({"baudrate": 57600, "xonxoff": True, "rtscts": False})
    port.rts, port.dtr, port.break_condition = False, False, True
    assert (port.baudrate, port.cts, port.dsr, port.ri, port.cd) == (57600, True, True, False, True)


def test_a_writer_is_held_back_where_the_line_is_full(world: SerialWorld, port: serial.Serial) -> None:
    data = b"\xff" * 20_000
    port.write_timeout = 0.01
    with pytest.raises(serial.SerialTimeoutException):
        port.write(data)
    port.write_timeout = None
    before = world.now
    assert port.write(data) == len(data)
    # All but what the converter takes ahead (2 KiB, and one chunk of 4 KiB) has left, at 11 bits a character.
    assert world.now - before >= (20_000 - 3 * 4096) * 11 / 115200 * 1e9


def test_two_ports_share_a_converter_and_one_too_many_is_refused() -> None:
    with serial_world(hall(clients=2)) as world:
        one, other = (serial.serial_for_url(world.url("wall box"), timeout=0.1) for _ in range(2))
        one.write(read_frame(3, IRIS))
        assert one.read(7) == other.read(7) == value_frame(3, DEFAULT)
        with pytest.raises(serial.SerialException, match="refused"):
            serial.serial_for_url(world.url("wall box"))
        other.close()
        serial.serial_for_url(world.url("wall box")).close()


@pytest.mark.parametrize("url", ["busim://nothing/wall box", "busim:///wall box", "busim://{}/roof box", "busim://{}"])
def test_what_is_not_there_is_an_error_of_both_libraries(url: str, world: SerialWorld) -> None:
    with pytest.raises(serial.SerialException) as caught:
        serial.serial_for_url(url.format(world))
    assert isinstance(caught.value, UserError)
    assert caught.value.mend


def test_a_world_that_is_over_leaves_nothing_behind() -> None:
    with serial_world(hall()) as world:
        port = serial.serial_for_url(world.url("wall box"))
        assert str(world) in offers._offers
    assert str(world) not in offers._offers
    with pytest.raises(serial.PortNotOpenError):
        port.read(1)
    with pytest.raises(serial.SerialException, match="no world"):
        serial.serial_for_url(f"busim://{world}/wall box")
    port.close()


def test_a_port_that_is_forgotten_stays_open_until_its_world_ends(tmp_path: Path) -> None:
    path = tmp_path / "serial.busim"
    with serial_world(hall(), trace=path) as world:
        serial.serial_for_url(world.url("wall box"))
        gc.collect()
        world.clock.sleep(1)
    with open_trace(path) as trace:
        assert [(record[1], record[4]) for record in trace.records(INPUT)] == [(0, "open"), (1000 * MS, "close")]


def test_worlds_are_apart() -> None:
    with serial_world(hall()) as one, serial_world(hall()) as other:
        assert str(one) != str(other)
        with serial.serial_for_url(one.url("wall box"), timeout=0.1) as port:
            port.write(read_frame(1, IRIS))
            port.read(7)
        assert one.now > other.now == 0


def test_another_thread_is_refused(port: serial.Serial) -> None:
    errors: list[BaseException] = []

    def work() -> None:
        try:
            port.read(1)
        except UserError as error:
            errors.append(error)

    thread = threading.Thread(target=work)
    thread.start()
    thread.join()
    assert "another thread" in str(errors[0])


def test_the_stand_in_for_time_is_simulated_and_otherwise_the_module(world: SerialWorld) -> None:
    clock = world.clock
    clock.sleep(1.5)
    assert clock.monotonic() == clock.time() == clock.perf_counter() == 1.5
    assert clock.monotonic_ns() == world.now == 1500 * MS
    assert clock.strftime is time.strftime
    with pytest.raises(ValueError, match="non-negative"):
        clock.sleep(-1)


def test_a_session_is_recorded_and_replays_to_the_identical_trace(tmp_path: Path) -> None:
    path = tmp_path / "serial.busim"

    def program() -> None:
        with serial_world(hall(latency="200..900 us", masters="both"), 4, trace=path) as world:
            port = serial.serial_for_url(world.url("wall box"), timeout=0.05)
            for camera in (1, 2, 3, 1):
                port.write(read_frame(camera, IRIS))
                port.read(7)
            world.mark("before it fails")
            raise LookupError("the program's own")

    with pytest.raises(LookupError):
        program()
    with open_trace(path) as trace:
        assert trace.head["complete"]
        assert [record[4] for record in trace.records(INPUT)] == ["open", *["bytes"] * 4, "close"]
        assert sum(1 for record in trace.records(EXCHANGE) if record[5] == "foreign") == 4
    assert replay(path).difference is None


def test_a_bug_of_ours_is_a_defect_and_leaves_the_trace_marked(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object) -> None:
        raise ZeroDivisionError("a bug")

    monkeypatch.setattr("busim.simulator.world.clients.Clients._arrive", broken)
    path = tmp_path / "serial.busim"
    with serial_world(hall(), trace=path) as world:
        port = serial.serial_for_url(world.url("wall box"), timeout=0.05)
        port.write(read_frame(1, IRIS))
        with pytest.raises(Defect, match="ZeroDivisionError"):
            port.read(7)
    with open_trace(path) as trace:
        assert not trace.head["complete"]
