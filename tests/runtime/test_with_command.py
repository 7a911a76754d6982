"""`busim with`: any command against a served installation: its exit code, its endpoints, and no process left behind."""

from __future__ import annotations

import asyncio
import json
import re
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from places import TESTS, TOP
from serving import WITHIN, busim, read_frame, wait_for, wall, write_frame

from busim.foundation.errors import UserError
from busim.handbook import page
from busim.plan import read_text
from busim.recording.trace import BELIEF, EXCHANGE, INPUT, INTENT, open_trace
from busim.runtime.bridge import fill, variables
from busim.runtime.session import ChildProcess, Live, replay

PLACES = {"wall box": {"host": "127.0.0.9", "port": 4001}, "Box-2": {"host": "127.0.0.9", "port": 4002, "pty": "/x/y"}}
PANEL = """
panels:
  - {name: desk, master: controller, cameras: [wall low, wall high], controls: [iris], moves: 20 /s}
"""
ASK = f"""
import os, socket
with socket.create_connection((os.environ["BUSIM_WALL_BOX_HOST"], int(os.environ["BUSIM_WALL_BOX_PORT"]))) as line:
    line.settimeout({WITHIN})
    line.sendall({read_frame(1, 100)!r})
    heard = b""
    while len(heard) < 7:
        heard += line.recv(7)
"""


@pytest.fixture
def plan(tmp_path: Path) -> Path:
    path = tmp_path / "plan.yaml"
    path.write_text(wall() + PANEL)
    return path


def with_command(plan: Path, *command: str, options: tuple[str, ...] = ()) -> subprocess.CompletedProcess[str]:
    done = busim("with", str(plan), *options, "--", *command)
    assert "Traceback" not in done.stderr or "Traceback" in " ".join(command)
    assert "at fault" not in done.stderr
    return done


# -- where a program finds its converters ---------------------------------------------------------------------


def test_placeholders_take_names_with_spaces_or_underscores_and_leave_other_braces_alone() -> None:
    given_ = ["{wall box.host}:{wall_box.port}", "{Box-2.pty}", "{}", '{"a": {"b.c": 1}}', "{{wall box.port}}", "{x}"]
    filled = ["127.0.0.9:4001", "/x/y", "{}", '{"a": {"b.c": 1}}', "{wall box.port}", "{x}"]
    assert fill(given_, PLACES) == filled


@pytest.mark.parametrize("argument", ["{wall bx.port}", "{wall box.pty}", "{wall box.prt}"])
def test_a_placeholder_for_what_is_not_there_is_refused(argument: str) -> None:
    with pytest.raises(UserError) as caught:
        fill([argument], PLACES)
    assert caught.value.mend


@given(st.text(max_size=30))
def test_whatever_an_argument_holds_it_is_filled_or_refused(argument: str) -> None:
    try:
        filled = fill([argument], PLACES)
    except UserError:
        filled = []
    assert len(filled) <= 1


def test_each_converter_has_variables_and_names_too_alike_have_none() -> None:
    found, unnamed = variables(PLACES | {"box 2": {"host": "127.0.0.9", "port": 4003}, "Kletterwand": {"host": "h"}})
    assert found["BUSIM_WALL_BOX_HOST"] == "127.0.0.9"
    assert found["BUSIM_WALL_BOX_PORT"] == "4001"
    assert found["BUSIM_KLETTERWAND_HOST"] == "h"
    assert sorted(unnamed) == ["Box-2", "box 2"]
    assert json.loads(found["BUSIM_ENDPOINTS"])["converters"]["box 2"]["port"] == 4003


# -- its end --------------------------------------------------------------------------------------------------


def test_a_command_asks_a_camera_and_its_exit_code_and_output_are_those_of_busim(plan: Path, tmp_path: Path) -> None:
    trace, figures = tmp_path / "with.busim", tmp_path / "figures.json"
    options = ("--trace", str(trace), "--figures", str(figures))
    done = with_command(plan, sys.executable, "-c", ASK + "print(heard.hex())\nraise SystemExit(7)", options=options)
    assert done.returncode == 7, done.stderr
    assert done.stdout.startswith("0103020001")  # its own output alone: the reply (MODBUS V1.1b3, 6.3)
    assert "The command ended with exit code 7." in done.stderr
    with open_trace(trace) as made:
        assert made.head["complete"] == 1
        assert [record[12] for record in made.records(EXCHANGE) if record[5] == "foreign"] == ["ok"]
        assert {record[4] for record in made.records(INPUT)} >= {"open", "bytes"}
    assert replay(trace).difference is None
    assert json.loads(figures.read_text())["lines"][0]["figures"]["exchanges"]["value"] == 1


