"""The line as a VCD file (IEEE 1364-2005, clause 18), for software of logic analysers and waveform viewers.

Each drawn station has two wires, 1 mark and 0 space: the pair at its place, named after the station, and the output of
its receiver, with `_rx` after the name. They differ while a station without echo sends (its receiver is off and gives
mark), and if its pair is swapped. Both include propagation, contention and noise. The drawn station is the tap of each
line (its converter, else its first master or station), or the named one. A line that was rewired by hand during the run
is refused.

The timescale is 1 ns, so every edge lies where the simulation had it. The run starts at 1 ms, because a decoder must
see mark before the first start bit. Decoders of samples take 10**9 of them per second from such a file; sigrok reads it
quickly, and with every edge within a microsecond, through `-I vcd:downsample=1000`.
"""

from __future__ import annotations

import heapq
import re
import shlex
from collections.abc import Iterator
from io import TextIOWrapper
from pathlib import Path
from typing import NamedTuple

from vcd import VCDWriter

from busim.foundation.errors import UserError
from busim.recording.exports.cables import Cable, Place, cables, refuse_changed
from busim.recording.exports.levels import Levels
from busim.recording.exports.target import chosen_lines, new_file
from busim.recording.trace import BURST, Trace

_BEFORE = 1_000_000  # ns of mark before the run
_TAIL = 1_000_000  # ns after the last edge, so that a decoder sees the last stop bit
_PARITY = {"N": "none", "E": "even", "O": "odd", "M": "one", "S": "zero"}  # names of sigrok's decoder
_COMMENT = "1 mark, 0 space; instant 0 of the run is at 1 ms; NAME: the pair there; NAME_rx: its receiver's output"


class _Drawn(NamedTuple):
    """A drawn station: its line, the cable, its place, and the bare name of its wire."""

    line: int
    cable: Cable
    place: Place
    wire: str


def to_vcd(
    trace: Trace, path: str | Path, line: str | None = None, *, at: str | None = None, overwrite: bool = False
) -> None:
    """Write the levels at the tap of all lines of a trace, or of one, to `path`; `at`: at this station.

    Raises UserError: no such line or station, a line rewired during the run, a trace without its cables, a file there
    already (unless `overwrite`), not writable, the trace damaged.
    """
    drawn = _drawn(trace, line, at)
    ended_at = trace.head.get("ended_at", 0)
    end = ended_at if isinstance(ended_at, int) and ended_at else None
    with new_file(trace, path, overwrite) as file:
        out = TextIOWrapper(file, encoding="ascii", newline="\n", write_through=True)
        writer = VCDWriter(out, timescale="1 ns", date="", version="busim", comment=_COMMENT)
        wires = {}
        for one in drawn:
            pair = writer.register_var("lines", one.wire, "wire", size=1, init=1)
            output = writer.register_var("lines", f"{one.wire}_rx", "wire", size=1, init=1 ^ one.place.inverted)
            wires[one.place.number, one.line] = pair, output
        last = 0
        for instant, key, *levels in heapq.merge(*(_changes_of(trace, one) for one in drawn)):
            if end is not None and instant > end:  # of a character cut by the end of the run
                break
            for wire, level in zip(wires[key], levels, strict=True):
                writer.change(wire, _BEFORE + instant, level)
            last = instant
        writer.close(_BEFORE + max(last + _TAIL, end or 0))
        out.flush()
        out.detach()


def vcd_command(trace: Trace, path: str | Path, line: str | None = None, at: str | None = None) -> str:
    """A command that decodes the characters of a written file: of the named line, or of the first with any.

    Raises UserError as `to_vcd` does.
    """
    decoder = "uart"
    for one in _drawn(trace, line, at):
        burst = next(trace.records(BURST, line=one.line), None)
        if burst is not None and burst[5] in trace.settings:
            setting = trace.settings[burst[5]]
            form = setting.format
            decoder = (
                f"uart:rx={one.wire}:baudrate={round(setting.baud)}:parity={_PARITY[form.parity]}"
                f":data_bits={form.data_bits}"
            )
            break
    return f"sigrok-cli -i {shlex.quote(str(path))} -I vcd:downsample=1000 -P {decoder} -A uart=rx-data"


def _drawn(trace: Trace, line: str | None, at: str | None) -> list[_Drawn]:
    lines, laid = chosen_lines(trace, line), cables(trace)
    found: list[tuple[int, Cable, Place]] = []
    for number, name in lines.items():
        cable = laid.get(number)
        if cable is None:
            continue
        place = _tap(trace, cable) if at is None else _named(trace, cable, at)
        if place is not None:
            refuse_changed(trace, number, name, cable)
            found.append((number, cable, place))
    if at is not None and not found:
        places = [place for number in lines for place in (laid[number].places if number in laid else ())]
        raise UserError(
            "no such station on the line", file=trace.path, found=repr(at[:60]),
            expected=", ".join(_name(trace, place) for place in places)[:300] or "a line with stations",
            mend="give one of these names",
        )  # fmt: skip
    names = _bare([_name(trace, place) for _, _, place in found])
    return [_Drawn(number, cable, place, name) for (number, cable, place), name in zip(found, names, strict=True)]


def _tap(trace: Trace, cable: Cable) -> Place | None:
    """The drawn place of a line: its converter's, else its first master's, else its first station's."""
    for kind in ("converter", "master"):
        for place in cable.places:
            if place.number in trace.names and trace.names[place.number].kind == kind:
                return place
    return cable.places[0] if cable.places else None


def _named(trace: Trace, cable: Cable, name: str) -> Place | None:
    return next((place for place in cable.places if _name(trace, place) == name), None)


def _name(trace: Trace, place: Place) -> str:
    return trace.names[place.number].name if place.number in trace.names else f"station {place.order}"


def _changes_of(trace: Trace, one: _Drawn) -> Iterator[tuple[int, tuple[int, int], int, int]]:
    for instant, pair, output in Levels(trace, one.line, one.cable, one.place).changes():
        yield instant, (one.place.number, one.line), pair, output


def _bare(names: list[str]) -> list[str]:
    """Names that every reader accepts: letters, digits and _, all different, also with `_rx` added."""
    found: list[str] = []
    for name in names:
        bare = re.sub(r"\W", "_", name, flags=re.ASCII) or "_"
        if not re.match(r"[A-Za-z_]", bare):
            bare = "_" + bare
        taken = {*found, *(f"{one}_rx" for one in found), *(one.removesuffix("_rx") for one in found)}
        unique, number = bare, 1
        while unique in taken:
            number += 1
            unique = f"{bare}_{number}"
        found.append(unique)
    return found
