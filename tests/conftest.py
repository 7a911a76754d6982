"""Fixtures of all tests: programs of the system, asked for by name.

`@pytest.mark.needs("tshark")` marks a test that runs a program from a system package. Where the program is missing the
test is counted as not run and the summary names the package; in CI (the CI variable is set) that is a failure, so that
the outside checks cannot fall away unseen.
"""

from __future__ import annotations

import os
import shutil
import signal
from collections import Counter

import pytest
from hypothesis import settings

# The wall time of an example depends on the load of the machine; pytest-timeout ends a test that hangs.
# A test without a number of its own draws 30 examples, and one with a number half of it, but no fewer than 30. With
# `tools/test --hypothesis-profile thorough` it is 1000 without a number, and the whole number.
_DAILY = 30
_STATED = "_hypothesis_internal_use_settings"  # what `@settings` above `@given` leaves on a test
settings.register_profile("daily", settings(), deadline=None, max_examples=_DAILY)
settings.register_profile("thorough", settings(), deadline=None, max_examples=1000)
settings.load_profile("daily")

# A shell that puts the tests into the background lets them ignore Ctrl-C, and the programs they start with them.
if signal.getsignal(signal.SIGINT) == signal.SIG_IGN:
    signal.signal(signal.SIGINT, signal.default_int_handler)
# So does nohup with a lost terminal. A handler is not passed on to a program as "ignored" is.
if signal.getsignal(signal.SIGHUP) == signal.SIG_IGN:
    signal.signal(signal.SIGHUP, lambda *_: None)

# Files whose tests take longest come first, so that no process is left with a long one when the others have ended. Not
# those that give a program seconds to begin: at first types are checked and the core is compiled beside them.
_FIRST = {"test_verify.py", "test_against_simpy.py", "test_screens.py", "test_replay.py", "test_typed.py"}

_NOT_RUN = "not run, needs the system package "


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    items.sort(key=lambda item: item.path.name not in _FIRST)
    if settings.get_current_profile_name() != "daily":
        return
    tests = {getattr(item.obj, "__func__", item.obj) for item in items  # once, however many parameters it has
             if isinstance(item, pytest.Function) and item.get_closest_marker("long") is None}  # fmt: skip
    for test in tests:
        stated = getattr(test, _STATED, None)
        if stated is not None and stated.max_examples > _DAILY:
            setattr(test, _STATED, settings(stated, max_examples=max(_DAILY, stated.max_examples // 2)))


def pytest_runtest_setup(item: pytest.Item) -> None:
    for marker in item.iter_markers("needs"):
        command = marker.args[0]
        package = marker.kwargs.get("package", command)
        if shutil.which(command) is not None:
            continue
        if os.environ.get("CI"):
            pytest.fail(f"in CI every outside check runs, and {command} is missing: apt-get install {package}")
        pytest.skip(_NOT_RUN + package)


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    missing: Counter[str] = Counter()
    for report in terminalreporter.stats.get("skipped", []):
        reason = report.longrepr[2] if isinstance(report.longrepr, tuple) else ""
        if _NOT_RUN in reason:
            missing[reason.partition(_NOT_RUN)[2]] += 1
    for package, count in sorted(missing.items()):
        tests = "test" if count == 1 else "tests"
        terminalreporter.write_line(f"not run: {count} {tests} for want of {package} (apt-get install {package})")
