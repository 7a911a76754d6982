"""A mistake of a plan in the words of a table: cells instead of lines of a file, rows and columns instead of keys."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace

from busim.foundation.diagnostics import Finding

_LINE = re.compile(r"\b(?:on |at )?line (\d+)\b")
_TURNS: tuple[tuple[re.Pattern[str], str], ...] = tuple(
    (re.compile(pattern), turned)
    for pattern, turned in (
        (
            r"write `- (\w+): (.*)` into the order of (?:its|the) line",
            r"add a row to the table `cables` with the line, `\1` as position and '\2' as name",
        ),
        (r"^write (.*) after `\w+:`$", r"write \1 into this cell"),
        (r"^add `\w+:` with (.*)$", r"write \1 into this cell"),
        (r"write for example `\w+: (.*)`$", r"write for example `\1`"),
        (r"^declare it under `(\w+)`$", r"add a row for it to the table `\1`"),
    )
)


def in_table_words(one: Finding, cell: Callable[[int], str]) -> Finding:
    """The finding for a reader who has tables alone. `cell`: the cell behind a line of the plan, "" without one."""

    def place(found: re.Match[str]) -> str:
        where = cell(int(found[1]))
        if not where:
            return found[0]
        return where if not found[0].startswith(("on ", "at ")) else f"at {where}"

    def turned(text: str | None) -> str | None:
        return text and _LINE.sub(place, text)

    mend = turned(one.mend)
    for pattern, words in _TURNS:
        mend = mend and pattern.sub(words, mend)
    return replace(
        one, what=_LINE.sub(place, one.what), found=turned(one.found), expected=turned(one.expected), mend=mend
    )
