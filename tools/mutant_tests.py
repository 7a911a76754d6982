"""Runs chosen tests in a forked process on one copy of the project: what `mutants.py` does with each mutant."""

from __future__ import annotations

import contextlib
import importlib
import json
import os
import resource
import signal
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from types import FrameType
from typing import Any

import pytest
from hypothesis import Phase, settings, stateful

EXAMPLES = 60  # of each property test at most
LEAST = 3.0  # s of processor time, the minimum limit of a test
TIMES = 10  # more than its time on the unchanged code, and a test has failed
MEMORY = 4 << 30  # bytes: a loop that collects for ever ends
_LOADED = ("numpy", "pydantic", "ruamel.yaml", "construct", "anycrc", "crccheck", "typer", "rich.table", "coverage",
           "xdist", "pytest_asyncio", "pytest_timeout", "serial", "sqlite3", "asyncio")  # fmt: skip


def load() -> None:
    """Imports what every test needs and no mutant changes, once for all forks."""
    for name in _LOADED:
        importlib.import_module(name)


def run(place: Path, files: list[str], tests: list[str], seconds: dict[str, float], core: list[str]) -> None:
    """In a process of its own: these tests in their order until one fails. Without tests: all of the files, with the
    lines they run. Never returns; `result` reads what it leaves in the copy.
    """
    os.setsid()
    os.chdir(place)
    log = os.open(place / "log", os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
    os.dup2(log, 1)
    os.dup2(log, 2)
    os.environ["PYTHONPATH"] = str(place)
    os.environ.pop("CI", None)
    sys.path.insert(0, str(place))
    sys.dont_write_bytecode = bool(tests)  # the first run compiles what all later ones load
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
    (place / "result").unlink(missing_ok=True)
    stateful.run_state_machine_as_test = _fewer(stateful.run_state_machine_as_test)
    chosen: Chosen | Mapping = Chosen(place, tests, seconds) if tests else Mapping(place, core)
    options = ["-q", "--tb=line", "-p", "no:cacheprovider", "-p", "no:xdist", f"--basetemp={place / 'tmp'}"]
    code = pytest.main([*options, *(["-x"] if tests else []), *files], plugins=[chosen])
    chosen.finish(int(code))
    os._exit(0)


def result(place: Path, exit_code: int | None) -> dict[str, Any]:
    """The result of the last run on this copy. A process that died of the change has found it out too."""
    with contextlib.suppress(OSError, ValueError):
        return dict(json.loads((place / "result").read_text()))
    return {"verdict": "killed", "by": f"the end of the process ({exit_code})"}


def _leave(place: Path, found: dict[str, Any]) -> None:
    (place / "result").write_text(json.dumps(found))


def _reduced(of: settings) -> settings:
    return settings(of, max_examples=min(of.max_examples, EXAMPLES), phases=(Phase.explicit, Phase.generate),
                    database=None, derandomize=True, deadline=None)  # fmt: skip


def _fewer(whole: Any) -> Any:
    def run_fewer(machine: Any, *, settings: settings | None = None, **more: Any) -> None:
        whole(machine, settings=_reduced(settings or machine.TestCase.settings), **more)

    return run_fewer


class _Reducing:
    """Property tests run few examples, always the same."""

    def pytest_collection_modifyitems(self, items: list[pytest.Item]) -> None:
        for item in items:
            test: Any = getattr(item, "obj", None)
            of = getattr(test, "_hypothesis_internal_use_settings", None)
            if of is not None:
                getattr(test, "__func__", test)._hypothesis_internal_use_settings = _reduced(of)


class Chosen(_Reducing):
    """Runs the named tests in their order; a test that takes too long ends the process."""

    def __init__(self, place: Path, tests: list[str], seconds: dict[str, float]) -> None:
        self.place = place
        self.order = {name: number for number, name in enumerate(tests)}
        self.seconds = seconds
        self.by = ""

    @pytest.hookimpl(trylast=True)
    def pytest_collection_modifyitems(self, items: list[pytest.Item]) -> None:
        items[:] = sorted(
            (item for item in items if item.nodeid in self.order), key=lambda item: self.order[item.nodeid]
        )
        super().pytest_collection_modifyitems(items)

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Iterator[None]:
        def too_long(_signal: int, _frame: FrameType | None) -> None:
            _leave(self.place, {"verdict": "took too long", "by": item.nodeid})
            os._exit(0)

        signal.signal(signal.SIGPROF, too_long)
        signal.setitimer(signal.ITIMER_PROF, LEAST + TIMES * self.seconds.get(item.nodeid, 0.0))
        result = yield
        signal.setitimer(signal.ITIMER_PROF, 0)
        return result

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if report.failed and not self.by:
            self.by = report.nodeid

    def finish(self, code: int) -> None:
        alive = code == pytest.ExitCode.OK
        _leave(
            self.place, {"verdict": "survived" if alive else "killed", "by": self.by or f"pytest's exit code {code}"}
        )


class Mapping(_Reducing):
    """Notes the lines of the core that each test runs, its processor time, and whether it passes."""

    def __init__(self, place: Path, core: list[str]) -> None:
        import coverage

        self.place = place
        self.coverage = coverage.Coverage(
            data_file=None, include=[f"{place / name}/*" for name in core], config_file=False
        )
        self.coverage.start()
        self.seconds: dict[str, float] = {}
        self.failed: list[str] = []

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Iterator[None]:
        self.coverage.switch_context(item.nodeid)
        began = time.process_time()
        result = yield
        self.seconds[item.nodeid] = time.process_time() - began
        self.coverage.switch_context("")
        return result

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if report.failed:
            self.failed.append(report.nodeid)

    def finish(self, code: int) -> None:
        self.coverage.stop()
        data = self.coverage.get_data()
        lines = {}
        for file in data.measured_files():
            contexts = data.contexts_by_lineno(file)
            by_line = {line: [name for name in names if name] for line, names in contexts.items()}
            lines[Path(file).relative_to(self.place).as_posix()] = {
                line: names for line, names in by_line.items() if names
            }
        passed = {name: spent for name, spent in self.seconds.items() if name not in self.failed}
        _leave(self.place, {"seconds": passed, "lines": lines, "failed": self.failed, "code": code})
