"""The trace: what happened, as records in a file that anything can read.

The hot paths emit plain tuples; a process of its own writes them (see `child`, started by the session); the
reader gives the same tuples back. The file's layout is in `schema`.
"""

from busim.recording.trace.reader import Name, Setting, SummaryRow, Trace, open_trace
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
    SCHEMA,
    TABLES,
    Emit,
    Record,
)
from busim.recording.trace.schema import HEAD, describe
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
    "SCHEMA",
    "TABLES",
    "Emit",
    "HeadValue",
    "Name",
    "Record",
    "Setting",
    "SummaryRow",
    "Trace",
    "TraceWriter",
    "describe",
    "open_trace",
]
