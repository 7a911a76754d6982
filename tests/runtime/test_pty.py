"""Serial ports of a served plan: pseudo-terminals with pyserial as the peer, which nobody here wrote."""

from __future__ import annotations

import asyncio
import contextlib
import os
import sys
from collections.abc import Iterator
from pathlib import Path

import minimalmodbus
import pytest
import serial
from fault_halls import hall
from policy_plans import BUS_ID, plan_of
from serving import Client, Served, read_frame, value_frame, wait_for

from busim.recording.trace import CHANGE, INPUT, open_trace
from busim.runtime.bridge import link_names
from busim.runtime.session import Live, replay

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="pseudo-terminals as Linux has them")

ASK, REPLY = read_frame(1, BUS_ID), value_frame(1, 1)


@pytest.fixture
def served(tmp_path: Path) -> Iterator[Served]:
    with Served(tmp_path, plan_of("2"), "--pty", str(tmp_path / "ports")) as running:
        yield running


@pytest.fixture
def link(served: Served) -> str:
    return str(served.where["converters"]["box"]["pty"])


def test_pyserial_opens_the_link_and_exchanges(link: str, tmp_path: Path) -> None:
    assert link == str(tmp_path / "ports" / "box")
    with serial.Serial(link, 38400, timeout=10) as port:
        port.write(ASK)
        assert port.read(len(REPLY)) == REPLY


@pytest.mark.parametrize(("renamed", "after"), [("0", "wall-box"), ("1", "wall-box-again")])
async def test_an_adapter_that_drops_out_hangs_up_and_comes_back(renamed: str, after: str, tmp_path: Path) -> None:
    """An open descriptor stays useless; the port comes back, under the same name or another."""
    async with Live(hall(), 1, any_port=True, pty=tmp_path) as live:
        old = os.open(tmp_path / "wall-box", os.O_RDWR | os.O_NOCTTY)
        try:
            while not live.run.world.converters["wall box"].outside:
                await asyncio.sleep(0.01)
            live.fault("unplugged-adapter", "wall box", back="500 ms", renamed=renamed)
            while (tmp_path / "wall-box").exists():
                await asyncio.sleep(0.01)
            with pytest.raises(OSError, match="Input/output"):
                os.write(old, ASK)
            while not (tmp_path / after).exists():
                await asyncio.sleep(0.01)
            new = os.open(tmp_path / after, os.O_RDWR | os.O_NOCTTY)
            while not live.run.world.converters["wall box"].outside:
                await asyncio.sleep(0.01)
            os.close(new)
        finally:
            os.close(old)
    assert list(tmp_path.iterdir()) == []


def test_all_256_values_get_through_both_ways(served: Served, link: str, tmp_path: Path) -> None:
    every = bytes(range(256))
    with serial.Serial(link, 38400, timeout=10) as port, Client(served.address("box")) as other:
        wait_for(lambda: f"opened {link}" in served.errors())
        other.ask(ASK, len(REPLY))
        assert port.read(len(REPLY)) == REPLY
        port.write(every)
    wait_for(lambda: f"closed {link}" in served.errors())
    served.interrupt()
    with open_trace(tmp_path / "live.trace") as trace:
        sent = b"".join(record[5] for record in trace.records(INPUT) if record[4] == "bytes")
    assert sent == ASK + every


def test_a_port_at_another_baud_garbles_and_is_mended(served: Served, link: str, tmp_path: Path) -> None:
    with serial.Serial(link, 9600, timeout=0.5) as port:
        port.write(ASK)
        assert port.read(len(REPLY)) != REPLY
        port.baudrate, port.timeout = 38400, 10
        port.reset_input_buffer()
        port.write(ASK)
        assert port.read(len(REPLY)) == REPLY
    served.interrupt()
    assert replay(tmp_path / "live.trace").difference is None
    with open_trace(tmp_path / "live.trace") as trace:
        assert [record[4] for record in trace.records(CHANGE)] == ["9600 Bd 8E1", "38400 Bd 8E1"]


def test_stop_bits_are_taken_over_and_parity_cannot_be(served: Served, link: str, tmp_path: Path) -> None:
    with serial.Serial(link, 38400, stopbits=2, timeout=10) as port:
        port.write(ASK)
        assert port.read(len(REPLY)) == REPLY
    with contextlib.suppress(OSError):  # EINVAL, where the C library looks whether it was done
        serial.Serial(link, 38400, parity="O").close()
    served.interrupt()
    with open_trace(tmp_path / "live.trace") as trace:
        told = [record[4] for record in trace.records(CHANGE)]
    assert "38400 Bd 8E2" in told
    assert all("8E" in setting for setting in told)


