"""A screen: text and tables that wrap at the terminal's width and lose no letter.

Every command prints through here. So one place decides the width, breaks the lines at spaces, keeps numbers whole, and
escapes control characters from plans and traces.
"""

from __future__ import annotations

import contextlib
import os
import re
import shlex
import sys
from collections.abc import Iterable, Iterator, Sequence
from typing import NamedTuple, TextIO

from rich.cells import cell_len
from rich.console import Console
from rich.table import Table
from rich.text import Text

PIPED = 80  # columns if the width is unknown
LINES = 24  # of the smallest terminal: the answer of every command fits into them
_NARROWEST = 40
_GAP = 2  # columns between those of a table
_WORD = 24  # columns up to which a word of a table stays whole
_NAMES = 22  # columns for names beside text
_CONTROL = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x9f]")


class Column(NamedTuple):
    """A column of a table. `right`: for numbers, which are never broken; the others wrap at spaces."""

    title: str
    right: bool = False


def width(stream: TextIO) -> int:
    """Columns: from the environment's COLUMNS, else of the terminal, else 80."""
    said = os.environ.get("COLUMNS", "")
    if said.isdecimal() and int(said):
        return max(_NARROWEST, int(said))
    if stream.isatty():
        with contextlib.suppress(OSError):  # it has no terminal after all
            return max(_NARROWEST, os.get_terminal_size(stream.fileno()).columns)
    return PIPED


def visible(text: str) -> str:
    """The text with control characters written as \\x1b, so that none of them reaches a terminal."""
    return _CONTROL.sub(lambda found: f"\\x{ord(found[0]):02x}", text)


class Screen:
    """Lines on a stream. `used`: how many were printed."""

    def __init__(self, stream: TextIO | None = None) -> None:
        stream = sys.stdout if stream is None else stream
        self.width = width(stream)
        self.used = 0
        self._console = Console(file=stream, width=self.width, highlight=False, markup=False, emoji=False)

    @property
    def left(self) -> int:
        """Lines that are left of the first screen."""
        return max(0, LINES - self.used)

    def say(self, text: str, style: str = "", *, indent: int = 0, hang: int = 0) -> None:
        """A paragraph, `indent` columns from the left, its further lines `hang` columns more."""
        for line in self.wrapped(text, indent=indent, hang=hang):
            self.line(Text(line, style))

    def wrapped(self, text: str, *, indent: int = 0, hang: int = 0) -> list[str]:
        """The lines that `say` would print."""
        return list(wrap(visible(text), self.width, indent, indent + hang))

    def command(self, text: str) -> None:
        """A command to copy: broken between its words, with the shell's sign at the end of a line that goes on."""
        lines = [""]
        for word in map(shlex.quote, shlex.split(text)):
            if lines[-1] and cell_len(lines[-1]) + 1 + cell_len(word) + 2 > self.width:
                lines.append("   ")
            lines[-1] += f" {word}" if lines[-1] else word
        for number, line in enumerate(lines, 1):
            self.line(Text(visible(line + (" \\" if number < len(lines) else ""))))

    def fact(self, name: str, text: str, style: str = "", *, indent: int = 2, column: int = 13) -> None:
        """A name, and its text in a column of its own; a longer name has a line of its own."""
        for line in self.fact_lines(name, text, style, indent=indent, column=column):
            self.line(line)

    def fact_lines(self, name: str, text: str, style: str = "", *, indent: int = 2, column: int = 13) -> list[Text]:
        """The lines that `fact` would print."""
        name, place = visible(name), indent + column
        lines = [Text(line, style) for line in wrap(visible(text), self.width, place, place)]
        if cell_len(name) < column:
            first = Text(" " * indent).append(name, "bold").append(" " * (column - cell_len(name)))
            return [first + lines[0][place:], *lines[1:]]
        return [Text(" " * indent).append(name, "bold"), *lines]

    def facts(self, rows: Sequence[tuple[str, str]], style: str = "", *, reserved: int = 0) -> None:
        """A fact per (name, text), as many as the first screen has room for with `reserved` lines below.

        The last line says how many more `--detail` shows.
        """
        column = min(_NAMES, max((cell_len(visible(name)) for name, _ in rows), default=0)) + 2
        blocks = [self.fact_lines(*row, style, indent=0, column=column) for row in rows]
        room = self.left - reserved
        for number, block in enumerate(blocks):
            rest = sum(map(len, blocks[number:]))
            if number and rest > room and len(block) + 1 > room:
                self.say(f"and {counted(len(rows) - number, 'more line')}: --detail, or --line NAME", style or "dim")
                return
            for line in block:
                self.line(line)
            room -= len(block)

    def bar(self, parts: Iterable[tuple[str, str]], *, indent: int = 2) -> None:
        """Pieces of text, each in its style, on one line."""
        line = Text(" " * indent)
        for text, style in parts:
            line.append(visible(text), style)
        self.line(line)

    def blank(self) -> None:
        """An empty line."""
        self.line(Text(""))

    def table(
        self, columns: Sequence[Column], rows: Iterable[Sequence[str | Text]], *, title: str = "", last: str = ""
    ) -> None:
        """Rows under titles, two spaces apart; a cell that is too wide wraps. `last`: the style of the last row.

        Columns that do not fit go into a second table below, which repeats the first column.
        """
        every = [[Text(visible(cell)) if isinstance(cell, str) else cell for cell in row] for row in rows]
        least = [_least(column, [row[number].plain for row in every]) for number, column in enumerate(columns)]
        if title:
            self.say(title, "bold")
        taken, parts = least[0] if least else 0, [[0]]
        for number in range(1, len(columns)):
            if taken + _GAP + least[number] > self.width and len(parts[-1]) > 1:
                taken = least[0]
                parts.append([0])
            parts[-1].append(number)
            taken += _GAP + least[number]
        for part in parts:
            own = [[row[number] for number in part] for row in every]
            self._table([columns[number] for number in part], [least[number] for number in part], own, last)

    def _table(
        self, columns: Sequence[Column], least: Sequence[int], rows: Sequence[Sequence[Text]], last: str
    ) -> None:
        table = Table(box=None, pad_edge=False, padding=(0, _GAP, 0, 0), collapse_padding=True)
        high = max(column.title.count("\n") for column in columns)
        for column, width in zip(columns, least, strict=True):
            table.add_column(
                "\n" * (high - column.title.count("\n")) + column.title, justify="right" if column.right else "left",
                no_wrap=column.right, overflow="fold", min_width=width, header_style="bold",
            )  # fmt: skip
        for number, row in enumerate(rows, 1):
            table.add_row(*row, style=last if number == len(rows) else "")
        for line in self._console.render_lines(table, pad=False):
            text = Text()
            for segment in line:
                text.append(segment.text, segment.style)
            text.rstrip()
            self.line(text)

    def line(self, line: Text) -> None:
        """One line, unchanged."""
        self.used += 1
        self._console.print(line, soft_wrap=True)


