"""The code base keeps its own rules: layers, public names, short modules, clean locks, a complete wheel."""

from __future__ import annotations

import ast
import graphlib
import importlib
import re
import subprocess
import sys
import sysconfig
import tomllib
import venv
import zipfile
from pathlib import Path

import pytest
from hatchling.build import build_wheel
from places import TOP

import busim

PACKAGE = TOP / "busim"
PROJECT = tomllib.loads((TOP / "pyproject.toml").read_text())
PACKAGES = sorted(path.parent.name for path in PACKAGE.glob("*/__init__.py"))
WITH_NAMES = sorted(
    ".".join(path.parent.relative_to(TOP).parts) for path in PACKAGE.rglob("__init__.py") if path.parent != PACKAGE
)
MODULES = sorted(PACKAGE.rglob("*.py"))
CONTRACTS = {contract["name"]: contract for contract in PROJECT["tool"]["importlinter"]["contracts"]}


def _layers() -> list[list[str]]:
    return [[package.strip() for package in layer.split("|")] for layer in CONTRACTS["Packages"]["layers"]]


def test_the_version_stands_in_two_places_and_agrees() -> None:
    assert PROJECT["project"]["version"] == busim.__version__


def test_every_package_has_one_layer() -> None:
    assert sorted(package for layer in _layers() for package in layer) == PACKAGES


def test_tests_lie_in_folders_of_the_packages_that_they_test() -> None:
    folders = {path.relative_to(TOP / "tests").parts[0] for path in (TOP / "tests").glob("*/**/test_*.py")}
    assert folders <= set(PACKAGES)
    alone = {path.name for path in (TOP / "tests").glob("test_*.py")}
    assert alone == {"test_layout.py", "test_mutants.py", "test_typed.py"}  # of the whole project


def test_every_package_of_several_parts_orders_them() -> None:
    inside = {name.removeprefix("Inside busim.") for name in CONTRACTS if name.startswith("Inside ")}
    parts = {name: [*(PACKAGE / name).glob("*.py"), *(PACKAGE / name).glob("*/__init__.py")] for name in PACKAGES}
    several = {name for name, found in parts.items() if len(found) > 2}  # its own `__init__` is one
    assert inside >= several
    assert all(contract["exhaustive"] for contract in CONTRACTS.values() if contract["type"] == "layers")


def test_every_package_below_runtime_is_kept_from_wall_time_and_input() -> None:
    layers = _layers()
    runtime = next(number for number, layer in enumerate(layers) if "runtime" in layer)
    below = sorted(f"busim.{package}" for layer in layers[runtime + 1 :] for package in layer)
    closed = [contract for contract in CONTRACTS.values() if contract["type"] == "forbidden"]
    assert len(closed) == 2
    assert all(contract["source_modules"] == below for contract in closed)


def test_only_the_reader_and_the_writer_of_files_open_one_below_runtime() -> None:
    """Contracts see imports alone, and `open` needs none."""
    below = {name.split(".")[1] for name in CONTRACTS["Files are read and written where it is said"]["source_modules"]}
    opening = {
        _name(module)
        for module in MODULES
        if module.relative_to(PACKAGE).parts[0] in below
        for node in ast.walk(ast.parse(module.read_text()))
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "open"
    }
    assert opening == {"busim.foundation.output", "busim.foundation.yaml_source.reading"}


