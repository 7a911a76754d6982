"""What a command may load before it works: a person waits for it each time."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
from typer.main import get_command
from typer.testing import CliRunner

from busim.cli import app
from busim.cli.commands import Commands, PlanCommands
from busim.cli.loading import module

PLAN = str(Path(__file__).parents[2] / "scenarios" / "climbing-hall" / "plan.yaml")
# Packages that take longest to load, and those of busim that hold a command up though few commands need them.
HEAVY = {
    "asyncio", "dask", "jinja2", "matplotlib", "multiprocessing", "numpy", "openpyxl", "pyarrow", "rich.console",
    "ruamel.yaml", "scipy", "serial", "starlette", "uvicorn", "websockets",
    "busim.analysis.budget.line", "busim.analysis.split", "busim.commissioning", "busim.experiments.plots",
    "busim.installation.rehearsal", "busim.onsite", "busim.protocols.declared", "busim.physics.electric.feeding",
    "busim.recording.exports",
    "busim.recording.trace.writer", "busim.runtime", "busim.simulator", "busim.testing", "busim.web",
}  # fmt: skip
COMPUTES = {"numpy", "rich.console", "ruamel.yaml"}
MAY: dict[tuple[str, ...], set[str]] = {
    ("--version",): set(),
    ("plan", "--help"): set(),
    ("check", PLAN): COMPUTES | {"busim.analysis.budget.line", "busim.physics.electric.feeding"},
    ("budget", PLAN): COMPUTES | {"busim.analysis.budget.line"},
    ("sweep", PLAN, "--vary", "cameras=1..4", "--vary", "line.baud=9600,19200"): COMPUTES,
}


@pytest.mark.parametrize("words", list(MAY), ids=lambda words: " ".join(word for word in words if word != PLAN))
def test_a_command_loads_only_the_heavy_packages_that_it_needs(words: tuple[str, ...]) -> None:
    program = (
        "import atexit, gc, sys; from busim.cli import main\n"
        "atexit.register(lambda: gc.get_freeze_count() or print('everything is collected once more'))\n"
        "try: main()\n"
        "except SystemExit as end: print(*sys.modules, file=sys.stderr); sys.exit(end.code)\n"
    )
    done = subprocess.run([sys.executable, "-c", program, *words], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert HEAVY & set(done.stderr.split()) <= MAY[words]
    assert "once more" not in done.stdout  # that takes longer than to read a plan


def test_a_command_is_loaded_when_it_is_asked_for() -> None:
    group = get_command(app.app)
    assert isinstance(group, Commands)
    assert not group.commands.made
    CliRunner().invoke(app.app, ["--version"])
    assert group.commands["check"].name == "check"
    assert list(group.commands.made) == ["check"]


@pytest.mark.parametrize("group", [Commands, PlanCommands])
def test_each_command_stands_under_its_own_name(group: type[Commands | PlanCommands]) -> None:
    for name, of in group.modules.items():
        assert name == module(of).NAME


def test_a_mistyped_command_brings_the_one_that_is_meant() -> None:
    assert "Did you mean 'check'?" in CliRunner().invoke(app.app, ["chek"]).output
    assert "Did you mean 'show'?" in CliRunner().invoke(app.app, ["plan", "shwo"]).output
