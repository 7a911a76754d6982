"""Each fault has the effect on the wire that its page describes, and counts it.

Frames are judged by crccheck's CRC-16/MODBUS, and the exact path is read back by sigrok's UART decoder.
"""

from __future__ import annotations

import itertools
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest
from crccheck.crc import CrcModbus
from fault_guests import READ_ONE, Guest
from fault_halls import MS, Broken, S, hall

from busim.plan import read_text
from busim.recording.exports import to_vcd
from busim.recording.trace import BURST, EXCHANGE, FRAME, HEARD, open_trace
from busim.runtime.session import Run
from busim.simulator.faults import all_faults

WHERE = {"camera": "rope left", "converter": "wall box", "line": "wall line"}


def broken(fault: str, more: str = "", length: int = 3 * S, trace: Path | None = None) -> Broken:
    at = WHERE[all_faults()[fault].on]
    said = f", {more}" if more else ""
    return Broken(f"{{fault: {fault}, on: {at}, at: 500 ms, for: 2 s{said}}}", length=length, trace=trace)


def sound(data: bytes) -> bool:
    """MODBUS over Serial Line V1.02, 6.2.2: the CRC of a frame with its CRC behind it is 0."""
    return len(data) > 3 and CrcModbus.calc(data) == 0


def sent(run: Broken, name: str, since: int = 500 * MS, until: int = 2500 * MS) -> list[bytes]:
    return [record[6] for record in run.of(BURST) if record[2] == run.number(name) and since < record[3] < until]


def sent_clean(name: str) -> list[bytes]:
    return sent(Broken(length=3 * S), name)


def heard_by(run: Broken, name: str) -> bytes:
    """The characters that one receiver heard otherwise than they were sent."""
    return b"".join(record[5] for record in run.of(HEARD) if record[2] == run.number(name))


def frames_at(run: Broken, name: str) -> list[bytes]:
    """The same, stretch by stretch."""
    return [record[5] for record in run.of(HEARD) if record[2] == run.number(name)]


def _left(check: Callable[[list[bytes]], bool]) -> Callable[[Broken], bool]:
    return lambda run: check(sent(run, "rope left"))


