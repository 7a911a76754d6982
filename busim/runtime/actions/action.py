"""One action: its form as a line, its arguments, and its preparation."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Literal, NamedTuple

from busim.foundation.errors import UserError
from busim.foundation.yaml_source import suggestion
from busim.simulator.world import World

Given = Mapping[str, Any]  # arguments by name, as written


class Prepared(NamedTuple):
    """A checked action, ready to be done. `said`: the action in words."""

    do: Callable[[], None]
    said: str


@dataclass(frozen=True, slots=True)
class Argument:
    """`kind`: camera, converter, line (a name of the plan), place (any of them), word (one of `words`), text, number,
    time, or values (parameters of a fault by name).
    """

    name: str
    kind: Literal["camera", "converter", "line", "place", "word", "text", "number", "time", "values"]
    what: str
    needed: bool = True
    words: tuple[str, ...] = ()

    def schema(self) -> dict[str, Any]:
        """JSON Schema of it."""
        about: dict[str, Any] = {"description": self.what}
        if self.kind == "word":
            return {"type": "string", "enum": list(self.words), **about}
        if self.kind == "number":
            return {"type": "integer", "minimum": 0, "maximum": 2**32 - 1, **about}
        if self.kind == "values":
            return {"type": "object", "additionalProperties": {"type": ["string", "number", "boolean"]}, **about}
        return {"type": "string", "maxLength": 500, **about}


@dataclass(frozen=True, slots=True)
class Action:
    """`form`: the typed line; `split`: from the words after its name to arguments; `ready`: from
    arguments to a call.
    """

    name: str
    form: str
    what: str
    arguments: tuple[Argument, ...]
    split: Callable[[list[str]], dict[str, Any]]
    ready: Callable[[World, Given], Prepared]

    def wrong(self, expected: str = "") -> UserError:
        """The error for words that do not make this action."""
        return UserError(
            f"not a whole `{self.name}`", expected=expected or f"`{self.form}`", mend="`help` lists every action"
        )


def named(world: World, kinds: Iterable[str], given: object, what: str) -> str:
    """The entity of this name: written out, or with `-` or `_` for its spaces. Raises UserError."""
    known = [name.name for name in world.names if name.kind in kinds and _live(world, name.kind, name.name)]
    text = given if isinstance(given, str) else ""
    if text in known:
        return text
    alike = [name for name in known if _plain(name) == _plain(text)]
    if len(alike) == 1:
        return alike[0]
    kinds_text = " or ".join(kinds)
    raise UserError(
        f"there is no {kinds_text} of this name" if not alike else f"several {kinds_text}s may be meant",
        field=what, found=repr(text[:60]), expected="one of " + ", ".join(known)[:400] if known else "none",
        mend=suggestion(text, known, "name one of the plan"),
    )  # fmt: skip


def _live(world: World, kind: str, name: str) -> bool:
    if kind == "camera":
        return name in world.cameras
    return name in (world.converters if kind == "converter" else world.lines)


def _plain(name: str) -> str:
    return re.sub(r"[-_\s]+", " ", name).strip().casefold()


def number(given: object, what: str, least: int, most: int) -> int:
    """A whole number between two bounds. Raises UserError."""
    text = str(given) if isinstance(given, (int, str)) and not isinstance(given, bool) else ""
    if not (text.isascii() and text.isdigit() and len(text) < 16 and least <= int(text) <= most):
        raise UserError(
            "a number out of range", field=what, found=repr(str(given)[:60]), expected=f"{least} to {most}",
            mend=f"write for example {least}",
        )  # fmt: skip
    return int(text)
