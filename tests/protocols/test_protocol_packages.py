"""Protocols that packages bring, by entry points: the example for developers is built, installed and run."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import zipfile
from importlib.metadata import entry_points
from pathlib import Path

import pytest
from hatchling.build import build_wheel
from places import TOP

from busim.foundation.errors import UserError
from busim.protocols import GROUP, find, names

EXAMPLE = Path(__file__).parent / "inverted-rtu"
PROGRAM = "from busim.cli import main; main()"


def _install(folder: Path, to: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """As an installer does: the project's wheel, unpacked where Python looks."""
    monkeypatch.chdir(folder)
    wheel = build_wheel(str(folder))
    with zipfile.ZipFile(folder / wheel) as file:
        file.extractall(to)


def test_the_example_for_developers_is_built_installed_and_run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    package = tmp_path / "package"
    shutil.copytree(EXAMPLE, package)
    _install(package, tmp_path / "site", monkeypatch)
    plan = (TOP / "scenarios/two-masters/plan.yaml").read_text(encoding="utf-8")
    plan = (
        plan.replace("modbus-rtu", "inverted-rtu")
        .replace(", temperature]", "]")
        .replace("values: [temperature]", "values: [tally]")
    )
    (tmp_path / "plan.yaml").write_text(plan)
    environment = os.environ | {"PYTHONPATH": os.pathsep.join([str(tmp_path / "site"), str(TOP)])}
    done = subprocess.run(
        [sys.executable, "-c", PROGRAM, "run", str(tmp_path / "plan.yaml"), "--for", "4s", "--detail"],
        env=environment, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    row = next(line.split() for line in done.stdout.splitlines() if line.startswith("whole line"))
    assert int(row[2]) > 100  # exchanges in the four seconds before the laptop begins
    assert "time-outs" not in done.stderr


def _package(folder: Path, entry: str, module: str) -> None:
    (folder / "own_protocol.py").write_text(module)
    info = folder / "own_protocol-1.0.dist-info"
    info.mkdir()
    (info / "METADATA").write_text("Metadata-Version: 2.1\nName: own-protocol\nVersion: 1.0\n")
    (info / "entry_points.txt").write_text(f"[{GROUP}]\n{entry}\n")


@pytest.mark.parametrize(
    ("entry", "module"),
    [
        ("own = own_protocol:Missing", ""),
        ("own = own_protocol:made", "def made():\n    raise RuntimeError('no')"),
        ("own = own_protocol:made", "made = object()"),
        ("own = nowhere:made", ""),
    ],
)
def test_a_package_that_brings_no_protocol_is_told(
    entry: str, module: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    _package(tmp_path, entry, module)
    monkeypatch.syspath_prepend(tmp_path)
    monkeypatch.delitem(sys.modules, "own_protocol", raising=False)
    assert "own" in names()
    with pytest.raises(UserError, match="cannot be used"):
        find("own")


def test_a_package_does_not_take_the_place_of_a_protocol_of_busim(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    _package(tmp_path, "text = own_protocol:made", "made = 1")
    monkeypatch.syspath_prepend(tmp_path)
    assert find("text").name == "text"


def test_modbus_rtu_has_an_entry_point_as_an_example() -> None:
    """Where the package is installed; from a bare checkout there is no metadata to have it in."""
    for point in entry_points(group=GROUP):
        if point.name == "modbus-rtu":
            assert point.load() is type(find("modbus-rtu"))
