"""The trace: the events of a run, as records in a file that any program can read.

The hot paths emit plain tuples; another process writes them (see `child`, started by the session); the reader returns
the same tuples. `schema` has the file's layout, `integrity` the checks before the first query.

Open `records.py` first.
"""

from typing import TYPE_CHECKING

from busim.foundation.first_use import by_name, fetched
from busim.recording.trace.gathering import Gathering
from busim.recording.trace.records import (
    BELIEF,
    BREAK,
    BURST,
    CHANGE,
    EFFECT,
    EXCHANGE,
    FRAME,
    FRAMING,
    HEARD,
    INPUT,
    INTENT,
    MARK,
    PARITY,
    PULSE,
    RAN_TOGETHER,
    SCHEMA,
    TABLES,
    Emit,
    Record,
)
from busim.recording.trace.schema import HEAD, REAL, describe

if TYPE_CHECKING:
    from busim.recording.trace.integrity import Setting, baud_of, damaged
    from busim.recording.trace.reader import Name, Trace, open_trace
    from busim.recording.trace.writer import HeadValue, TraceWriter

__all__ = [
    "BELIEF",
    "BREAK",
    "BURST",
    "CHANGE",
    "EFFECT",
    "EXCHANGE",
    "FRAME",
    "FRAMING",
    "HEAD",
    "HEARD",
    "INPUT",
    "INTENT",
    "MARK",
    "PARITY",
    "PULSE",
    "RAN_TOGETHER",
    "REAL",
    "SCHEMA",
    "TABLES",
    "Emit",
    "Gathering",
    "HeadValue",
    "Name",
    "Record",
    "Setting",
    "Trace",
    "TraceWriter",
    "baud_of",
    "damaged",
    "describe",
    "open_trace",
]

# Fetched at first use: the writer's process, which every recorded run waits for, reads nothing; most commands neither
# read nor write.
_LATE = {
    "integrity": "Setting baud_of damaged",
    "reader": "Name Trace open_trace",
    "writer": "HeadValue TraceWriter",
}

if not TYPE_CHECKING:
    __getattr__ = fetched(__name__, by_name(_LATE))
