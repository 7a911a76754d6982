"""`busim fuzz`: a program in wall time, a master in virtual time, and all failures of a program."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path
from xml.etree import ElementTree

import pytest
from fuzzed_halls import HALLS, boxed
from serving import busim, wait_for
from typer.testing import CliRunner

from busim.cli.app import app
from busim.cli.fuzz_screen import Told
from busim.foundation.errors import UserError
from busim.testing.fuzzing import Case, PureRun, Result
from busim.testing.judge_catalogue import all_judges
from busim.testing.judging import FAIL, Verdict

# A controller of a few lines. MODBUS Application Protocol V1.1b3, 6.3; MODBUS over serial line V1.02, 6.2.2 (CRC).
# It trusts the line: a reply whose check does not hold ends it, however fast or slow this machine is.
TRUSTING = """
import socket, sys, time
def crc(data):
    value = 0xFFFF
    for byte in data:
        value ^= byte
        for _ in range(8):
            value = value >> 1 ^ (0xA001 if value & 1 else 0)
    return value.to_bytes(2, "little")
line = socket.create_connection((sys.argv[1], int(sys.argv[2])))
line.settimeout(0.5)
number = 0
while True:
    frame = bytes((1 + number % 4, 3, 0, 0, 0, 1))
    number += 1
    line.sendall(frame + crc(frame))
    heard = b""
    try:
        while len(heard) < 7 and (more := line.recv(64)):
            heard += more
        assert crc(heard[:-2]) == heard[-2:], "the check of a reply does not hold"
    except TimeoutError:
        time.sleep(0.1)
    time.sleep(0.05)
"""
PATIENT = TRUSTING.replace("assert", "0 and")
# Its first case of 6 s: every reply of one camera is damaged from 1.25 s on.
DAMAGED = ("--fault", "damaged-reply", "--seed", "308")


class Desk:
    """A folder with a plan and a program; `fuzz` runs the command on them."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.failures = folder / "failures"
        (folder / "plan.yaml").write_text(boxed("at: 9000 s, down: 1 s").source)

    def words(self, program: str, *options: str) -> list[str]:
        (self.folder / "control.py").write_text(program)
        command = f"'{sys.executable}' '{self.folder / 'control.py'}' {{box.host}} {{box.port}}"
        return [
            "fuzz", str(self.folder / "plan.yaml"), "--controller", command, "--save", str(self.failures),
            "--for", "6s", "--jobs", "1", *options,  # a busy machine takes seconds to start a program
        ]  # fmt: skip

    def fuzz(self, program: str, *options: str) -> subprocess.CompletedProcess[str]:
        return busim(*self.words(program, *options))


@pytest.fixture
def desk(tmp_path: Path) -> Desk:
    return Desk(tmp_path)


def test_a_program_that_dies_of_a_fault_fails_and_that_is_saved_and_shows_again(desk: Desk) -> None:
    report = desk.folder / "report.xml"
    done = desk.fuzz(TRUSTING, *DAMAGED, "--cases", "1", "--tries", "0", "--json", "--junit", str(report))
    assert done.stdout, done.stderr
    said = json.loads(done.stdout)
    found = {one["judge"]: one for one in said["failures"]}
    assert "stays-up" in found
    (evidence,) = found["stays-up"]["verdict"]["evidence"]
    assert "ended with exit code 1; last on standard error: AssertionError: the check of a" in evidence["what"]
    assert evidence["fault"].startswith("damaged-reply at c")
    assert evidence["frames"]
    assert (done.returncode, said["cases"]) == (1, 1)
    assert said["measured"]["memory_max_bytes"] > 0
    suite = ElementTree.fromstring(report.read_text())
    assert {case.get("name") for case in suite if case.find("failure") is not None} == set(found)
    saved = found["stays-up"]["saved"]
    again = CliRunner().invoke(app, ["replay", saved, "--times", "1", "--json"])
    assert (again.exit_code, json.loads(again.stdout)["reproduced"]) == (1, 1), again.stdout
    played = CliRunner().invoke(app, ["replay", saved.replace(".json", ".busim")])
    assert played.stdout.endswith("identical\n"), played.stdout
    refused = CliRunner().invoke(app, ["replay", saved, "--trace", str(desk.folder / "new.busim")])
    assert saved.replace(".json", ".busim") in str(refused.exception)


@pytest.mark.parametrize("name", [*all_judges(), "stays-up"])
def test_each_judge_that_a_campaign_reports_has_a_page(name: str) -> None:
    said = CliRunner().invoke(app, ["explain", name]).stdout
    assert f"`{name}`: a judge." in said


@pytest.mark.long
def test_a_patient_program_passes(desk: Desk) -> None:
    done = desk.fuzz(PATIENT, "--cases", "2", "--fault", "lost-reply")
    assert done.returncode == 0, done.stdout + done.stderr
    assert done.stdout.startswith("No failure in 2 cases, seed 1.")


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--controller", "cat 'x"), "cannot be split into words"),
        (("--controller", ""), "there is no command"),
        ((), "one thing is tested at a time"),
        (("--master", "wrong-id-acepted"), "did you mean `wrong-id-accepted`?"),
        (("--master", "good", "--fault", "late-repl"), "late-repl"),
        (("--master", "good", "--accepted", __file__), "test_fuzz_command.py"),
        (("--master", "good", "--asyncio", "x.py:go"), "one thing is tested at a time"),
        (("--asyncio", "no-such-file.py:go"), "cannot be read"),
        (("--asyncio", __file__ + ":go"), "no such asyncio function"),
        (("--master", "good", "--engine", "dask"), "no engine"),
        (("--controller", "cat", "--engine", "dask", "--scheduler", "tcp://127.0.0.1:1"), "runs on this machine"),
    ],
    ids=" ".join,
)
def test_a_mistake_in_the_command_is_told_of_clearly(options: tuple[str, ...], said: str, desk: Desk) -> None:
    done = CliRunner().invoke(app, ["fuzz", str(desk.folder / "plan.yaml"), "--for", "1s", "--jobs", "1", *options])
    assert isinstance(done.exception, UserError)
    assert said in str(done.exception)


