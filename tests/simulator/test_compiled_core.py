"""What holds for both cores, pure Python and compiled: which one runs is said, and ours may be subclassed.

`tools/compiled` runs these tests on the compiled core, and compares the records of both.
"""

from __future__ import annotations

import ast
import os
import pickle
import subprocess
import sys
import tomllib
from importlib import import_module
from pathlib import Path

import pytest
from fuzzed_halls import HALLS
from places import TOP

from busim.plan.models import find as find_model
from busim.protocols import READ, DeclaredProtocol, Frames, ModbusRtu, Reply, Request, find
from busim.protocols.silence import SilenceFramer
from busim.simulator.cameras import Camera
from busim.simulator.kernel import core
from busim.simulator.masters import POLL, Attempt, Master, Step, Target, Task
from busim.testing.broken_masters import NoGap
from busim.testing.fuzzing import Case, PureRun
from busim.testing.judge_catalogue import all_judges

HOOK = tomllib.loads((TOP / "pyproject.toml").read_text())["tool"]["hatch"]["build"]["targets"]["wheel"]["hooks"]
LISTED = [path for pattern in HOOK["custom"]["modules"] for path in TOP.glob(pattern)]
LEFT_OUT = [path for pattern in HOOK["custom"]["without"] for path in TOP.glob(pattern)]
COMPILED = sorted({".".join(path.relative_to(TOP).with_suffix("").parts) for path in set(LISTED) - set(LEFT_OUT)})
USED = ["busim.protocols.contract", "busim.recording.trace.records"]  # not compiled, but their constants are used there
# One judge or one fault of a module, and a number that a test sets.
NOT_FINAL = {"JUDGE", "FAULT", "busim.simulator.bus.exact._KEPT"}
MS = 1_000_000


def test_every_listed_module_is_compiled_or_none_is_and_the_core_says_so() -> None:
    assert core() == os.environ.get("BUSIM_TESTED_CORE", "pure Python")
    pure = {name for name in COMPILED if str(import_module(name).__file__).endswith(".py")}
    assert pure == (set(COMPILED) if core() == "pure Python" else set())


@pytest.mark.parametrize("name", [*COMPILED, *USED])
def test_a_constant_that_the_compiled_core_uses_is_final_so_it_never_looks_for_it(name: str) -> None:
    code = ast.parse((TOP / name.replace(".", "/")).with_suffix(".py").read_text())
    plain = [ast.unparse(target) for one in code.body if isinstance(one, ast.Assign) for target in one.targets]
    assert [one for one in plain if one.isupper() and not NOT_FINAL & {one, f"{name}.{one}"}] == []


def test_every_pattern_of_the_list_finds_a_module() -> None:
    for pattern in (*HOOK["custom"]["modules"], *HOOK["custom"]["without"]):
        assert list(TOP.glob(pattern)), pattern


def test_what_compiling_needs_allows_the_versions_of_the_lock() -> None:
    from packaging.requirements import Requirement

    locked = dict(line.split(" ")[0].split("==") for line in (TOP / "requirements-dev.txt").read_text().splitlines()
                  if "==" in line)  # fmt: skip
    for wanted in map(Requirement, HOOK["custom"]["requires"]):
        assert wanted.specifier.contains(locked[wanted.name]), wanted


def test_a_choice_of_the_core_that_is_none_is_refused(tmp_path: Path) -> None:
    build = f"import os; os.chdir({str(TOP)!r}); import hatchling.build; hatchling.build.build_wheel({str(tmp_path)!r})"
    done = subprocess.run(
        [sys.executable, "-c", build], env={"BUSIM_COMPILED": "yes"}, capture_output=True, text=True, check=False,
        timeout=60,
    )  # fmt: skip
    assert done.returncode == 1
    assert done.stderr.strip() == ("BUSIM_COMPILED is 'yes'; expected 1 (compiled core), or 0 or nothing (pure Python)")


# -- subclasses of ours, interpreted, whose methods ours call ---------------------------------------------------


