"""Functions that write: from the numbers of a message to its frame, between its marks but before escaping."""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise
from struct import Struct

from busim.protocols.declared.codegen_request import Leg, Program, Seal, legs_of
from busim.protocols.declared.layouts import Layout

# address, key, tag, reason as written, count, values -> bytes
Write = Callable[[int, int, int, int, int, tuple[int, ...]], bytes]
_FEW = 3  # one-byte fields up to which tables are faster than struct


def writer(layout: Layout, n: int, before: bytes, behind: bytes) -> Write:
    """Writes one layout with `n` values; `before` and `behind`: the marks, unless they are added later.

    The function raises ValueError, struct.error or IndexError for numbers that do not fit.
    """
    program = Program("address, key, tag, reason, count, values")
    legs = legs_of(layout, n, before, behind)
    seal = Seal(layout, before, behind)
    pieces: list[str] = []
    number = 0
    for run in runs(legs):
        if structured(run):
            pieces.append(_packed(program, run, number))
        else:
            values = number
            for leg in run:
                pieces.append(_looked_up(program, leg, values))
                values += leg.what == "value"
        number += sum(leg.what == "value" for leg in run)
    program.say(f"body = {' + '.join(pieces)}" if len(pieces) <= 4 else f"body = b''.join(({', '.join(pieces)}))")
    if any(leg.what == "length" for leg in legs):
        _state_length(program, layout, n, seal, len(before))
    if seal:
        covered = "body"
        if seal.first or seal.gap:
            covered = f"body[{seal.first}:{-seal.gap or ''}]"
        program.say(f"return body + {seal.text(program, covered)}")
    else:
        program.say("return body")
    return program.made()


def runs(legs: list[Leg]) -> list[list[Leg]]:
    """Legs in a row that one struct can carry, and the others, in order."""
    found = [[legs[0]]]
    for last, leg in pairwise(legs):
        together = bool(last.code) == bool(leg.code) and (
            not leg.code or _order(found[-1]) in ("", *_order([leg])) or _order([leg]) == ""
        )
        if together:
            found[-1].append(leg)
        else:
            found.append([leg])
    return found


def _order(run: list[Leg]) -> str:
    """The byte order of a run, "" where all of it are single bytes."""
    return next((leg.encoding.order[0] for leg in run if leg.encoding.size > 1), "")


def structured(run: list[Leg]) -> bool:
    """Whether a run goes through struct rather than through tables."""
    return bool(run[0].code) and (len(run) > _FEW or any(leg.encoding.size > 1 for leg in run))


def form_of(run: list[Leg], *, literals: str) -> str:
    """The form of a run for struct; `literals`: `s` or `x`, for the constant bytes."""
    form = "<" if _order(run) == "l" else ">"
    for leg in run:
        form += (f"{len(leg.before)}{literals}" if leg.before else "") + leg.code
        form += f"{len(leg.behind)}{literals}" if leg.behind else ""
    return form


def _packed(program: Program, run: list[Leg], number: int) -> str:
    arguments = []
    for leg in run:
        if leg.before:
            arguments.append(program.hold(leg.before))
        arguments.append(f"values[{number}]" if leg.what == "value" else leg.what)
        number += leg.what == "value"
        if leg.behind:
            arguments.append(program.hold(leg.behind))
    values = [leg for leg in run if leg.what == "value"]
    first = len(arguments) - len(values)
    if len(values) > 1 and all(text.startswith("values[") for text in arguments[first:]) and number == len(values):
        arguments[first:] = ["*values"]
    return f"{program.hold(Struct(form_of(run, literals='s')).pack)}({', '.join(arguments)})"


def _looked_up(program: Program, leg: Leg, number: int) -> str:
    if leg.what == "length":  # placeholder: its number is known at the end
        return program.hold(leg.before + bytes(leg.encoding.widths[0]) + leg.behind)
    return f"{program.hold(leg.written())}[{f'values[{number}]' if leg.what == 'value' else leg.what}]"


def _state_length(program: Program, layout: Layout, n: int, seal: Seal, before: int) -> None:
    encoding = layout.encoding("length")
    at = before + (layout.offset("length") or 0)
    more = layout.counted(n, 0) + seal.size
    told = f"{program.hold(encoding.encode)}(len(body) + {more})"
    program.say(f"body = body[:{at}] + {told} + body[{at + encoding.widths[0]}:]")