def test_a_program_closes_and_opens_again_and_its_slot_goes_with_it(served: Served, link: str) -> None:
    for times in range(1, 4):
        with serial.Serial(link, 38400, timeout=10) as port, Client(served.address("box")):
            port.write(ASK)
            assert port.read(len(REPLY)) == REPLY
            with Client(served.address("box")) as third:
                assert third.is_closed()  # the serial port is one of the two clients
        wait_for(lambda times=times: served.errors().count(f"closed {link}") == times)  # type: ignore[misc]


def test_a_program_that_is_refused_is_refused_once_and_may_come_again(served: Served, link: str) -> None:
    with Client(served.address("box")) as one, Client(served.address("box")) as two:
        assert one.ask(ASK, len(REPLY)) == two.hear(len(REPLY)) == REPLY
        with serial.Serial(link, 38400, timeout=0.3) as port:
            wait_for(lambda: f"{link} refused" in served.errors())
            port.write(ASK)
            assert port.read(1) == b""
    assert served.errors().count(f"{link} refused\n") == 1
    with serial.Serial(link, 38400, timeout=0.3) as port:
        heard = b""

        def answered() -> bool:
            nonlocal heard
            port.write(ASK)
            heard += port.read(len(REPLY))
            return REPLY in heard

        wait_for(answered)


def test_a_program_that_keeps_the_port_open_is_served_again_after_a_reboot(tmp_path: Path) -> None:
    with Served(
        tmp_path, plan_of("2", "reboots: [{at: 6 s, down: 300 ms}]"), "--pty", str(tmp_path / "ports")
    ) as served:
        link = str(served.where["converters"]["box"]["pty"])
        with serial.Serial(link, 38400, timeout=0.3) as port:
            port.write(ASK)
            wait_for(lambda: port.read(len(REPLY)) == REPLY)
            wait_for(lambda: "box: is back" in served.errors())
            heard = b""

            def answered() -> bool:
                nonlocal heard
                port.write(ASK)
                heard += port.read(len(REPLY))
                return REPLY in heard

            wait_for(answered)
        assert "dropped by the converter" in served.errors()
        served.interrupt()
        assert replay(served.trace).difference is None


def test_what_nobody_read_does_not_reach_the_next_to_open(served: Served, link: str) -> None:
    with serial.Serial(link, 38400, timeout=10) as port:
        port.write(ASK)
        assert port.read(1) == REPLY[:1]
    wait_for(lambda: f"closed {link}" in served.errors())
    with serial.Serial(link, 38400, timeout=10) as port:
        port.write(read_frame(2, BUS_ID))
        assert port.read(len(REPLY)) == value_frame(2, 2)


def test_minimalmodbus_reads_through_it(link: str) -> None:
    with serial.Serial(link, 38400, timeout=10) as port:
        assert minimalmodbus.Instrument(port, 2).read_register(BUS_ID) == 2


def test_the_links_are_gone_afterwards_and_an_old_one_is_replaced(tmp_path: Path) -> None:
    folder = tmp_path / "ports"
    folder.mkdir()
    (folder / "box").symlink_to("/dev/pts/none-such")
    with Served(tmp_path, plan_of("2"), "--pty", str(folder)) as served:
        assert Path(os.readlink(folder / "box")).exists()
        served.interrupt()
    assert not (folder / "box").is_symlink()


def test_a_file_that_is_in_the_way_is_left_alone(tmp_path: Path) -> None:
    from serving import busim

    (tmp_path / "box").write_text("mine")
    (tmp_path / "plan.yaml").write_text(plan_of("2"))
    done = busim("serve", str(tmp_path / "plan.yaml"), "--port", "0", "--pty", str(tmp_path))
    assert done.returncode != 0
    assert "choose another folder" in done.stderr
    assert (tmp_path / "box").read_text() == "mine"


def test_links_have_names_that_are_safe_and_different() -> None:
    names = link_names(["boulder box", "boulder/box", "..", "Kletterwand Süd"])
    assert names == {
        "boulder box": "boulder-box", "boulder/box": "boulder-box-2", "..": "converter",
        "Kletterwand Süd": "Kletterwand-S-d",
    }  # fmt: skip
