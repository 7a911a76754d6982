"""The writer process: takes batches from its standard input and puts them into the trace file.

A separate process, because inserting costs more than simulating, and a writer thread made the wall clock late by
milliseconds. It ends with its input, so a killed run leaves a trace complete to the last batch that arrived. The
session's recorder starts it and shields it from signals meant for the run.

The first message in is (head,), each further one a batch. Its answers on standard output: ("ready",) once the file
exists, then nothing, or why it stopped: ("user", what, file, found, mend) or ("defect", what).
"""

from __future__ import annotations

import contextlib
import os
import sys
from typing import Any

from busim.foundation.errors import Defect, UserError
from busim.recording.trace.batches import Batch, pack, unpack
from busim.recording.trace.writer import TraceWriter


def main(arguments: list[str]) -> int:
    """Write the trace `arguments[0]` until the input ends; `arguments[1]` is 1 to overwrite. Returns the exit code."""
    try:
        _write(arguments[0], arguments[1] == "1")
    except UserError as error:
        _report("user", error.what, error.file or "", error.found or "", error.mend or "")
        return 1
    except Defect as error:
        _report("defect", str(error))
        return 1
    except Exception as error:  # any error must reach the run
        _report("defect", f"the trace writer failed: {type(error).__name__}: {error}")
        return 1
    return 0


def _write(path: str, overwrite: bool) -> None:
    messages = unpack(sys.stdin.buffer)
    (head,) = next(messages)
    writer = TraceWriter(path, head, overwrite=overwrite)
    _report("ready")
    try:
        for message in messages:
            writer.write(Batch(*message))
    finally:
        writer.close()


def _report(*message: Any) -> None:
    with contextlib.suppress(OSError):  # the run may be gone
        os.write(1, pack(message))