@pytest.mark.parametrize(("code", "expected"), [(0, 1), (5, 5)])
def test_a_missed_expectation_fails_a_command_that_was_content_and_not_one_that_failed(
    plan: Path, code: int, expected: int
) -> None:
    plan.write_text(plan.read_text() + "expect:\n  - {figure: exchanges, at_least: 5}\n")
    done = with_command(plan, sys.executable, "-c", ASK + f"raise SystemExit({code})")
    assert done.returncode == expected
    assert "missed: exchanges of wall line is 1" in " ".join(done.stderr.split())


def test_a_command_that_is_not_there_is_the_user_s_error(plan: Path) -> None:
    done = with_command(plan, "no-such-program")
    assert done.returncode == 2
    assert "the command cannot be run" in done.stderr


def test_a_command_killed_by_a_signal_has_the_exit_code_of_a_shell(plan: Path) -> None:
    done = with_command(plan, sys.executable, "-c", "import os, signal; os.kill(os.getpid(), signal.SIGKILL)")
    assert done.returncode == 128 + 9


class Running:
    """`busim with` in the background, ready when its command says so."""

    def __init__(self, plan: Path, trace: Path, program: str, *options: str) -> None:
        self.sign = trace.with_suffix(".sign")
        command = [sys.executable, "-c", f"SIGN = {str(self.sign)!r}\n{program}"]
        self.process = subprocess.Popen(
            [sys.executable, "-m", "busim", "with", str(plan), "--trace", str(trace), *options, "--", *command],
            stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
        )  # fmt: skip
        wait_for(lambda: self.sign.exists() and self.sign.read_text() != "")

    def end(self, *signals: int) -> tuple[int, str]:
        for number in signals:
            self.process.send_signal(number)
        _, errors = self.process.communicate(timeout=WITHIN)
        assert b"Traceback" not in errors
        return self.process.returncode, errors.decode()


SAY = "import os, signal, time, subprocess, sys\nopen(SIGN, 'w').write(str(os.getpid()))\n"


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_a_signal_reaches_the_command_and_the_trace_is_complete(plan: Path, tmp_path: Path, number: int) -> None:
    program = f"import signal\nsignal.signal({number}, lambda *_: sys.exit(4))\n" + SAY + "signal.pause()\n"
    running = Running(plan, tmp_path / "t.busim", "import sys\n" + program)
    code, _ = running.end(number)
    assert code == 4
    with open_trace(tmp_path / "t.busim") as trace:
        assert trace.head["complete"] == 1


def test_ctrl_c_ends_a_command_that_does_not_care_with_130(plan: Path, tmp_path: Path) -> None:
    program = "import signal\nsignal.signal(signal.SIGINT, signal.SIG_DFL)\n" + SAY + "signal.pause()\n"
    running = Running(plan, tmp_path / "t.busim", program)
    assert running.end(signal.SIGINT)[0] == 130


def test_a_command_that_ignores_signals_is_killed_at_the_second_one(plan: Path, tmp_path: Path) -> None:
    program = "import signal\nsignal.signal(signal.SIGTERM, signal.SIG_IGN)\n" + SAY + "while True: signal.pause()\n"
    running = Running(plan, tmp_path / "t.busim", program)
    code, _ = running.end(signal.SIGTERM, signal.SIGINT)
    assert code == 128 + 9
    with open_trace(tmp_path / "t.busim") as trace:
        assert trace.head["complete"] == 1


async def test_a_command_that_ignores_one_signal_is_killed_after_a_while(
    tmp_path: Path,
) -> None:
    sign, told = tmp_path / "sign", list[str]()
    program = f"SIGN = {str(sign)!r}\nimport signal\nsignal.signal(signal.SIGTERM, signal.SIG_IGN)\n{SAY}signal.pause()"
    async with Live(read_text(wall()), any_port=True) as live:
        beside = ChildProcess(live, [sys.executable, "-c", program], hook=False, news=told.append, grace=0.1)
        running = asyncio.ensure_future(beside.run())
        while not sign.exists() or not sign.read_text():
            await asyncio.sleep(0.01)
        beside.signal(signal.SIGTERM)
        assert await asyncio.wait_for(running, WITHIN) == 128 + 9
    assert told == ["the command did not end within 0.1 s; it was killed"]


def test_what_a_command_leaves_behind_is_ended(plan: Path, tmp_path: Path) -> None:
    child = "import signal; signal.signal(signal.SIGTERM, signal.SIG_IGN); print(1, flush=True); signal.pause()"
    program = f"""
import subprocess, sys
left = subprocess.Popen([sys.executable, "-c", {child!r}], stdout=subprocess.PIPE)
left.stdout.readline()
open({str(tmp_path / "left")!r}, "w").write(str(left.pid))
"""
    done = with_command(plan, sys.executable, "-c", program)
    assert done.returncode == 0, done.stderr
    assert "left processes behind" in done.stderr
    stat = Path(f"/proc/{(tmp_path / 'left').read_text()}/stat")
    assert not stat.exists() or stat.read_text().rpartition(")")[2].split()[0] == "Z"


