"""Functions that read: from a frame, between its marks and without escapes, to a request, or to the answer to one.

A layout with fields at fixed places is read by slices and struct. Any other is read by a regular expression of bounded
pieces, none of which can match its follower, so it never backtracks.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from struct import Struct

from busim.protocols.contract import FAILED, Reply, Request
from busim.protocols.declared.codegen_request import Program, Seal, Segment, Table, segments_of
from busim.protocols.declared.declaration import Operation
from busim.protocols.declared.layouts import READS, Layout
from busim.protocols.declared.writers import form_of, runs, structured

ReadRequest = Callable[[bytes], Request | None]
ReadReply = Callable[[bytes, Request], Reply | None]


class _Reading:
    """The part of a reading function that both kinds have: what it finds, as names of variables."""

    def __init__(self, arguments: str, layout: Layout, n: int, most: int, before: bytes, behind: bytes) -> None:
        self.program = Program(arguments)
        self._layout = layout
        self._seal = Seal(layout, before, behind)
        self._before, self._behind = before, behind
        self.scalars: list[str] = []  # what was found: each is a variable of that name
        self.values = "()"
        if layout.fixed(n):
            self._fixed(n)
        else:
            self._varying(most)

    def _refuse(self, *conditions: str) -> None:
        if conditions:
            self.program.say(f"if {' or '.join(conditions)}: return None")

    def _sealed(self, end: str, covered_end: str) -> None:
        if self._seal:
            text = self._seal.text(self.program, f"data[{self._seal.first}:{covered_end}]")
            self._refuse(f"data[{end}:] != {text}")

    # -- at places of their own -----------------------------------------------------------------------------

    def _fixed(self, n: int) -> None:
        segments = segments_of(self._layout, n, self._before, self._behind)
        end = sum(segment.size for segment in segments)
        self._refuse(f"len(data) != {end + self._seal.size}")
        self._sealed(str(end), str(end - self._seal.gap))
        total = sum(segment.what == "value" for segment in segments)
        at = number = 0
        for run in runs(segments):
            values = sum(segment.what == "value" for segment in run)
            names = [f"v{number + index}" for index in range(values)]
            if structured(run):
                self._unpack(run, at, list(names), total)
            else:
                self._look_up(run, at, list(names))
            number += values
            at += sum(segment.size for segment in run)
        self.scalars = [segment.what for segment in segments if segment.what != "value"]
        if number and self.values == "()":
            self.values = "(" + "".join(f"v{index}, " for index in range(number)) + ")"

    def _unpack(self, run: list[Segment], at: int, names: list[str], total: int) -> None:
        """One struct for a run; where all `total` values stand together at its end, they come in a tuple, as wanted."""
        program = self.program
        values = [segment for segment in run if segment.what == "value"]
        alike = len(values) == total > 1 and run[-total:] == values
        if alike and not any(segment.before for segment in values[1:]):
            head = run[: -len(values)]
            if head:
                self._unpack(head, at, [], 0)
            at += sum(segment.size for segment in head) + len(values[0].before)
            if values[0].before:
                self._refuse(f"data[{at - len(values[0].before)}:{at}] != {program.hold(values[0].before)}")
            order = "<" if form_of(run, literals="x")[0] == "<" else ">"
            struct = Struct(order + "".join(segment.code for segment in values))
            program.say(f"values = {program.hold(struct.unpack_from)}(data, {at})")
            at += struct.size
            if values[-1].behind:
                behind = values[-1].behind
                self._refuse(f"data[{at}:{at + len(behind)}] != {program.hold(behind)}")
            self.values = "values"
            return
        found, wrong = [], []
        for segment in run:
            for literal in (segment.before, None, segment.behind):
                if literal is None:
                    found.append(names.pop(0) if segment.what == "value" else segment.what)
                elif literal:
                    name = f"l{at}_{len(found)}"
                    found.append(name)
                    wrong.append(f"{name} != {program.hold(literal)}")
        program.say(f"{', '.join(found)}, = {program.hold(Struct(form_of(run, literals='s')).unpack_from)}(data, {at})")
        self._refuse(*wrong)

    def _look_up(self, run: list[Segment], at: int, names: list[str]) -> None:
        wrong = []
        for segment in run:
            name = names.pop(0) if segment.what == "value" else segment.what
            self.program.say(f"{name} = {self.program.hold(segment.read())}[data[{at}:{at + segment.size}]]")
            wrong.append(f"{name} is None")
            at += segment.size
        self._refuse(*wrong)

    # -- anywhere -------------------------------------------------------------------------------------------

    def _varying(self, most: int) -> None:
        layout, program = self._layout, self.program
        pattern, groups = [re.escape(self._before)], []
        for part in layout.parts:
            if part == "check":
                break
            if isinstance(part, bytes):
                pattern.append(re.escape(part))
                continue
            one = layout.encoding(part).pattern
            if part == "values":
                one += b"(?:%s%s){0,%d}" % (re.escape(layout.declaration.between), one, max(most - 1, 0))
            pattern.append(b"(%s)" % one)
            groups.append(part)
        program.say(f"end = len(data) - {self._seal.size}")
        if self._seal:
            self._refuse("end <= 0")
            self._sealed("end", f"end - {self._seal.gap}" if self._seal.gap else "end")
        else:
            pattern.append(re.escape(self._behind))
        compiled = re.compile(b"".join(pattern), re.DOTALL)
        program.say(f"match = {program.hold(compiled.fullmatch)}(data, 0, end)")
        self._refuse("match is None")
        program.say(f"{', '.join(f'g{index}' for index in range(len(groups)))}, = match.groups()")
        self._numbers(groups)

    def _numbers(self, groups: list[str]) -> None:
        layout, program = self._layout, self.program
        wrong: list[str] = []
        single: list[str] = []
        for index, part in enumerate(groups):
            what = layout.holds(part)
            table = Table(layout.encoding(part).decode)
            if part == "values":
                program.say(f"values = tuple([{program.hold(table)}[piece] for piece in {self._pieces(f'g{index}')}])")
                wrong.append("None in values")
                self.values = "values"
                continue
            name = f"v{len(single)}" if what == "value" else what
            program.say(f"{name} = {program.hold(table)}[g{index}]")
            wrong.append(f"{name} is None")
            if what == "value":
                single.append(name)
            else:
                self.scalars.append(what)
        self._refuse(*wrong)
        if single:
            self.values = "(" + ", ".join(single) + ",)"
        self._agree(len(single))

    def _pieces(self, group: str) -> str:
        between = self._layout.declaration.between
        if between:
            return f"{group}.split({self.program.hold(between)})"
        width = self._layout.encoding("values").widths[0]
        return f"[{group}[at:at + {width}] for at in range(0, len({group}), {width})]"

    def _agree(self, single: int) -> None:
        """The numbers that count something say what is there."""
        layout, hold = self._layout, self.program.hold
        n = "len(values)" if self.values == "values" else str(single)
        wrong = []
        if "length" in self.scalars:
            around = len(self._before) + len(self._behind)
            wrong.append(f"length != len(data) + {layout.counted(0, 0) - around}")
        if "size" in self.scalars:
            wrong.append(f"size != {hold(layout.value_bytes)}({n})")
        if "count" in self.scalars and (layout.repeats or single):
            wrong.append(f"count != {n}")
        self._refuse(*wrong)


def request_reader(
    layout: Layout, operation: Operation, n: int, most: int, before: bytes, behind: bytes
) -> ReadRequest:  # fmt: skip
    """Reads one layout of requests. The function returns None for bytes that are none."""
    reading = _Reading("data", layout, n, most, before, behind)
    hold = reading.program.hold
    size = str(n)
    if "count" in reading.scalars and not (layout.repeats or layout.single_values):
        size = f"count if count <= {operation.most} else 0"
    elif layout.repeats and not layout.fixed(n):
        size = f"len(values) if len(values) <= {operation.most} else 0"
    key = "key" if "key" in reading.scalars else str(operation.key or 0)
    values = reading.values if operation.values is None else hold(operation.values)
    form = f"{operation.number} | tag << 8" if "tag" in reading.scalars else str(operation.number)
    made, kind = hold(tuple.__new__), hold(Request)
    row = f"address, {hold(operation.verb)}, {key}, {size}, {values}, {form}"
    reading.program.say(f"return {made}({kind}, ({row}))")
    return reading.program.made()


def reply_reader(
    layout: Layout, n: int, most: int, before: bytes, behind: bytes, broadcast: int | None, codes: Mapping[int, int]
) -> ReadReply:  # fmt: skip
    """Reads one layout of replies or refusals, to a request of `n` values. `codes`: reasons as written to the
    contract's.
    """
    reading = _Reading("data, request", layout, n, most, before, behind)
    hold, say = reading.program.hold, reading.program.say
    say("asked, verb, wanted, size, given, form = request")
    wrong = ["address != asked" if broadcast is None else f"address != asked and asked != {broadcast}"]
    if "key" in reading.scalars:
        wrong.append("key != wanted")
    if "tag" in reading.scalars:
        wrong.append("tag != form >> 8")
    refuses = layout.direction == "refusal"
    counts = layout.repeats or bool(layout.single_values)
    if "count" in reading.scalars and not refuses:
        wrong.append("count != size")
    if counts and not layout.fixed(n):
        wrong.append(f"len({reading.values}) != size")
    say(f"if {' or '.join(wrong)}: return None")
    values, refused = reading.values, "0"
    if refuses:
        values = "()"
        refused = f"{hold(dict(codes))}.get(reason, {FAILED})" if "reason" in reading.scalars else str(FAILED)
    elif not counts:
        values = f"() if verb in {hold(READS)} else given"
    say(f"return {hold(tuple.__new__)}({hold(Reply)}, (address, verb, wanted, {values}, {refused}, form))")
    return reading.program.made()