class Hasty(Master):
    """Gives up at once what it would drain, and marks each request it sends."""

    def __init__(self, polls: list[Task], done: list[Attempt]) -> None:
        super().__init__(ModbusRtu().stream_framer(), polls, done.append, gap=MS, drain=MS, char=MS // 4)
        self.marked = 0

    def _sends(self, task: Task) -> bytes:
        self.marked += 1
        return super()._sends(task) + b"!"

    def _found(self, data: bytes, at: int) -> Reply | None:
        return super()._found(data.rstrip(b"!"), at)


def test_a_master_of_a_user_sends_and_hears_as_it_says() -> None:
    rtu = ModbusRtu()
    request = Request(3, READ, 0, 1)
    done: list[Attempt] = []
    master = Hasty([Task(Target("c", 3), POLL, "fast", request, rtu.encode_request(request), 50 * MS)], done)
    sent: Step = master.step(0)
    assert (sent[0], master.marked) == (rtu.encode_request(request) + b"!", 1)
    master.heard(rtu.encode_reply(Reply(3, READ, 0, (7,))) + b"!", MS)
    assert [(one.outcome, one.values) for one in done] == [("ok", (7,))]


class Shifted(ModbusRtu):
    """Every register lies one higher."""

    name = "shifted"

    def __init__(self) -> None:
        super().__init__()
        self.asked = 0

    def decode_request(self, data: bytes) -> Request | None:
        self.asked += 1
        found = super().decode_request(data)
        return found if found is None else found._replace(key=found.key + 1)


class Patient(SilenceFramer):
    """Never ends a frame by silence."""

    def elapsed(self, at: int) -> Frames:
        return ()


def test_a_protocol_of_a_user_is_asked_by_ours() -> None:
    shifted = Shifted()
    raw = shifted.encode_request(Request(3, READ, 5, 1))
    requests, rest = shifted.cut_requests(raw + raw[:4])
    assert ([one.key for one in requests], rest, shifted.asked) == ([6], raw[:4], 1)
    assert (shifted.name, ModbusRtu().name) == ("shifted", "modbus-rtu")


def test_a_framer_of_a_user_forgets_to_end() -> None:
    framer = Patient(MS, MS // 20, MS, 2 * MS, 256)
    framer.feed(b"abc", 3 * MS, 5 * MS, 0)
    assert (framer.elapsed(99 * MS), framer.quiet_until is None) == ((), False)


class Polite(DeclaredProtocol):
    """Answers nothing to a refusal."""

    def encode_reply(self, reply: Reply) -> bytes:
        return b"" if reply.refused else super().encode_reply(reply)


def test_a_declared_protocol_of_a_user_keeps_the_rest() -> None:
    text = find("text")
    assert isinstance(text, DeclaredProtocol)
    polite = Polite(text.declaration)
    request = Request(3, READ, 0, 1)
    heard = polite.decode_request(polite.encode_request(request))
    assert heard is not None
    assert polite.encode_reply(Reply(3, READ, 0, (7,), 0, heard.form)) != b""
    assert polite.encode_reply(Reply(3, READ, 0, (), 2, heard.form)) == b""


class Locked(Camera):
    """Says that it is locked, whatever its model says."""

    def locked(self, name: str) -> str:
        return f"{name} is taken"

    @property
    def bus_id(self) -> int:
        return 200


def test_a_camera_of_a_user_has_its_own_ways() -> None:
    camera = Locked(find_model("zoom-camera"), "modbus-rtu", 3, 1)
    assert (camera.locked("iris"), camera.bus_id) == ("iris is taken", 200)
    assert camera.serve(Request(3, READ, 0, 1), 0).values == (camera.values["iris"],)


def test_what_a_case_comes_to_can_go_to_another_process() -> None:
    result = PureRun(HALLS["restless"], tuple(all_judges().values()), NoGap)(Case(1, 1000 * MS))
    assert any(one.evidence and one.evidence[0].frames for one in result.verdicts)
    assert pickle.loads(pickle.dumps(result)) == result


@pytest.mark.long
@pytest.mark.timeout(3600)
@pytest.mark.needs("cc", package="gcc")
@pytest.mark.parametrize("what", [["--plans", "400"], ["-n", "2", "tests/simulator"]], ids=["records", "tests"])
def test_both_cores_make_the_same_records_and_pass_the_same_tests(what: list[str]) -> None:
    done = subprocess.run([TOP / "tools" / "compiled", *what], capture_output=True, text=True, check=False)
    if done.returncode == 77:
        pytest.skip(done.stdout)
    assert done.returncode == 0, done.stdout[-4000:] + done.stderr[-2000:]
