"""Traces for tests of the page and the report, recorded once per test process."""

from __future__ import annotations

import atexit
import shutil
import tempfile
from collections.abc import Callable
from functools import cache
from itertools import count
from pathlib import Path

from fault_halls import S, hall
from places import SCENARIOS

from busim.installation import outline
from busim.plan import read
from busim.recording.trace import Trace, open_trace
from busim.runtime.session import Run, plan_of
from busim.web.picture import LaidLine, LinePicture, Story, Sums, laid_lines, line_picture

_NUMBERS = count(1)


@cache
def _folder() -> Path:
    folder = Path(tempfile.mkdtemp(prefix="busim-test-"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    return folder


@cache
def scenario_trace(name: str, seconds: int) -> Path:
    """A scenario, run with seed 1."""
    path = _folder() / f"{name}-{seconds}.busim"
    _record(Run(read(SCENARIOS / name / "plan.yaml"), 1, trace=path), seconds * S)
    return path


@cache
def faulty_trace(faults: str, seconds: int = 3, during: Callable[[Run], None] | None = None) -> Path:
    """The fault hall with these faults; `during` acts on the run after 1 s."""
    path = _folder() / f"faulty-{next(_NUMBERS)}.busim"
    run = Run(hall(faults), 1, trace=path)
    run.advance(S)
    if during is not None:
        during(run)
    _record(run, seconds * S)
    return path


def _record(run: Run, until: int) -> None:
    run.advance(until)
    run.finish()


class Shown:
    """A trace and its first line, ready to draw."""

    def __init__(self, path: Path, line: int = 0) -> None:
        self.trace: Trace = open_trace(path)
        self.lines = laid_lines(self.trace, outline(plan_of(self.trace)))
        self.line: LaidLine = self.lines[line]
        self.sums = Sums(self.line.number)
        self.sums.follow(self.trace)
        self.story = Story()
        self.story.follow(self.trace)

    def picture(self, since: float, until: float, width: int = 1200) -> LinePicture:
        """Between two instants in ns."""
        return line_picture(self.trace, self.line, self.sums, self.story, int(since), int(until), width)

    def named(self, name: str) -> int:
        """The number of a station."""
        return next(stand.number for stand in self.line.stands if stand.name == name)