STAYS = """
import os, signal, subprocess, sys
deaf = "import signal; signal.signal(signal.SIGTERM, signal.SIG_IGN); signal.pause()"
own = subprocess.Popen([sys.executable, "-c", deaf])
print(os.getpid(), own.pid, flush=True)
signal.pause()
"""


def runs(process: str) -> bool:
    try:
        return Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()[0] not in "ZX"
    except OSError:
        return False


KILLED_AT_ONCE = f"""
import asyncio, os, signal, sys, time
from busim.runtime.bridge import Child

async def start():
    loop = asyncio.get_running_loop()
    exec_, told = loop.subprocess_exec, sys.argv[1]
    async def killed_as_soon_as_it_runs(*words, **more):
        await exec_(*words, **more)
        while not os.path.exists(told) or not open(told).read().endswith("\\n"):
            time.sleep(0.01)
        os.kill(os.getpid(), signal.SIGKILL)
    loop.subprocess_exec = killed_as_soon_as_it_runs
    stays = {STAYS!r}.replace("flush=True", "file=open(sys.argv[1], 'w'), flush=True")
    await Child([sys.executable, "-c", stays, told], os.environ).start()

asyncio.run(start())
"""


def test_a_kill_before_busim_knows_that_the_command_runs_leaves_nothing_either(tmp_path: Path) -> None:
    told = tmp_path / "told"
    done = subprocess.run([sys.executable, "-c", KILLED_AT_ONCE, str(told)], timeout=60, check=False)
    assert done.returncode == -signal.SIGKILL
    started = told.read_text().split()
    assert len(started) == 2
    wait_for(lambda: not any(map(runs, started)))


def test_a_kill_of_busim_leaves_neither_the_command_nor_what_it_started(plan: Path) -> None:
    command = [sys.executable, "-m", "busim", "with", str(plan), "--", sys.executable, "-c", STAYS]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True, stderr=subprocess.DEVNULL) as process:
        assert process.stdout is not None
        started = process.stdout.readline().split()
        assert all(map(runs, started))
        process.kill()
    wait_for(lambda: not any(map(runs, started)))


def test_a_command_is_ended_after_the_time_given_which_is_no_failure(plan: Path, tmp_path: Path) -> None:
    trace = tmp_path / "short.busim"
    done = with_command(plan, sys.executable, "-c", STAYS, options=("--for", "300ms", "--trace", str(trace)))
    assert done.returncode == 0, done.stderr
    assert "The command was ended after 300ms, as --for says." in done.stderr
    with open_trace(trace) as made:
        assert made.head["ended_at"] == 300_000_000
    own = "import signal, sys; signal.signal(signal.SIGTERM, lambda *_: sys.exit(7)); signal.pause()"
    assert with_command(plan, sys.executable, "-c", own, options=("--for", "3s")).returncode == 7


def test_what_a_plan_expects_can_be_left_alone(plan: Path) -> None:
    plan.write_text(plan.read_text() + "expect: [{figure: exchanges, of: wall line, at_least: 1000}]\n")
    assert with_command(plan, "true").returncode == 1
    done = with_command(plan, "true", options=("--no-expect",))
    assert (done.returncode, "missed" in done.stderr) == (0, False)


def test_figures_that_cannot_be_written_are_said_before_the_command_runs(plan: Path, tmp_path: Path) -> None:
    ran = tmp_path / "ran"
    figures = tmp_path / "no folder" / "figures.json"
    done = with_command(plan, "touch", str(ran), options=("--figures", str(figures)))
    assert done.returncode == 2
    assert "no folder" in done.stderr
    assert not ran.exists()


# -- the hook -------------------------------------------------------------------------------------------------

OBEY = f"""
import json, os, socket, sys
sys.path[:0] = {[str(TESTS)]!r}
from serving import write_frame
with socket.create_connection((sys.argv[1], int(sys.argv[2]))) as line:
    for number in range(5):
        move = json.loads(os.read(0, 65536).splitlines()[-1])  # the newest: those before it are as good as replaced
        line.sendall(write_frame(1 if move["camera"] == "wall low" else 2, 0, move["value"]))
        heard = b""
        while len(heard) < 8:
            heard += line.recv(8)
        print(json.dumps({{"v": 1, "belief": "value", "camera": move["camera"], "parameter": "iris",
                          "value": move["value"]}}), flush=True)
print("not json")
print(json.dumps({{"v": 1, "belief": "offline", "camera": "nobody"}}))
print("x" * 100_000)
print(json.dumps({{"v": 1, "belief": "offline", "camera": "wall mats"}}), end="")
"""