# fault -> parameters, what is then seen on the wire
ON_THE_WIRE: dict[str, tuple[str, Callable[[Broken], bool]]] = {
    "lost-reply": ("", _left(lambda replies: not replies)),
    "wrong-id-reply": ("", _left(lambda replies: all(sound(one) and one[0] == 2 for one in replies))),
    "malformed-reply": (
        "how: zeros, bytes: 2",
        _left(lambda replies: all(sound(one[:-2]) and one[-2:] == b"\0\0" for one in replies)),
    ),
    "damaged-reply": ("bits: 2", _left(lambda replies: not any(map(sound, replies)))),
    "undetected-damage": (
        "",
        lambda run: (
            all(map(sound, sent(run, "rope left"))) and set(sent(run, "rope left")) != set(sent_clean("rope left"))
        ),
    ),
    "double-reply": ("", lambda run: len(sent(run, "rope left")) >= 1.9 * run.count("double-reply")),
    "early-reply": (
        "turnaround: 0",
        lambda run: gap_before_replies(run) < 1900_000,
    ),  # above 19200 Bd a frame ends after 1.75 ms (V1.02, 2.5.1.1)
    "ghost-byte": ("byte: '00', when: before-reply", lambda run: b"\0" in heard_by(run, "wall box")),
    "answers-any-id": ("", lambda run: {one[0] for one in sent(run, "rope left")} == {1, 2, 3}),
    "duplicate-id": ("of: rope right", lambda run: {one[0] for one in sent(run, "rope left")} == {2}),
    "unsolicited-message": (
        "rate: 5 /s",
        lambda run: any(one[0] == 1 and one[2] == 2 for one in sent(run, "rope left")),
    ),
    "camera-reboot": ("", _left(lambda replies: len(replies) < 20)),
    "factory-reset": ("", _left(lambda replies: len(replies) < 20)),
    "dead-camera": ("", _left(lambda replies: not replies)),
    "flapping-camera": ("period: 300 ms", _left(lambda replies: len(replies) < 20)),
    "driver-released-early": ("by: 200 us", lambda run: not sound(heard_by(run, "wall box")[:9])),
    "driver-enabled-late": ("by: 60 us", lambda run: heard_by(run, "wall box")[:1] != b"\1"),
    "driver-held-long": ("by: 10 ms", lambda run: {setting.hold for setting in run.run.world.settings} == {0, 10 * MS}),
    "direction-jitter": ("", lambda run: run.figure("time_outs") > 0),
    "echo": ("", lambda run: run.figure("time_outs") == 0),  # our master does not take its echo for a reply
    "wrong-baud": (
        "",
        lambda run: run.camera("rope left", "time_outs") > 5 and run.camera("rope right", "time_outs") == 0,
    ),
    "wrong-format": ("format: 7O1", lambda run: run.camera("rope left", "time_outs") > 5),
    "clock-error": (
        "ppm: 60000",
        lambda run: run.camera("rope left", "time_outs") + run.camera("rope left", "damaged") > 5,
    ),
    "swapped-pair": ("", lambda run: run.camera("rope left", "time_outs") > 5 and bool(heard_by(run, "rope left"))),
    "wrong-port-settings": ("", lambda run: run.figure("poll_rate") < 40),
    "idle-noise": ("rate: 20 /s", lambda run: 0 in heard_by(run, "wall box") or 0xFF in heard_by(run, "wall box")),
    "bit-errors": ("per_bit: 0.005", lambda run: len(run.of(FRAME)) > 0 and bool(heard_by(run, "wall box"))),
    "noise-bursts": ("rate: 4 /s, hits: 1", lambda run: bool(heard_by(run, "wall box"))),
    "ground-shift": (
        "rate: 1 /s, length: 500 ms, loss: 1",
        lambda run: run.figure("time_outs") + run.figure("damaged") > 3,
    ),
    "cut-cable": (
        "position: 3",
        lambda run: run.camera("rope left", "time_outs") == 0 and run.camera("rope top", "time_outs") > 3,
    ),
    "intermittent-joint": (
        "rate: 1 /s, length: 300 ms",
        lambda run: run.camera("rope top", "time_outs") > 0 and not run.camera("rope left", "time_outs"),
    ),
    "stuck-transmitter": (
        "",
        lambda run: any(record[6] == b"" and record[4] - record[3] > S for record in run.of(BURST)),
    ),
    "slow-converter": ("by: 100 ms", lambda run: run.figure("time_outs") > 0 and len(sent(run, "rope right")) > 5),
    "wireless-link": ("good: 30 ms", lambda run: run.figure("time_outs") + run.figure("damaged") > 3),
    "split-stream": ("how: bytes, pause: 1 ms", lambda run: run.figure("time_outs") == 0),
    "merged-stream": ("by: 200 ms, share: 0.5", lambda run: run.figure("time_outs") > 0),
    "gaps-in-frame": ("gap: 5 ms", lambda run: not any(sound(one) for one in sent(run, "wall box"))),
    "eaten-bytes": ("eats: '03'", lambda run: not any(3 in one for one in sent(run, "wall box", since=520 * MS))),
    "telnet-escapes": ("", lambda run: run.figure("time_outs") == 0),
    "lost-bytes": ("share: 0.1", lambda run: run.figure("time_outs") + run.figure("damaged") > 3),
    "injected-bytes": ("period: 100 ms, bytes: 'EE', way: to-line", lambda run: b"\xee" in sent(run, "wall box")),
    "second-master": (
        "rate: 10 /s",
        lambda run: len(sent(run, "wall box")) > len(sent_clean("wall box")) - 25 and run.count("second-master") > 5,
    ),
    "converter-reboot": ("down: 1 s", lambda run: len(sent(run, "wall box")) < len(sent_clean("wall box"))),
    "first-reply-fails": ("idle: 40 ms", lambda run: run.camera("rope left", "time_outs") > 3),
    "needs-quiet": ("quiet: 500 ms", lambda run: run.camera("rope left", "time_outs") > 3),
    "late-reply": ("", lambda run: run.camera("rope left", "time_outs") > 3),
    "second-client": ("rate: 10 /s", lambda run: any(one[:6] == ONE_VALUE for one in sent(run, "wall box"))),
    "translation-mode": ("", lambda run: not sent(run, "wall box", since=520 * MS)),
    "busy-gateway": ("how: drops, share: 1", lambda run: not sent(run, "wall box", since=520 * MS)),
    "slow-client": ("", lambda run: run.figure("time_outs") > 3 and len(sent(run, "rope left")) > 5),
    "usb-latency": (
        "timer: 4 ms",
        lambda run: {record[10] % (4 * MS) for record in run.of(EXCHANGE) if 520 * MS < record[9] < 2400 * MS} == {0},
    ),
    "second-reader": ("", lambda run: run.figure("damaged") > 3),
    "stalled-host": ("rate: 2 /s", lambda run: run.figure("time_outs") == 0),  # the good master looks first
    "request-cut-short": ("", lambda run: not sent(run, "rope left", since=520 * MS)),
    "request-head-lost": ("", lambda run: not sent(run, "rope left", since=520 * MS)),
    "request-driver-held": ("", lambda run: not any(map(sound, frames_at(run, "wall box")))),
    "overloaded-line": (
        "terminators: 14",
        lambda run: run.camera("rope top", "time_outs") > run.camera("rope left", "time_outs"),
    ),
    "hot-plug": (
        "share: 1",
        lambda run: run.camera("rope right", "time_outs") > 3 and not run.camera("rope top", "time_outs"),
    ),
    "unplugged-adapter": ("", lambda run: len(sent(run, "wall box")) < len(sent_clean("wall box"))),
}
ELSEWHERE = {  # tests/simulator/faults: what needs a connection, an order, a search or another fault to show
    "busy-camera", "discards-saves", "lost-stop", "dropped-connections", "refused-connections", "ignored-clients",
    "trimmed-zeros", "delayed-ack", "reset-on-open", "stale-bytes", "cut-reply", "ignored-port-control",
    "sagging-supply", "unapplied-settings", "confused-bystander", "stuck-parser", "serial-byte-order",
    "bad-search-reply", "busy-after-broadcast",
}  # fmt: skip
ONE_VALUE = bytes.fromhex("010300000001")  # read one register at 0 from address 1: V1.1b3, 6.3
NEEDS_DATA = {"telnet-escapes"}  # it shows where an FF is carried


