"""A user's program is checked against busim's own types (PEP 561)."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
from places import TOP

import busim

PROGRAM = """
import busim

plan: busim.Plan = busim.read_plan("plan.yaml")
run = busim.Run(plan, 1, trace="hall.busim")
run.advance(10**9)
run.finish()
with busim.open_trace("hall.busim") as trace:
    complete = trace.head["complete"]
print(complete, [line.name for line in run.report().lines])
again: busim.Replay = busim.replay("hall.busim")
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
    wrong = checked(tmp_path, PROGRAM.replace('"plan.yaml"', "5"))
    assert "incompatible type" in wrong.stdout
