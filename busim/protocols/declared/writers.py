"""Functions that write: from the numbers of a message to its frame, between its marks but before escaping."""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise
from struct import Struct

from busim.protocols.declared.codegen_request import Program, Seal, Segment, segments_of
from busim.protocols.declared.layouts import Layout

# address, key, tag, reason as written, count, values -> bytes
Write = Callable[[int, int, int, int, int, tuple[int, ...]], bytes]
_FEW = 3  # one-byte fields up to which tables are faster than struct


def writer(layout: Layout, n: int, before: bytes, behind: bytes) -> Write:
    """Writes one layout with `n` values; `before` and `behind`: the marks, unless they are added later.

    The function raises ValueError, struct.error or IndexError for numbers that do not fit.
    """
    program = Program("address, key, tag, reason, count, values")
    segments = segments_of(layout, n, before, behind)
    seal = Seal(layout, before, behind)
    pieces: list[str] = []
    number = 0
    for run in runs(segments):
        if structured(run):
            pieces.append(_packed(program, run, number))
        else:
            values = number
            for segment in run:
                pieces.append(_looked_up(program, segment, values))
                values += segment.what == "value"
        number += sum(segment.what == "value" for segment in run)
    program.say(f"body = {' + '.join(pieces)}" if len(pieces) <= 4 else f"body = b''.join(({', '.join(pieces)}))")
    if any(segment.what == "length" for segment in segments):
        _state_length(program, layout, n, seal, len(before))
    if seal:
        covered = "body"
        if seal.first or seal.gap:
            covered = f"body[{seal.first}:{-seal.gap or ''}]"
        program.say(f"return body + {seal.text(program, covered)}")
    else:
        program.say("return body")
    return program.made()


def runs(segments: list[Segment]) -> list[list[Segment]]:
    """Segments in a row that one struct can carry, and the others, in order."""
    found = [[segments[0]]]
    for last, segment in pairwise(segments):
        together = bool(last.code) == bool(segment.code) and (
            not segment.code or _order(found[-1]) in ("", *_order([segment])) or _order([segment]) == ""
        )
        if together:
            found[-1].append(segment)
        else:
            found.append([segment])
    return found


def _order(run: list[Segment]) -> str:
    """The byte order of a run, "" where all of it are single bytes."""
    return next((segment.encoding.order[0] for segment in run if segment.encoding.size > 1), "")


def structured(run: list[Segment]) -> bool:
    """Whether a run goes through struct rather than through tables."""
    return bool(run[0].code) and (len(run) > _FEW or any(segment.encoding.size > 1 for segment in run))


def form_of(run: list[Segment], *, literals: str) -> str:
    """The form of a run for struct; `literals`: `s` or `x`, for the constant bytes."""
    form = "<" if _order(run) == "l" else ">"
    for segment in run:
        form += (f"{len(segment.before)}{literals}" if segment.before else "") + segment.code
        form += f"{len(segment.behind)}{literals}" if segment.behind else ""
    return form


def _packed(program: Program, run: list[Segment], number: int) -> str:
    arguments = []
    for segment in run:
        if segment.before:
            arguments.append(program.hold(segment.before))
        arguments.append(f"values[{number}]" if segment.what == "value" else segment.what)
        number += segment.what == "value"
        if segment.behind:
            arguments.append(program.hold(segment.behind))
    values = [segment for segment in run if segment.what == "value"]
    first = len(arguments) - len(values)
    if len(values) > 1 and all(text.startswith("values[") for text in arguments[first:]) and number == len(values):
        arguments[first:] = ["*values"]
    return f"{program.hold(Struct(form_of(run, literals='s')).pack)}({', '.join(arguments)})"


def _looked_up(program: Program, segment: Segment, number: int) -> str:
    if segment.what == "length":  # placeholder: its number is known at the end
        return program.hold(segment.before + bytes(segment.encoding.widths[0]) + segment.behind)
    return f"{program.hold(segment.written())}[{f'values[{number}]' if segment.what == 'value' else segment.what}]"


def _state_length(program: Program, layout: Layout, n: int, seal: Seal, before: int) -> None:
    encoding = layout.encoding("length")
    at = before + (layout.offset("length") or 0)
    more = layout.counted(n, 0) + seal.size
    told = f"{program.hold(encoding.encode)}(len(body) + {more})"
    program.say(f"body = body[:{at}] + {told} + body[{at + encoding.widths[0]}:]")
