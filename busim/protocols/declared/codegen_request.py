"""A layout with a known number of values: segments, tables and the seal, from which functions are made.

A segment is a field with the constant bytes before it. The functions are written
out and compiled here, as a dataclass does it: unrolled, with sizes as numbers in the text. The text consists of words
of this package and of integers. All content of a file (bytes, words, tables, patterns) is passed to the function as an
object under a numbered name, never as text.
"""

from __future__ import annotations

import hashlib
import linecache
from collections.abc import Callable
from typing import Any

from busim.protocols.declared.declaration import Part
from busim.protocols.declared.encodings import Encoding
from busim.protocols.declared.layouts import Layout
from busim.protocols.declared.sums import summer, width_of

_MOST_KEPT = 4096
_CODES = {("unsigned", 1): "B", ("unsigned", 2): "H", ("unsigned", 4): "I", ("unsigned", 8): "Q",
          ("signed", 1): "b", ("signed", 2): "h", ("signed", 4): "i", ("signed", 8): "q"}  # fmt: skip


class Table(dict[Any, Any]):
    """Answers computed once, up to a limit."""

    __slots__ = ("_of",)

    def __init__(self, of: Callable[[Any], Any]) -> None:
        self._of = of

    def __missing__(self, asked: Any) -> Any:
        answer = self._of(asked)
        if len(self) < _MOST_KEPT:
            self[asked] = answer
        return answer


class Segment:
    """A field with the bytes before it and, for the last one, those after it."""

    __slots__ = ("before", "behind", "encoding", "what")

    def __init__(self, before: bytes, what: str, encoding: Encoding) -> None:
        self.before = before
        self.what = what
        self.encoding = encoding
        self.behind = b""

    @property
    def size(self) -> int:
        """The bytes of a segment whose encoding has one size."""
        return len(self.before) + self.encoding.widths[0] + len(self.behind)

    @property
    def code(self) -> str:
        """struct's letter for it, "" without one."""
        encoding = self.encoding
        if encoding.special or encoding.limits or (encoding.times, encoding.plus) != (1, 0):
            return ""
        return _CODES.get((encoding.kind, encoding.size), "")

    def written(self) -> Table:
        """Number to bytes."""
        before, behind, encode = self.before, self.behind, self.encoding.encode
        return Table(lambda number: before + encode(number) + behind)

    def read(self) -> Table:
        """Bytes to number, None for other bytes."""
        before, behind, decode = self.before, self.behind, self.encoding.decode

        def read(raw: bytes) -> int | None:
            if not raw.startswith(before) or not raw.endswith(behind):
                return None
            return decode(raw[len(before) : len(raw) - len(behind)])

        return Table(read)


def segments_of(layout: Layout, n: int, before: bytes, behind: bytes) -> list[Segment]:
    """The frame up to its check. Every number that depends on `n` alone becomes bytes."""
    segments: list[Segment] = []
    held = before
    for what, part in layout.pieces(n):
        if what == "check":
            break
        folded = part if isinstance(part, bytes) else _folded(layout, n, what, part)
        if isinstance(folded, bytes):
            held += folded
        else:
            segments.append(Segment(held, what, layout.encoding(folded)))
            held = b""
    segments[-1].behind = held + (b"" if layout.declaration.check else behind)  # it is there: the bus ID
    return segments


def _folded(layout: Layout, n: int, what: str, name: str) -> Part:
    if what == "length" and layout.fixed(n):
        return layout.encoding(name).encode(layout.counted(n, layout.size(n)[0]))
    if what == "size":
        return layout.encoding(name).encode(layout.value_bytes(n))
    if what == "count" and (layout.repeats or layout.single_values):
        return layout.encoding(name).encode(n)
    return name


class Program:
    """A function in the making: its lines, and its objects under numbered names."""

    def __init__(self, arguments: str) -> None:
        self._lines = [f"def made({arguments}):"]
        self._objects: dict[str, Any] = {}

    def hold(self, thing: Any) -> str:
        """The name of an object in the function."""
        name = f"o{len(self._objects)}"
        self._objects[name] = thing
        return name

    def say(self, line: str) -> None:
        self._lines.append("    " + line)

    def made(self) -> Callable[..., Any]:
        """The function, with its objects as defaults of arguments, which are faster than globals.

        linecache gets its text, so a traceback or a debugger shows the line.
        """
        head = self._lines[0].removesuffix("):") + "".join(f", {name}={name}" for name in self._objects) + "):"
        space: dict[str, Any] = dict(self._objects)
        text = "\n".join([head, *self._lines[1:]]) + "\n"
        name = f"<made from a protocol {hashlib.sha256(text.encode()).hexdigest()[:12]}>"  # same text, same entry
        linecache.cache[name] = (len(text), None, text.splitlines(keepends=True), name)
        exec(compile(text, name, "exec"), space)
        function: Callable[..., Any] = space["made"]
        return function


class Seal:
    """The check and the bytes after it. `size`: of both; the covered bytes begin at `first` and end `gap` before it."""

    def __init__(self, layout: Layout, before: bytes, behind: bytes) -> None:
        self._check = check = layout.declaration.check
        self.first, self.gap, self.size = 0, 0, 0
        self.between = b""  # the bytes in the gap
        if check is None:
            return
        at = layout.parts.index("check")
        self._after = b"".join(part for part in layout.parts[at + 1 :] if isinstance(part, bytes)) + behind
        self._encoding = layout.encoding("check")
        if check.start != "mark":
            self.first = len(before) + (0 if check.start == "frame" else _frame_offset(layout, check.start))
        if check.to is not None:
            self.between = _before_check(layout, check.to)
            self.gap = len(self.between)
        self.size = self._encoding.widths[0] + len(self._after)

    def __bool__(self) -> bool:
        return self._check is not None

    def text(self, program: Program, covered: str) -> str:
        """An expression for the bytes of the seal, from one for the covered bytes."""
        check, encoding = self._check, self._encoding
        assert check is not None
        number = {
            "sum": f"(sum({covered}) & 255)",
            "sum-16": f"(sum({covered}) & 65535)",
            "lrc": f"(-sum({covered}) & 255)",
        }.get(check.kind)
        if number is None:
            number = f"{program.hold(summer(check.kind))}({covered})"
        if width_of(check.kind) <= 8:
            encode, after = encoding.encode, self._after
            return f"{program.hold(Table(lambda value: encode(value) + after))}[{number}]"
        behind = f" + {program.hold(self._after)}" if self._after else ""
        if encoding.kind == "unsigned":
            return f"{number}.to_bytes({encoding.size}, {program.hold(encoding.order)}){behind}"
        if encoding.kind == "hex" and encoding.order == "big":
            form = b"%%0%dX" if encoding.case == "upper" else b"%%0%dx"
            return f"{program.hold(form % encoding.size)} % {number}{behind}"
        return f"{program.hold(encoding.encode)}({number}){behind}"


def _frame_offset(layout: Layout, name: str) -> int:
    """The start of a frame's field in the content; the fields before it have one size each."""
    frame = layout.declaration.frame
    return sum(layout.width(part, 0)[0] for part in frame[: frame.index(name)])


def _before_check(layout: Layout, name: str) -> bytes:
    """The bytes between the last covered field and the check."""
    frame = layout.declaration.frame
    between = frame[frame.index(name) + 1 : frame.index("check")]
    return b"".join(part for part in between if isinstance(part, bytes))
