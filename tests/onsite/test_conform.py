"""`busim conform`: one device tested by its master; devices with one flaw each, and devices that nobody here wrote."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from fractions import Fraction
from typing import Any

import pytest
from crccheck.crc import CrcModbus
from fake_devices import Fake, fake_tool
from hypothesis import given, settings
from hypothesis import strategies as st
from lines import tool_on, world_links
from peers import MODEL, pymodbus_server, umodbus_server
from typer.testing import CliRunner
from virtual_halls import hall

from busim.cli.app import app
from busim.foundation.errors import UserError
from busim.foundation.units import CharFormat
from busim.onsite.conform import CHECKS, FAILS, HOLDS, LEFT_OUT, Conformance, Device, conform, damaged, harmless
from busim.onsite.targets import Asked, Link, OtherMaster, RealTool, open_target, parse_target
from busim.plan import read_text
from busim.protocols import READ, WRITE, ModbusRtu, Request, find
from busim.simulator.bus import setting

S = 10**9
WRITING = {5, 6, 15, 16, 21, 22, 23}  # functions that change something: V1.1b3, 6
PROTOCOLS = ("modbus-rtu", "text", "short", "tagged")


def states(found: Conformance) -> dict[str, str]:
    """The state of each check, by the name of its function."""
    return {check.__name__: one.state for (check, _), one in zip(CHECKS, found.verdicts, strict=True)}


def conformed(*flaws: str, changes: bool = True, person: Callable[[str], bool] | None = None) -> dict[str, str]:
    tool, _ = fake_tool(Fake(*flaws))
    return states(conform(Device(tool, MODEL, 1, changes=changes, person=person), S))


# -- what it sends ------------------------------------------------------------------------------------------


def functions_under_sound_checks(request: Request) -> set[int]:
    """Function codes under which a sound CRC (crccheck's) stands, in any run of a damaged frame and reads beside it."""
    codec = ModbusRtu()
    raw, drawn = codec.encode_request(request), damaged(codec, request)
    assert len(drawn) > 8 or not harmless(codec, raw + raw[:-1])  # by chance a run of the reads alone has a sound check
    return set().union(*(functions_in(raw + one.raw + raw, 40) for one in drawn))


def functions_in(stream: bytes, runs: int) -> set[int]:
    return {
        stream[start + 1]
        for start in range(len(stream) - 3)
        for end in range(start + 4, min(len(stream), start + runs) + 1)
        if CrcModbus.calc(stream[start : end - 2]) == int.from_bytes(stream[end - 2 : end], "little")
    }


READS = st.builds(Request, st.integers(1, 247), st.just(READ), st.integers(0, 65535), st.integers(1, 125))


@settings(max_examples=12)
@given(READS)
def test_no_cut_through_damaged_frames_is_a_write_by_another_checksum(request: Request) -> None:
    assert functions_under_sound_checks(request) <= {3}


@pytest.mark.long
@settings(max_examples=1000, deadline=None)
@given(READS)
def test_no_cut_through_damaged_frames_is_a_write_in_a_thousand_reads(request: Request) -> None:
    assert functions_under_sound_checks(request) <= {3}


@settings(max_examples=15)
@given(st.sampled_from(PROTOCOLS), st.integers(1, 90), st.sampled_from(sorted(MODEL.keys["text"].values())))
def test_no_damaged_frame_is_a_message_in_any_protocol(name: str, address: int, key: int) -> None:
    protocol = find(name)
    request = Request(address, READ, key, 1)
    for one in damaged(protocol, request):
        assert protocol.decode_request(one.raw) is None
        assert harmless(protocol, protocol.encode_request(request) + one.raw)


def test_damage_derives_from_reads_alone_and_a_hidden_write_is_seen() -> None:
    codec = ModbusRtu()
    write = Request(1, WRITE, 0, 1, (5,))
    with pytest.raises(ValueError, match="reads alone"):
        damaged(codec, write)
    assert not harmless(codec, b"\x01\x03\x00" + codec.encode_request(write) + b"\x00")


def test_without_leave_it_sends_nothing_but_reads_and_their_damage() -> None:
    tool, port = fake_tool(Fake())
    found = conform(Device(tool, MODEL, 1), S)
    left_out = {check.__name__ for check, needs in CHECKS if needs} | {"kept_over_power"}
    assert {name for name, state in states(found).items() if state == LEFT_OUT} == left_out
    codec = ModbusRtu()
    sound = [one for one in map(codec.decode_request, port.written) if one is not None]
    assert {one.verb for one in sound} == {READ}
    stream = b"".join(port.written)
    assert len(stream) > 700
    assert not functions_in(stream, 24) & WRITING


@pytest.mark.parametrize("bus_id", [3, 100])
def test_nearly_all_damage_is_tried_at_any_bus_id_though_checksums_fit_by_chance(bus_id: int) -> None:
    tool, port = fake_tool(Fake(bus_id=bus_id))
    found = conform(Device(tool, MODEL, bus_id), S)
    tried = {check.__name__: one.tried for (check, _), one in zip(CHECKS, found.verdicts, strict=True)}
    assert tried["damaged_frames"] >= 13
    assert tried["split_frames"] >= 6
    assert not functions_in(b"".join(port.written), 24) & WRITING


def test_it_listens_first_and_sends_nothing_where_something_is_heard() -> None:
    tool, port = fake_tool(Fake(), unasked=ModbusRtu().encode_request(Request(7, READ, 0, 2)))
    with pytest.raises(OtherMaster, match="somebody else is heard"):
        conform(Device(tool, MODEL, 1), S)
    assert port.written == []


def test_a_bus_id_without_a_device_is_named() -> None:
    tool, _ = fake_tool(Fake())
    with pytest.raises(UserError, match="answers no read of this model"):
        conform(Device(tool, MODEL, 9), S)


# -- what it finds ------------------------------------------------------------------------------------------


def test_a_sound_device_fails_nothing() -> None:
    asked: list[str] = []
    found = conformed(person=lambda question: (asked.append(question), True)[1])
    assert set(found.values()) == {HOLDS}
    assert "Keep clear of its head" in asked[0]


@pytest.mark.parametrize(
    ("flaw", "check"),
    [
        ("answers other IDs", "other_addresses"),
        ("answers damage", "damaged_frames"),
        ("garbles", "damaged_frames"),
        ("deaf after damage", "damaged_frames"),
        ("joins pieces", "split_frames"),
        ("wrong codes", "exceptions"),
        ("garbles", "not_in_step"),
        ("answers broadcasts", "broadcast"),
        ("forgets writes", "writes"),
        ("takes anything", "refuses_beyond"),
    ],
)
def test_each_flaw_is_found_by_its_check(flaw: str, check: str) -> None:
    found = conformed(flaw)
    assert found[check] == ("differs" if check == "split_frames" else FAILS)


def test_a_device_that_is_another_one_after_the_power_cycle_fails() -> None:
    device = Fake()
    tool, _ = fake_tool(device)

    def exchange(_: str) -> bool:
        device.values[MODEL.keys["modbus-rtu"]["serial"]] += 1
        return True

    found = conform(Device(tool, MODEL, 1, person=exchange), S)
    assert states(found)["kept_over_power"] == FAILS
    assert not found.holds


def test_a_value_that_was_taken_beyond_its_range_is_set_back() -> None:
    device = Fake("takes anything")
    before = dict(device.values)
    tool, _ = fake_tool(device)
    conform(Device(tool, MODEL, 1, changes=True), S)
    assert device.values == before


@pytest.mark.parametrize("error", [KeyboardInterrupt(), UserError("the target is gone")], ids=["Ctrl-C", "port"])
def test_a_value_that_was_written_is_set_back_or_told_when_the_test_is_cut_short(error: BaseException) -> None:
    fake = Fake()
    before = dict(fake.values)
    tool, _ = fake_tool(fake)
    device = Device(tool, MODEL, 1, changes=True)
    ask, breaks = tool.ask, iter([error])

    def broken(request: Request, **options: Any) -> Asked:
        asked = ask(request, **options)
        if request.verb == WRITE and (one := next(breaks, None)) is not None:
            raise one
        return asked

    tool.ask = broken  # type: ignore[method-assign]
    with pytest.raises(type(error)):
        conform(device, S)
    assert (fake.values == before) == (device.left == "") == isinstance(error, KeyboardInterrupt)


@pytest.mark.parametrize("protocol", PROTOCOLS)
def test_an_emulated_camera_behind_a_converter_fails_nothing_in_any_protocol(protocol: str) -> None:
    plan = read_text(hall().source.replace("protocol: modbus-rtu", f"protocol: {protocol}"))
    with world_links(plan, "wall box") as (_, (link,)):
        device = Device(tool_on(link, plan), MODEL, 1, changes=True)
        found = conform(device, S)
    assert [one for one in found.verdicts if one.state == FAILS and "other bus IDs" not in one.what] == []
    others = next(one for one in found.verdicts if "other bus IDs" in one.what)
    assert [line.split()[1] for line in others.said] == ["2", "3"]  # the other cameras of that line
    assert all(one.tried for one in found.verdicts if one.state == HOLDS)


@contextmanager
def tool_at(path: str, time_out: int) -> Iterator[RealTool]:
    form = CharFormat.parse("8N1")
    with open_target(parse_target(path), Fraction(38400), form) as link:
        yield RealTool(link, find("modbus-rtu"), setting(Fraction(38400), form), time_out=time_out)


def test_umodbus_s_server_answers_under_every_bus_id_and_keeps_in_step() -> None:
    with umodbus_server() as path, tool_at(path, 3 * S) as tool:
        found = states(conform(Device(tool, MODEL, 1), S // 20))
    assert (found["answers"], found["exceptions"]) == (HOLDS, HOLDS)
    assert found["other_addresses"] == FAILS  # a refusal to a request that is for another device


def test_pymodbus_s_server_loses_a_read_after_a_frame_that_broke_off() -> None:
    with pymodbus_server() as path, tool_at(path, S // 2) as tool:
        found = states(conform(Device(tool, MODEL, 1), S // 20))
    assert found["answers"] == HOLDS
    assert found["other_addresses"] == FAILS
    assert found["damaged_frames"] == FAILS  # it waits for the rest of the frame, however long the silence
    assert found["exceptions"] == FAILS  # it drops a read of 0 or of 126 registers in silence


# -- the command --------------------------------------------------------------------------------------------


@pytest.fixture
def opened(monkeypatch: pytest.MonkeyPatch) -> Callable[..., None]:
    def put(*flaws: str, unasked: bytes = b"") -> None:
        link: Link = fake_tool(Fake(*flaws), unasked)[0].link
        monkeypatch.setattr("busim.onsite.targets.open_target", lambda *_, **__: link)

    return put


ARGUMENTS = ["conform", "/dev/ttyUSB9", "--model", "zoom-camera", "--time-out", "50 ms"]


def test_the_command_says_what_it_will_do_and_then_what_it_found(opened: Callable[..., None]) -> None:
    opened()
    done = CliRunner().invoke(app, [*ARGUMENTS, "--yes"])
    assert done.exit_code == 0
    assert "enables the driver" in " ".join(done.stderr.split())
    assert "listening for 7 s, nothing is sent meanwhile" in done.stderr
    assert "nothing failed" in done.stdout
    assert "holds: It is silent on other bus IDs\n" in done.stderr, "while it runs, for Ctrl-C"
    assert max(map(len, done.output.splitlines())) <= 80
    assert "--allow-changes" in done.stdout


def test_the_command_ends_with_1_where_a_check_fails(opened: Callable[..., None]) -> None:
    opened("wrong codes")
    done = CliRunner().invoke(app, [*ARGUMENTS, "--yes", "--json"])
    assert done.exit_code == 1
    told = json.loads(done.stdout)
    assert [one["what"] for one in told["checks"] if one["state"] == "fails"] == [
        "Reads of what it has not are refused, each with its code"
    ]


def test_the_command_opens_nothing_without_a_word_from_the_user(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("busim.onsite.targets.open_target", lambda *_, **__: pytest.fail("it was opened"))
    done = CliRunner().invoke(app, ARGUMENTS)
    assert isinstance(done.exception, UserError)
    assert "nothing was opened" in str(done.exception)