def _least(column: Column, cells: Sequence[str]) -> int:
    """The width below which a column would lose text: a whole number, or the longest word."""
    if column.right:
        return max((cell_len(line) for text in (*cells, column.title) for line in text.split("\n")), default=0)
    words = [word for text in (*cells, column.title) for word in text.split()]
    return min(_WORD, max(map(cell_len, words), default=1))


def wrap(text: str, columns: int, first: int = 0, further: int = 0) -> Iterator[str]:
    """Lines of at most `columns`, broken at spaces; a longer word, such as a path to copy, stays whole."""
    for paragraph in text.split("\n"):
        line, taken, empty = " " * first, first, True
        for word in paragraph.split(" "):
            long = cell_len(word)
            if not empty and taken + 1 + long > columns:
                yield line.rstrip()
                line, taken, empty = " " * further, further, True
            if not empty:
                line, taken = line + " ", taken + 1
            line, taken, empty = line + word, taken + long, False
        yield line.rstrip()
        first = further


def reflowed(text: str, columns: int) -> str:
    """Markdown with its paragraphs and list entries broken at `columns`; code, tables and headings as they are."""
    lines: list[str] = []
    block: list[str] = []
    fenced = False
    for line in [*text.split("\n"), ""]:
        fence = line.startswith("```")
        starts = fence or fenced or not line.strip() or line.startswith(("- ", "|", "#", "    "))
        if starts and block:
            hang = 2 if block[0].startswith("- ") else 0
            lines += wrap(" ".join(part.strip() for part in block), columns, 0, hang)
            block = []
        if fenced or fence or not line.strip() or line.startswith(("|", "#", "    ")):
            lines.append(line)
            fenced ^= fence
        else:
            block.append(line)
    return "\n".join(lines[:-1])


def counted(number: int, one: str, several: str = "") -> str:
    """`1 load`, `2 loads`: the number with its noun."""
    return f"{number} {one if number == 1 else several or one + 's'}"


def listed(words: Sequence[str], last: str = "and") -> str:
    """`a, b and c`."""
    return f" {last} ".join(part for part in (", ".join(words[:-1]), *words[-1:]) if part)


def fewest(words: Sequence[str], most: int) -> str:
    """The first ones, and the number of the rest."""
    if len(words) <= most:
        return listed(words)
    return f"{', '.join(words[:most])} and {len(words) - most} more"
