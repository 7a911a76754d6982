"""A user's program is checked against busim's own types (PEP 561)."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
from places import TOP

import busim

PROGRAM = """
import asyncio

import busim

plan: busim.Plan = busim.read_plan("plan.yaml")
again: busim.Plan = busim.read_plan_text(plan.source, "plan.yaml")
other = busim.change_plan(again, {"cameras[boulder left].bus_id": 9})

run = busim.Run(other, 1, trace="hall.busim")
run.fault("late-reply", "rope left", by="300 ms", share=0.5)
run.advance(10**9)
run.no_fault("late-reply")
said: str = run.do("power off boulder-left")
run.power("boulder left", True)
run.advance(2 * 10**9)
run.finish()
report: busim.Report = run.report()
age = report.line("rope line").camera("rope left")["age_mean"]
if age.value is not None:
    print(f"{age.quantity.title}: {age.value:.3f} {age.quantity.unit}", age.kind, age.count)
print([(line.name, line["poll_rate"].value) for line in report.lines], report.length // 10**9)
try:
    report.line("rope lane")
except busim.UserError as error:
    print(error.found, error.mend)
except busim.Defect:
    raise

with busim.open_trace("hall.busim") as trace:
    complete = trace.head["complete"]
    marks: int = sum(1 for _ in trace.records(since=0, until=10**9))
replayed: busim.Replay = busim.replay("hall.busim")
print(complete, marks > 0, replayed.difference is None)


async def controller(hall: busim.Virtual) -> int:
    await asyncio.sleep(0.1)
    hall.mark("begun")
    return hall.now


with busim.Virtual(plan, seed=1, until=10**9, intents=True) as hall:
    ended: int = hall.run(controller, hall)
with busim.serial_world(plan, intents=True) as world:
    world.intend("boulder left", "iris", 700)
    moves: list[busim.Intent] = world.intents()
    print(ended, moves[0].value, world.url("boulder box").startswith("busim:"))


async def served() -> dict[str, int]:
    async with busim.Live(plan, any_port=True, until=10**8) as live:
        live.reboot("rope left")
        return {name: address.port for name, address in live.addresses.items()}


print(len(asyncio.run(served())))
"""

WRONG = """
with busim.serial_world(plan, 1) as world:
    text: str = world.url("wall box")
number: int = busim.Virtual(plan).now
wrong: str = busim.Run(plan, 1).report().length
busim.nonsense
"""


def checked(folder: Path, program: str) -> subprocess.CompletedProcess[str]:
    (folder / "program.py").write_text(program)
    return subprocess.run(
        [sys.executable, "-m", "mypy", "--strict", "--config-file=", "--follow-imports=silent",
         f"--cache-dir={TOP / '.mypy_cache' / 'user'}", "program.py"],
        cwd=folder, capture_output=True, text=True, timeout=300,
    )  # fmt: skip


@pytest.mark.timeout(300)
def test_a_users_program_passes_a_strict_type_check_and_a_wrong_one_does_not(tmp_path: Path) -> None:
    every = "\n".join(f"busim.{name}" for name in busim.__all__)
    good = checked(tmp_path, f"{PROGRAM}\n{every}\n")
    assert good.returncode == 0, good.stdout + good.stderr
    wrong = checked(tmp_path, PROGRAM.replace('"plan.yaml"', "5", 1) + WRONG)
    errors = [line.split("  ")[-1] for line in wrong.stdout.splitlines() if "error: " in line]
    assert errors == ["[arg-type]", "[assignment]", "[attr-defined]"], wrong.stdout


def test_the_same_program_does_what_it_says(tmp_path: Path) -> None:
    (tmp_path / "plan.yaml").write_text((TOP / "scenarios/climbing-hall/plan.yaml").read_text())
    (tmp_path / "program.py").write_text(PROGRAM)
    done = subprocess.run(
        [sys.executable, "program.py"], cwd=tmp_path, capture_output=True, text=True, timeout=100, check=False
    )
    assert done.returncode == 0, done.stderr
    age, lines, wrong, trace, sessions, doors = done.stdout.splitlines()
    assert age.startswith("age, mean: 0.")
    assert lines.startswith("[('boulder line', ")
    assert lines.endswith(" 2")
    assert wrong == "'rope lane' did you mean `rope line`?"
    assert trace == "1 True True"
    assert sessions == "100000000 700 True"
    assert doors == "3"
