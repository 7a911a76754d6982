"""The common start of exports: the lines, and the file.

An export never replaces a file unless told to, and never leaves half of one after an error of ours.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO

from busim.foundation.errors import UserError
from busim.foundation.output import whole_file
from busim.recording.trace import Trace


def chosen_lines(trace: Trace, line: str | None) -> dict[int, str]:
    """Number and name of the lines of a trace, or of the named one. Raises UserError for an unknown name."""
    lines = {number: name.name for number, name in trace.names.items() if name.kind == "line"}
    if line is None:
        return lines
    chosen = {number: name for number, name in lines.items() if name == line}
    if not chosen:
        raise UserError(
            "the trace has no such line",
            file=trace.path,
            found=repr(line),
            expected=", ".join(lines.values()) or "a trace with lines",
            mend="give one of these names",
        )
    return chosen


def station_named(trace: Trace, name: str) -> int:
    """The number of a converter, camera or master. Raises UserError for an unknown name."""
    kinds = ("converter", "camera", "master")
    stations: dict[str, int] = {one.name: number for number, one in trace.names.items() if one.kind in kinds}
    if name not in stations:
        raise UserError(
            "the trace has no such station",
            file=trace.path,
            found=repr(name[:60]),
            expected=", ".join(stations)[:300] or "a trace with stations",
            mend="give one of these names",
        )
    return stations[name]


@contextmanager
def new_file(trace: Trace, path: str | Path, overwrite: bool) -> Iterator[IO[bytes]]:
    """A file for the export of a trace. Raises UserError if it cannot be made or written."""
    beside = (f"{trace.path}{ending}" for ending in ("", "-wal", "-shm"))
    with whole_file(path, "export", overwrite=overwrite, inputs=beside) as file:
        yield file
