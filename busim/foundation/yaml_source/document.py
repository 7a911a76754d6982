"""A document as declared: its values and their places.

Positions live in tables beside the values, keyed by field path (`lines[0].baud`), so values stay plain dicts, lists and
scalars that any validator understands.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from busim.foundation.errors import UserError

Position = tuple[int, int]

_WORD = re.compile(r"[A-Za-z_][A-Za-z0-9_-]*")


class Real(float):
    """A float with its text: YAML 1.2 reads the character format `8E1` as the number 80."""

    text: str

    def __new__(cls, text: str, value: float) -> Real:
        self = super().__new__(cls, value)
        self.text = text
        return self


def join(path: str, part: str | int) -> str:
    """The field path of a key or an index below `path`."""
    if isinstance(part, int):
        return f"{path}[{part}]"
    if not _WORD.fullmatch(part):
        return f"{path}[{part[:40]!r}]"
    return f"{path}.{part}" if path else part


def locate(positions: Mapping[str, Position], field: str) -> Position:
    """Line and column of a field, or of the nearest written part around it; (1, 1) if there is none."""
    while field and field not in positions:
        field = field[: max(field.rfind("."), field.rfind("["), 0)]
    return positions.get(field, (1, 1))


@dataclass(frozen=True, slots=True)
class Declared:
    """A document: a mapping of plain values, its text and path, and positions (line, column, from 1).

    `positions` has every value by field path (the document itself as ""), `keys` every key of a mapping by the path of
    its value. `problems` are mistakes that leave the rest readable: keys given twice.
    """

    value: dict[str, Any]
    text: str
    path: str
    positions: dict[str, Position]
    keys: dict[str, Position]
    problems: tuple[UserError, ...] = ()

    def error(
        self,
        field: str,
        what: str,
        *,
        at_key: bool = False,
        found: str | None = None,
        expected: str | None = None,
        mend: str | None = None,
    ) -> UserError:
        """A UserError with the place of `field` (of its key, with `at_key`), to be raised by the caller."""
        line, column = self.keys[field] if at_key and field in self.keys else locate(self.positions, field)
        return UserError(
            what,
            file=self.path or None,
            line=line,
            column=column,
            field=field or None,
            found=found,
            expected=expected,
            mend=mend,
        )
