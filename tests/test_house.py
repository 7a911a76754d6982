"""The house keeps its own rules: storeys, public names, short modules, clean locks, a complete wheel."""

from __future__ import annotations

import importlib
import os
import re
import sys
import tomllib
import zipfile
from pathlib import Path

import pytest
import uv_build

import busim

TOP = Path(__file__).resolve().parent.parent
PACKAGE = TOP / "busim"
PROJECT = tomllib.loads((TOP / "pyproject.toml").read_text())
ROOMS = sorted(path.parent.name for path in PACKAGE.glob("*/__init__.py"))
MODULES = sorted(PACKAGE.rglob("*.py"))
CONTRACTS = {contract["type"]: contract for contract in PROJECT["tool"]["importlinter"]["contracts"]}


def _storeys() -> list[list[str]]:
    return [[room.strip() for room in storey.split("|")] for storey in CONTRACTS["layers"]["layers"]]


def test_the_version_stands_in_two_places_and_agrees() -> None:
    assert PROJECT["project"]["version"] == busim.__version__


def test_every_room_has_one_storey() -> None:
    assert sorted(room for storey in _storeys() for room in storey) == ROOMS


def test_every_room_below_the_bridge_is_kept_from_wall_time_and_input() -> None:
    storeys = _storeys()
    ground = next(number for number, storey in enumerate(storeys) if "bridge" in storey)
    below = [f"busim.{room}" for storey in storeys[ground + 1 :] for room in storey]
    assert CONTRACTS["forbidden"]["source_modules"] == sorted(below)


@pytest.mark.parametrize("room", ROOMS)
def test_public_names_of_a_room_are_those_it_declares(room: str) -> None:
    module = importlib.import_module(f"busim.{room}")
    declared = getattr(module, "__all__", ())
    assert [name for name in declared if not hasattr(module, name)] == []
    own = {
        name
        for name, value in vars(module).items()
        if not name.startswith("_") and f"{getattr(value, '__module__', '')}.".startswith(f"busim.{room}.")
    }
    assert own <= set(declared)


@pytest.mark.parametrize("module", MODULES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_a_module_stays_under_400_lines(module: Path) -> None:
    assert len(module.read_text().splitlines()) < 400


@pytest.mark.parametrize("lock", ["requirements.txt", "requirements-dev.txt"])
def test_a_lock_pins_every_package_by_hash_and_names_no_place(lock: str) -> None:
    text = (TOP / lock).read_text()
    assert not re.search(r"https?:|file:|--(extra-)?index|--find-links|/", text)
    entries = [line for line in text.splitlines() if line and not line.startswith((" ", "#"))]
    assert entries
    assert all(re.match(r"[a-z0-9-]+==\S+", line) for line in entries)
    assert len(re.findall(r"==\S+ .*\\\n +--hash=sha256:", text)) == len(entries)


def test_the_two_locks_agree_where_both_name_a_package() -> None:
    run, dev = (
        dict(re.findall(r"^([a-z0-9-]+)==(\S+)", (TOP / lock).read_text(), re.MULTILINE))
        for lock in ("requirements.txt", "requirements-dev.txt")
    )
    assert run.items() <= dev.items()


def test_the_wheel_carries_everything_in_the_package(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(TOP)
    monkeypatch.setenv("PATH", str(Path(sys.executable).parent), prepend=os.pathsep)  # where the back end's program is
    wheel = tmp_path / uv_build.build_wheel(str(tmp_path))
    packed = set(zipfile.ZipFile(wheel).namelist())
    wanted = {
        str(path.relative_to(TOP)) for path in PACKAGE.rglob("*") if path.is_file() and "__pycache__" not in path.parts
    }
    assert wanted <= packed
    assert not [name for name in packed if not name.startswith(("busim/", "busim-"))]