def gap_before_replies(run: Broken) -> float:
    """The longest time from the end of a request to rope left until its reply begins, ns."""
    bursts = [record for record in run.of(BURST) if 520 * MS < record[3] < 2400 * MS]
    left = run.number("rope left")
    return max(after[3] - before[4] for before, after in itertools.pairwise(bursts) if after[2] == left)


def test_every_fault_is_tried_on_the_wire_here_or_where_clients_are() -> None:
    assert set(ON_THE_WIRE) | ELSEWHERE == set(all_faults())


@pytest.mark.parametrize("fault", ON_THE_WIRE)
def test_a_fault_does_on_the_wire_what_its_page_says_and_counts_it(fault: str) -> None:
    more, seen = ON_THE_WIRE[fault]
    run = broken(fault, more)
    assert run.count(fault) == len(run.effects(fault))
    assert run.count(fault) > 0 or fault in NEEDS_DATA
    assert seen(run)


ONCE = {"factory-reset", "camera-reboot", "converter-reboot", "hot-plug", "unplugged-adapter"}


@pytest.mark.parametrize("fault", sorted(set(ON_THE_WIRE) - ONCE))
def test_after_a_fault_the_installation_works_as_before(fault: str) -> None:
    run = broken(fault, ON_THE_WIRE[fault][0], length=16 * S)  # a camera boots for 6 s, the master probes each 5 s
    good = [record for record in run.of(BURST) if 15 * S < record[3] < 15900 * MS]
    for name in ("rope left", "rope right", "rope top"):
        replies = [record[6] for record in good if record[2] == run.number(name)]
        assert len(replies) > 10
        assert all(map(sound, replies))
        assert not any(record[7] for record in good), "and on the fast path again"


def test_a_camera_whose_saves_keep_nothing_has_its_old_values_after_a_power_cut() -> None:
    from busim.protocols import SAVE, WRITE, Request

    run = Run(hall("{fault: discards-saves, on: rope left}"), 1, played=())
    run.advance(S)
    port = run.world.cameras["rope left"]
    before = port.camera.values["iris"]
    at = run.world.kernel.now
    port.camera.serve(Request(1, WRITE, 0, 1, (before + 1,)), at)
    port.camera.serve(Request(1, SAVE, 0, 0), at)
    assert run.faults[0].count == 1
    run.power("rope left", False)
    run.power("rope left", True)
    run.advance(20 * S)
    assert port.camera.values["iris"] == before


def test_a_busy_camera_is_deaf_after_a_write_and_not_after_a_read() -> None:
    from busim.protocols import READ, WRITE, Request

    run = Run(hall("{fault: busy-camera, on: rope left, least: 50 ms, spread: 0}"), 1, played=())
    run.advance(S)
    port, now = run.world.cameras["rope left"], S
    port.asked(Request(1, READ, 0, 1), now)
    port.asked(Request(1, READ, 0, 1), now + MS)
    assert run.faults[0].count == 0
    port.asked(Request(1, WRITE, 0, 1, (5,)), now + 2 * MS)
    port.asked(Request(1, READ, 0, 1), now + 40 * MS)
    assert run.faults[0].count == 1
    port.asked(Request(1, READ, 0, 1), now + 60 * MS)
    assert run.faults[0].count == 1


