"""What a trace says of its line besides the bytes: baud and format, and whether somebody only assumed them."""

from __future__ import annotations

from fractions import Fraction
from typing import NamedTuple

from busim.foundation.units import CharFormat
from busim.recording.trace import BURST, REAL, Trace


class Shown(NamedTuple):
    """`baud` and `format`: of the senders, None if the source does not say. `name`: of the line; `source`: its file."""

    source: str
    name: str = "line"
    baud: Fraction | None = None
    format: CharFormat | None = None


def shown(trace: Trace, line: str | None = None) -> Shown:
    """What a trace shows of this line, or of its only one. Raises UserError for a damaged trace."""
    lines = {name.name: number for number, name in trace.names.items() if name.kind == "line"}
    name = line if line is not None else next(iter(lines), "line")
    if trace.head.get("clock") == REAL:  # a tap does not see the wire: its baud was given or assumed
        return Shown(trace.path, name)
    first = next(trace.records(BURST, line=lines.get(name)), None)
    setting = None if first is None else trace.settings.get(first[5])
    if setting is None:
        return Shown(trace.path, name)
    return Shown(trace.path, name, setting.baud, setting.format)