def test_with_the_hook_moves_come_in_and_beliefs_go_out_and_it_replays(plan: Path, tmp_path: Path) -> None:
    trace, figures = tmp_path / "hook.busim", tmp_path / "figures.json"
    options = ("--intents", "--trace", str(trace), "--figures", str(figures))
    command = (sys.executable, "-c", OBEY, "{wall box.host}", "{wall_box.port}")
    done = with_command(plan, *command, options=options)
    assert done.returncode == 0, done.stderr
    assert done.stdout == ""
    with open_trace(trace) as made:
        kinds = [record[4] for record in made.records(BELIEF)]
        assert kinds == ["value"] * 5 + ["wrong"] * 3 + ["offline"]
        assert sum(1 for _ in made.records(INTENT)) >= 5
    report = json.loads(figures.read_text())
    assert report["wrong_beliefs"]["count"] == 3
    of_line = report["lines"][0]["figures"]
    assert of_line["belief_share"]["value"] == 1
    assert of_line["intent_max"]["value"] > 0
    assert "no belief: not a line of the hook" in done.stderr
    assert replay(trace).difference is None


def test_no_move_is_lost_while_the_command_starts(plan: Path, tmp_path: Path) -> None:
    trace, heard = tmp_path / "moves.busim", tmp_path / "heard"
    keep = f"import os\nwhile data := os.read(0, 65536): open({str(heard)!r}, 'ab').write(data)\n"
    options = ("--intents", "--speed", "10", "--for", "10s", "--trace", str(trace))
    done = with_command(plan, sys.executable, "-c", keep, options=options)
    assert done.returncode == 0, done.stderr
    moves = [json.loads(line) for line in heard.read_text().splitlines()]
    with open_trace(trace) as made:
        wanted = [(record[4], int(record[5])) for record in made.records(INTENT)]
    told = [(move["parameter"], move["value"]) for move in moves]
    assert told
    assert told == wanted[: len(told)]


def test_a_command_that_closes_its_input_and_reads_nothing_ends_well(plan: Path) -> None:
    program = (
        "import os, signal\nsignal.signal(signal.SIGALRM, lambda *_: None)\n"
        "os.close(0)\nsignal.alarm(1)\nsignal.pause()\n"
    )
    done = with_command(plan, sys.executable, "-c", program, options=("--intents", "--speed", "10"))
    assert done.returncode == 0, done.stderr
    assert "moves did not reach the command" in done.stderr


def test_the_frames_of_these_tests_are_those_of_the_standard() -> None:
    assert write_frame(0x11, 1, 3)[:6].hex() == "110600010003"  # MODBUS V1.1b3, 6.6


# -- the examples of the handbook -----------------------------------------------------------------------------


def example(language: str) -> str:
    (text,) = re.findall(rf"^```{language}\n(.*?)^```$", page("hook"), re.MULTILINE | re.DOTALL)
    return text


def heard_of(command: list[str], folder: Path) -> list[tuple[str, str, int]]:
    """The beliefs of an example program with the climbing hall on real sockets; each is true, and replays."""
    trace = folder / "example.busim"
    # a machine that stands still for 30 ms at this speed misses the 150 ms that the plan promises for a move
    options = ("--intents", "--no-expect", "--speed", "5", "--trace", str(trace))
    done = busim("with", str(TOP / "scenarios/climbing-hall/plan.yaml"), *options, "--", *command)
    assert done.returncode == 0, done.stderr
    assert "no belief" not in done.stderr
    assert replay(trace).difference is None
    with open_trace(trace) as made:
        wanted = {(record[2], record[4], record[5]) for record in made.records(INTENT)}
        beliefs = list(made.records(BELIEF))
    assert all((record[2], record[5], record[6]) in wanted for record in beliefs)
    return [(record[4], record[5], record[8]) for record in beliefs]


def test_the_example_in_python_does_what_operators_want_and_believes_the_truth(tmp_path: Path) -> None:
    (tmp_path / "desk.py").write_text(example("python"))
    beliefs = heard_of([sys.executable, str(tmp_path / "desk.py")], tmp_path)
    assert [(kind, behind) for kind, _, behind in beliefs] == [("value", 0)] * 3


@pytest.mark.needs("cc", package="gcc")
def test_the_example_in_c_does_so_too(tmp_path: Path) -> None:
    source, program = tmp_path / "desk.c", tmp_path / "desk"
    source.write_text(example("c"))
    subprocess.run(["cc", "-Wall", "-Wextra", "-Werror", "-o", str(program), str(source)], check=True, timeout=60)
    beliefs = heard_of([str(program), "{boulder box.host}", "{boulder_box.port}"], tmp_path)
    assert beliefs == [("value", "iris", 0)] * 3