def test_a_lost_stop_is_not_carried_out() -> None:
    from busim.protocols import START, STOP, Request

    run = Run(hall("{fault: lost-stop, on: rope left}"), 1, played=())
    run.advance(S)
    port = run.world.cameras["rope left"]
    port.asked(Request(1, START, 0, 1, (7,)), S)
    assert run.faults[0].count == 0
    port.asked(Request(1, STOP, 0, 1, ()), S)
    assert run.faults[0].count == 1


def _sigrok(trace: Path, folder: Path, show: str) -> list[str]:
    """The output of sigrok's UART decoder for the wire, at the setting of the line."""
    vcd = folder / "line.vcd"
    with open_trace(trace) as opened:
        to_vcd(opened, vcd)
    decoder = "uart:rx=wall_line:baudrate=38400:parity=even:data_bits=8"
    command = ["sigrok-cli", "-i", str(vcd), "-I", "vcd:downsample=1000", "-P", decoder, "-A", f"uart={show}"]
    out = subprocess.run(command, check=True, capture_output=True, text=True).stdout
    return [line.partition(": ")[2] for line in out.splitlines()]


EARLY = "{fault: early-reply, on: rope left, turnaround: 2900 us}"  # or equal replies would decode cleanly
TALKS = "{fault: unsolicited-message, on: rope left, rate: 20 /s}"  # what misunderstands its requests sends nothing


@pytest.mark.needs("sigrok-cli")
@pytest.mark.parametrize(
    "faults",
    [
        "{fault: duplicate-id, on: rope left, of: rope right}\n" + EARLY,
        "{fault: answers-any-id, on: rope left}\n" + EARLY,
        "{fault: stuck-transmitter, on: rope left}",
        "{fault: driver-enabled-late, on: rope left, by: 100 us}",
        "{fault: wrong-baud, on: rope left, baud: 19200}\n" + TALKS,
        "{fault: wrong-format, on: rope left, format: 8O1}\n" + TALKS,
        "{fault: swapped-pair, on: rope left}\n" + TALKS,
        "{fault: clock-error, on: rope left, ppm: 60000}\n" + TALKS,
        "{fault: ghost-byte, on: rope left, byte: '00', when: before-reply}",
        "{fault: hot-plug, on: rope left, at: 500 ms, length: 5 ms}",
        "{fault: overloaded-line, on: wall line, terminators: 14}",
    ],
    ids=lambda faults: faults.split()[1].rstrip(","),
)
def test_sigrok_reads_a_fault_of_the_exact_path_in_the_levels_of_the_wire(faults: str, tmp_path: Path) -> None:
    """Its decoder reads a clean line without a warning, and warns of parity where a fault garbles characters."""
    warned = {}
    for name, entries in (("clean", ""), ("broken", faults)):
        Broken(entries, length=1500 * MS, trace=tmp_path / f"{name}.trace")
        folder = tmp_path / f"{name}-vcd"
        folder.mkdir()
        warned[name] = len(_sigrok(tmp_path / f"{name}.trace", folder, "rx-warnings:rx-parity-err"))
    assert warned["clean"] == 0
    assert warned["broken"] > 0


@pytest.mark.needs("sigrok-cli")
@pytest.mark.parametrize("fault", ["request-driver-held, on: wall box", "stuck-transmitter, on: rope left, mode: mark"])
def test_sigrok_reads_a_driver_that_is_held_in_the_levels_of_the_wire(fault: str, tmp_path: Path) -> None:
    """At mark, where two drivers fight by chance: a space does not always win."""
    text = hall(f"{{fault: {fault}}}").source.replace("format: 8E1", "format: 8E1\n    contention: random")
    Broken(plan=read_text(text), length=S, trace=tmp_path / "held.trace")
    assert _sigrok(tmp_path / "held.trace", tmp_path, "rx-warnings:rx-parity-err")


@pytest.mark.needs("sigrok-cli")
def test_an_echo_brings_back_what_sigrok_reads_on_the_wire(tmp_path: Path) -> None:
    guest = Guest(hall("{fault: echo, on: wall box}"), trace=tmp_path / "echo.trace")
    guest.wait(MS)
    guest.connect()
    heard = guest.ask()
    guest.run.finish()
    assert guest.count("echo") == 1
    assert bytes.fromhex("".join(_sigrok(tmp_path / "echo.trace", tmp_path, "rx-data"))) == heard
    assert heard[:8] == READ_ONE