def _imports(module: Path) -> set[str]:
    """Modules of busim that `module` imports anywhere, type checking included."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(module.read_text())):
        if isinstance(node, ast.ImportFrom) and node.module and node.module.split(".")[0] == "busim":
            for alias in node.names:
                path = PACKAGE.parent / Path(*node.module.split("."), alias.name)
                inner = path.with_suffix(".py").exists() or (path / "__init__.py").exists()
                found.add(f"{node.module}.{alias.name}" if inner else node.module)
        elif isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names if alias.name.split(".")[0] == "busim"}
    return found


def _name(module: Path) -> str:
    return ".".join(module.relative_to(TOP).with_suffix("").parts).removesuffix(".__init__")


def test_no_modules_import_each_other_in_a_circle_for_types_or_otherwise() -> None:
    sorter = graphlib.TopologicalSorter({_name(module): _imports(module) for module in MODULES})
    try:
        sorter.prepare()
    except graphlib.CycleError as error:
        pytest.fail("circle: " + " -> ".join(error.args[1]))


@pytest.mark.parametrize("package", WITH_NAMES)
def test_public_names_of_a_package_are_those_it_declares(package: str) -> None:
    module = importlib.import_module(package)
    declared = getattr(module, "__all__", ())
    assert [name for name in declared if not hasattr(module, name)] == []
    own = {
        name
        for name, value in vars(module).items()
        if not name.startswith("_") and f"{getattr(value, '__module__', '')}.".startswith(f"{package}.")
    }
    assert own <= set(declared)


def test_no_name_that_is_fetched_late_is_that_of_a_module_beside_it() -> None:
    """Python puts a module that is imported in the place of such a name, unless the module is what is meant."""
    for package in MODULES:
        if package.stem == "__init__":
            tree, own = ast.parse(package.read_text()), _name(package)
            imports = [node for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)]
            right = [node for node in imports if node in tree.body or node.module == own]
            beside = {one.stem for one in package.parent.glob("*.py")}
            named = set(getattr(importlib.import_module(own), "__all__", ()))
            assert named & beside <= {alias.asname or alias.name for node in right for alias in node.names}, own


def test_a_package_of_five_modules_or_more_says_which_to_open_first() -> None:
    for package in sorted({module.parent for module in MODULES}):
        modules = [one for one in MODULES if one.parent == package and one.stem != "__init__"]
        if len(modules) < 5 or package in (
            PACKAGE,
            PACKAGE / "analysis/check/rules",
            PACKAGE / "simulator/faults/catalogue",
        ):
            continue  # busim itself lists its names; rules and faults are all alike
        said = " ".join((ast.get_docstring(ast.parse((package / "__init__.py").read_text())) or "").split())
        named = re.search(r"(?:Open|Start with) `([\w/]+)(?:\.py)?`", said)
        assert named is not None, package
        assert (package / named[1]).is_dir() or (package / f"{named[1]}.py").is_file(), (package, named[1])


@pytest.mark.parametrize("package", PACKAGES)
def test_a_package_says_what_comes_in_what_goes_out_and_which_file_to_open(package: str) -> None:
    said = " ".join((ast.get_docstring(ast.parse((PACKAGE / package / "__init__.py").read_text())) or "").split())
    for words in ("In: ", "Out: ", "Open "):
        assert words in said, words


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
    names = zipfile.ZipFile(tmp_path / build_wheel(str(tmp_path))).namelist()
    packed = set(names)
    wanted = {
        str(path.relative_to(TOP)) for path in PACKAGE.rglob("*") if path.is_file() and "__pycache__" not in path.parts
    }
    assert wanted == {name for name in packed if not name.startswith("busim-")}
    assert len(names) == len(packed)


def test_the_project_installs_into_a_fresh_environment_by_pip_and_runs_there(tmp_path: Path) -> None:
    place = tmp_path / "fresh"
    venv.create(place, with_pip=False)
    python = place / "bin" / "python"
    (site,) = place.glob("lib/python*/site-packages")
    (site / "dependencies.pth").write_text(sysconfig.get_path("purelib"))  # those of the lock, without fetching them
    install = ["install", "--quiet", "--no-index", "--no-deps", "--no-build-isolation", "--ignore-installed", str(TOP)]
    subprocess.run([sys.executable, "-m", "pip", "--python", str(python), *install], check=True, timeout=100)
    assert (site / "busim" / "py.typed").is_file()
    where = "import busim; print(busim.__file__)"
    for command, said in (
        ([str(python), "-c", where], str(site / "busim" / "__init__.py")),
        ([str(place / "bin" / "busim"), "--version"], f"busim {busim.__version__} (pure Python core)"),
    ):
        done = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, check=True, timeout=60)
        assert done.stdout.strip() == said