def test_progress_names_what_was_found_and_not_what_failed_while_a_failure_was_made_small(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("busim.cli.fuzz_screen._OFTEN", -1.0)
    case = Case(1, 1)
    found, other = (Result((Verdict(name, FAIL, "why", 1, 1),)) for name in ("calm", "fairness"))
    told = Told(PureRun(HALLS["rates"], ()), 8, 1, 1, tmp_path, (), "good")
    told.saw(found)
    told.campaign.keep(case, found)
    told.saw(other)
    said = capsys.readouterr().err.splitlines()
    assert said == ["0 of 8 cases judged, 1 run; no failure so far", "1 of 8 cases judged, 2 runs; failed so far: calm"]


def test_ctrl_c_keeps_what_was_found_and_leaves_no_children(desk: Desk) -> None:
    words = desk.words(TRUSTING, "--cases", "50", "--tries", "0", "--json", *DAMAGED)
    with subprocess.Popen(
        [sys.executable, "-m", "busim", *words], stdout=subprocess.PIPE, stderr=subprocess.PIPE, process_group=0
    ) as process:
        assert process.stderr is not None
        last = next(line for line in process.stderr if b"failed so far" in line)
        os.killpg(process.pid, signal.SIGINT)
        begun = time.monotonic()
        out, errors = process.communicate(timeout=30)
        assert time.monotonic() - begun < 10
    assert process.returncode == 130, errors
    said = json.loads(out)
    assert said["ended_by_ctrl_c"]
    found = {one["judge"] for one in said["failures"]}
    assert "stays-up" in found
    assert found >= set(last.decode().rpartition("failed so far: ")[2].strip().split(", "))
    assert {path.stem for path in desk.failures.glob("*.json")} == found
    here = str(desk.folder)
    wait_for(lambda: not [one for one in _commands() if here in one])


def _commands() -> list[str]:
    """The command lines of all processes (proc(5))."""
    found = []
    for entry in os.listdir("/proc"):
        if entry.isdigit():
            try:
                found.append(Path(f"/proc/{entry}/cmdline").read_text(errors="replace"))
            except OSError:
                continue
    return found


def test_a_broken_master_is_found_in_virtual_time_and_shows_again_in_one_run(desk: Desk) -> None:
    options = (
        "--cases",
        "8",
        "--for",
        "3s",
        "--fault",
        "wrong-id-reply",
        "--save",
        str(desk.failures),
        "--tries",
        "8",
        "--jobs",
        "1",
    )
    command = ["fuzz", str(desk.folder / "plan.yaml"), "--master", "wrong-id-accepted", *options]
    done = CliRunner().invoke(app, command)
    assert done.exit_code == 1, done.output
    assert "nothing-corrupt: " in done.stdout
    again = CliRunner().invoke(app, ["replay", str(desk.failures / "nothing-corrupt.json")])
    assert again.exit_code == 1, again.output
    assert again.stdout.startswith("nothing-corrupt: reproduced 1 of 1 run.")
    known = desk.folder / "known.yaml"
    entry = "  - {judge: %s, reason: mended next spring}\n"
    judges = [path.stem for path in desk.failures.glob("*.json")]
    known.write_text("busim-accepted: 1\naccepted:\n" + "".join(entry % judge for judge in judges))
    done = CliRunner().invoke(app, [*command, "--accepted", str(known)])
    assert done.exit_code == 0, done.output
    assert done.stdout.startswith("No failure in 8 cases, seed 1, ")
    assert "nothing-corrupt: mended next spring" in done.stdout


# It asks again and again without a pause, which fails a judge without any fault; its third run ends the process that it
# runs in, as a crash in a library of its own would.
CRASHING = """
import asyncio, os, pathlib
async def controller(hall):
    with (pathlib.Path(__file__).parent / "runs").open("a+") as runs:
        runs.write("x")
        if runs.tell() == 3:
            os._exit(7)
    _, writer = await asyncio.open_connection(*hall.addresses["box"])
    while True:
        writer.write(bytes.fromhex("01030000000184 0a"))
        await asyncio.sleep(0.01)
"""


def test_a_campaign_whose_worker_dies_says_so_and_keeps_what_it_found(desk: Desk) -> None:
    (desk.folder / "control.py").write_text(CRASHING)
    options = ("--jobs", "2", "--cases", "8", "--for", "2s", "--tries", "0", "--save", str(desk.failures))
    done = busim("fuzz", str(desk.folder / "plan.yaml"), "--asyncio", f"{desk.folder}/control.py:controller", *options)
    assert done.returncode == 2, done.stderr
    assert "a worker is gone" in done.stderr
    saved = [path.stem for path in desk.failures.glob("*.json")]
    assert "one-outstanding" in saved
    assert "one-outstanding: " in done.stdout
    assert "(broken off; 8 were wanted)" in " ".join(done.stdout.split())
