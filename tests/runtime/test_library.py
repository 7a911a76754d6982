"""`import busim`: few names, light to import, typed, and the example in its docstring runs."""

from __future__ import annotations

import ast
import doctest
import importlib
import inspect
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from places import TOP

import busim


def test_the_example_in_the_docstring_runs(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(TOP)
    results = doctest.testmod(busim)
    assert results.failed == 0
    assert results.attempted >= 6


def test_every_public_name_is_there_and_is_that_of_its_room() -> None:
    assert sorted(busim.__all__) == busim.__all__
    assert {"__version__", *busim._FROM} == set(busim.__all__)
    assert set(busim.__all__) <= set(dir(busim))
    for name, (room, there) in busim._FROM.items():
        assert getattr(busim, name) is getattr(importlib.import_module(f"busim.{room}"), there)


def test_type_checkers_are_told_of_the_same_names() -> None:
    tree = ast.parse((TOP / "busim/__init__.py").read_text())
    (block,) = (node for node in tree.body if isinstance(node, ast.If) and getattr(node.test, "id", "") != "")
    told = {
        alias.asname or alias.name for node in block.body if isinstance(node, ast.ImportFrom) for alias in node.names
    }
    assert told == set(busim._FROM)


def test_a_type_checker_sees_what_the_names_are(tmp_path: Path) -> None:
    program = tmp_path / "program.py"
    program.write_text(
        "import busim\n"
        "plan: busim.Plan = busim.read_plan('plan.yaml')\n"
        "with busim.serial_world(plan, 1) as world:\n"
        "    text: str = world.url('wall box')\n"
        "number: int = busim.Virtual(plan).now\n"
        "wrong: str = busim.Run(plan, 1).report().length\n"
        "busim.nonsense\n"
    )
    command = [sys.executable, "-m", "mypy", "--strict", "--follow-imports=silent", "--cache-dir", str(tmp_path)]
    said = subprocess.run([*command, str(program)], cwd=TOP, capture_output=True, text=True, timeout=110, check=False)
    errors = [line.split("error: ")[1] for line in said.stdout.splitlines() if "error: " in line]
    assert [error.split("  ")[-1] for error in errors] == ["[assignment]", "[attr-defined]"], said.stdout


def test_importing_it_loads_no_package_but_its_version() -> None:
    program = "import sys, busim; print(sorted(name for name in sys.modules if name.startswith(('busim.', 'numpy'))))"
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert done.stdout == "['busim.foundation', 'busim.foundation.version']\n"


def test_an_unknown_name_is_an_attribute_error_as_of_any_module() -> None:
    with pytest.raises(AttributeError, match="module 'busim' has no attribute 'nonsense'"):
        _ = busim.nonsense  # type: ignore[attr-defined]


@pytest.mark.parametrize("name", sorted(busim._FROM))
def test_every_public_name_says_what_it_is(name: str) -> None:
    assert len(inspect.getdoc(getattr(busim, name)) or "") > 20


@pytest.fixture(scope="module")
def report() -> busim.Report:
    run = busim.Run(busim.read_plan(TOP / "scenarios/climbing-hall/plan.yaml"), seed=1)
    run.advance(10**9)
    return run.report()


def test_a_figure_is_found_by_the_names_of_its_line_and_its_camera(report: busim.Report) -> None:
    (rope,) = (line for line in report.lines if line.name == "rope line")
    (left,) = (camera for camera in rope.cameras if camera.name == "rope left")
    assert report.line("rope line").camera("rope left")["age_mean"] is left.figures["age_mean"]
    assert report.line("rope line")["poll_rate"] is rope.figures["poll_rate"]


@pytest.mark.parametrize(
    ("look", "what", "found", "one_of", "mend"),
    [
        (lambda report: report.line("rope lane"), "the plan has no line of this name", "'rope lane'",
         "boulder line", "did you mean 'rope line'?"),
        (lambda report: report.line("xyz"), "the plan has no line of this name", "'xyz'",
         "speed line", "use the name of a line as the plan has it"),
        (lambda report: report.line("rope line").camera("rope-left"), "line 'rope line' has no camera of this name",
         "'rope-left'", "rope left", "did you mean 'rope left'?"),
        (lambda report: report.line("rope line")["poll rate"], "line 'rope line' has no figure of this name",
         "'poll rate'", "poll_rate", "did you mean 'poll_rate'?"),
        (lambda report: report.line("rope line").camera("rope left")["age_man"],
         "camera 'rope left' has no figure of this name", "'age_man'", "age_mean", "did you mean 'age_mean'?"),
        (lambda report: report.line("rope line").camera("rope left")[0],
         "camera 'rope left' has no figure of this name", "0", "age_mean",
         "`busim explain figures` lists the figures"),
    ],
)  # fmt: skip
def test_a_name_that_is_not_in_a_report_is_refused_with_those_that_are(
    report: busim.Report, look: Callable[[busim.Report], object], what: str, found: str, one_of: str, mend: str
) -> None:
    with pytest.raises(busim.UserError) as raised:
        look(report)
    error = raised.value
    assert (error.what, error.found, error.mend) == (what, found, mend)
    assert one_of in (error.expected or "").removeprefix("one of ").split(", ")
