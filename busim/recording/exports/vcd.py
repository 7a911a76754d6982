"""The line as a VCD file (IEEE 1364-2005, clause 18), for logic analysers' software and waveform viewers.

One wire per line, 1 mark and 0 space, at a timescale of 1 ns, so that every edge lies where the simulation had it;
only the run's start is not at 0 but at 1 ms, because a decoder must have seen mark before it sees the first start
bit. Decoders that work with samples take 10**9 of them a second from such a file; sigrok reads it quickly, and with
every edge within a microsecond, through `-I vcd:downsample=1000`.
"""

from __future__ import annotations

import re
import shlex
from io import TextIOWrapper
from pathlib import Path

from vcd import VCDWriter

from busim.recording.exports.levels import line_levels
from busim.recording.exports.target import chosen_lines, new_file
from busim.recording.trace import BURST, Trace

_BEFORE = 1_000_000  # ns of mark before the run
_TAIL = 1_000_000  # ns after the last edge, so that a decoder sees the last stop bit
_PARITY = {"N": "none", "E": "even", "O": "odd", "M": "one", "S": "zero"}  # as sigrok's decoder calls them
_COMMENT = "1 mark, 0 space; instant 0 of the run is at 1 ms"


def to_vcd(trace: Trace, path: str | Path, line: str | None = None, *, overwrite: bool = False) -> None:
    """Write the levels of all lines of a trace, or of the one named, to `path`.

    Raises UserError: no such line, a file there already (unless `overwrite`), not writable, the trace damaged.
    """
    lines = chosen_lines(trace, line)
    with new_file(trace, path, overwrite) as file:
        out = TextIOWrapper(file, encoding="ascii", newline="\n", write_through=True)
        writer = VCDWriter(out, timescale="1 ns", date="", version="busim", comment=_COMMENT)
        wires = {
            number: writer.register_var("lines", name, "wire", size=1, init=1) for number, name in _bare(lines).items()
        }
        last = 0
        for at, number, level in line_levels(trace, lines):
            writer.change(wires[number], _BEFORE + at, level)
            last = at
        ended_at = trace.head.get("ended_at", 0)
        writer.close(_BEFORE + max(last + _TAIL, ended_at if isinstance(ended_at, int) else 0))
        out.flush()
        out.detach()


def vcd_command(trace: Trace, path: str | Path, line: str | None = None) -> str:
    """A command that decodes the characters of a written file: of the line named, or of the first that carried some.

    Raises UserError: no such line, the trace damaged.
    """
    lines = chosen_lines(trace, line)
    wires = _bare(lines)
    decoder = "uart"
    for number in lines:
        burst = next(trace.records(BURST, line=number), None)
        if burst is not None and burst[5] in trace.settings:
            setting = trace.settings[burst[5]]
            form = setting.format
            decoder = (
                f"uart:rx={wires[number]}:baudrate={round(setting.baud)}:parity={_PARITY[form.parity]}"
                f":data_bits={form.data_bits}"
            )
            break
    return f"sigrok-cli -i {shlex.quote(str(path))} -I vcd:downsample=1000 -P {decoder} -A uart=rx-data"


def _bare(lines: dict[int, str]) -> dict[int, str]:
    """Names that every reader takes: letters, digits and _, no two alike."""
    names: dict[int, str] = {}
    for number, name in lines.items():
        bare = re.sub(r"\W", "_", name, flags=re.ASCII) or "_"
        if not re.match(r"[A-Za-z_]", bare):
            bare = "_" + bare
        names[number] = f"{bare}_{number}" if bare in names.values() else bare
    return names
