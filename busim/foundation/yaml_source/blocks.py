"""Entries of lists moved as text: each keeps its comments, those above it and those behind it.

A round trip keeps a comment with the entry before it, so a moved entry would leave its comment behind and take its
neighbour's along. So this module takes lists apart as text, line by line. Only lists in block style have movable
entries; others (`[a, b]`) have no comments to keep.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from busim.foundation.yaml_source.document import Declared

_DASH = re.compile(r"( *)- +")


class Blocks:
    """The lists of a document, each of which can get other entries."""

    def __init__(self, document: Declared) -> None:
        self._document = document
        self._lines = document.text.replace("\r\n", "\n").split("\n")
        self._edits: dict[tuple[int, int], list[str]] = {}

    def entries(self, field: str) -> list[str] | None:
        """The entries of a list as texts, each from the comments above it to its end; None for a list that is missing
        or not in block style.
        """
        found = self._spans(field)
        if found is None:
            return None
        indent, spans = found
        return ["\n".join(line[indent:] for line in self._lines[begin:end]) for begin, end in spans]

    def replace(self, field: str, entries: Sequence[str]) -> None:
        """Give a list other entries, at least one: texts as `entries` returns them. Nested lists one at a time.

        The list must be in block style.
        """
        found = self._spans(field)
        assert found is not None, field
        indent, spans = found
        texts = [line for entry in entries for line in entry.split("\n")]
        self._edits[spans[0][0], spans[-1][1]] = [" " * indent + line if line.strip() else line for line in texts]

    def text(self) -> str:
        """The document as it is now."""
        lines = list(self._lines)
        for begin, end in sorted(self._edits, reverse=True):
            lines[begin:end] = self._edits[begin, end]
        return ("\r\n" if "\r\n" in self._document.text else "\n").join(lines)

    def _spans(self, field: str) -> tuple[int, list[tuple[int, int]]] | None:
        """Column of the dashes, and the lines of each entry."""
        rows: list[int] = []
        indent = 0
        while f"{field}[{len(rows)}]" in self._document.positions:
            row, _ = self._document.positions[f"{field}[{len(rows)}]"]
            dash = _DASH.match(self._lines[row - 1])
            if dash is None or (rows and len(dash[1]) != indent):
                return None
            indent = len(dash[1])
            rows.append(row - 1)
        if not rows or len(set(rows)) != len(rows):
            return None
        ends = [self._end(row, indent) for row in rows]
        begins = [self._above(rows[0], 0, indent), *ends[:-1]]
        return indent, list(zip(begins, ends, strict=True))

    def _end(self, row: int, indent: int) -> int:
        """After the last line of an entry that is neither empty nor a comment."""
        end = row + 1
        for at in range(row + 1, len(self._lines)):
            line = self._lines[at]
            words = line.strip()
            if words and not words.startswith("#"):
                if len(line) - len(line.lstrip(" ")) <= indent:
                    break
                end = at + 1
        return end

    def _above(self, row: int, first: int, indent: int) -> int:
        """The first of the comments right above the first entry, at its indentation."""
        while row > first:
            line = self._lines[row - 1]
            if not line.strip().startswith("#") or len(line) - len(line.lstrip(" ")) < indent:
                break
            row -= 1
        return row
