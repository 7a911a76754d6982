"""What every export asks first: which lines, and where to.

An export never replaces a file unless told to, and never leaves half of one behind under an error of ours.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from busim.foundation.errors import UserError
from busim.recording.trace import Trace


def chosen_lines(trace: Trace, line: str | None) -> dict[int, str]:
    """Number and name of the lines of a trace, or of the one named. Raises UserError when there is none such."""
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


@contextmanager
def new_file(path: str | Path, overwrite: bool) -> Iterator[Path]:
    """The path of a file to write, made now. Raises UserError when it cannot be made or written."""
    file = Path(path)
    try:
        file.open("wb" if overwrite else "xb").close()
        yield file
    except FileExistsError as error:
        raise UserError(
            "a file is there already", file=str(path), mend="choose another name, or allow overwriting it"
        ) from error
    except OSError as error:
        raise UserError(
            "the export cannot be written",
            file=str(path),
            found=error.strerror or str(error),
            mend="choose another place, or make room",
        ) from error
