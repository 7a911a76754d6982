"""YAML 1.2 text to a Declared, within bounds.

ruamel.yaml's parser gives events with their marks; this module builds the tree from them, without ruamel's
constructors. So every key and value keeps its place, nothing in a file can build an object, an anchor bomb ends at its
first anchor, deep nesting ends at its bound before anything recurses, and a scalar keeps its text. Scalars follow the
core schema (YAML 1.2.2, 10.3.2): `on`, `yes` and `12:30` are text, `0o17` is fifteen. A plain text goes to ruamel's
parser in C, where that is installed: the same events in a tenth of the time.
"""

from __future__ import annotations

import contextlib
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from ruamel.yaml import YAML
from ruamel.yaml.error import MarkedYAMLError, YAMLError
from ruamel.yaml.events import (
    AliasEvent,
    DocumentEndEvent,
    Event,
    MappingEndEvent,
    MappingStartEvent,
    NodeEvent,
    ScalarEvent,
    SequenceEndEvent,
    SequenceStartEvent,
    StreamEndEvent,
    StreamStartEvent,
)

from busim.foundation.errors import UserError
from busim.foundation.yaml_source.document import Declared, Position, Real, join

# Several times a plan of 300 cameras, and read in under two seconds: a parser in Python takes 40 us per value.
MOST_BYTES = 1_000_000
MOST_DEPTH = 40
MOST_VALUES = 30_000
_MOST_PROBLEMS = 100
_MOST_DIGITS = 40

# The complement of YAML 1.2.2, c-printable. Python compiles one set with all of these in 10 ms, and this in one.
_UNPRINTABLE = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x84\x86-\x9f]|[\ud800-\udfff\ufffe\uffff]")
# What the parser in C reads as YAML 1.1 has it, or more freely: tabs, other line breaks and marks, anchors, tags, block
# scalars.
_FOR_PYTHON = frozenset("\t\r\x85\u2028\u2029\ufeff&*!>|")
_DIRECTIVE = re.compile("(?:^|[\n\r\x85\u2028\u2029])%")
_LONGEST_TAG = 1000
_NULL = re.compile(r"|~|null|Null|NULL")
_BOOL = re.compile(r"true|True|TRUE|false|False|FALSE")
_INT = re.compile(r"[-+]?[0-9]+|0o[0-7]+|0x[0-9a-fA-F]+")
_FLOAT = re.compile(
    r"[-+]?(?:\.[0-9]+|[0-9]+(?:\.[0-9]*)?)(?:[eE][-+]?[0-9]+)?|[-+]?\.(?:inf|Inf|INF)|\.(?:nan|NaN|NAN)"
)


def load(path: str | Path) -> Declared:
    """Read a file. Raises UserError if it cannot be read, is too large, or is not the YAML described above."""
    name = str(path)
    try:
        if Path(path).is_fifo():  # reading it might block for ever, and it cannot be read twice
            raise UserError(
                "this is a pipe, not a file", file=name, expected="a YAML file", mend="save it in a file first"
            )
        with open(path, "rb") as file:
            data = file.read(MOST_BYTES + 1)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise UserError(
            "the file cannot be read", file=name, found=reason, mend="check the path and its permissions"
        ) from None
    if len(data) > MOST_BYTES:
        raise _too_large(name)
    return parse(_decoded(data, name), name)


def parse(text: str, path: str = "") -> Declared:
    """Read a text; `path` only names it in messages. Raises UserError as `load` does."""
    if len(text) > MOST_BYTES:
        raise _too_large(path)
    text = text.removeprefix("\ufeff")
    _refuse_unprintable(text, path)
    _refuse_slow(text, path)
    builder = _Builder(text, path)
    try:
        value = builder.document()
    except MarkedYAMLError as error:
        raise _not_yaml(error, text, path) from None
    except (YAMLError, ValueError, OverflowError):
        # ruamel leaves an escape such as "\UFFFFFFFF" to chr(), whose error has no mark.
        raise UserError(
            "not readable as YAML: a backslash escape is no character",
            file=path or None,
            line=builder.near[0],
            column=builder.near[1],
            mend="write the quoted text after this place without the escape",
        ) from None
    return Declared(value, text, path, builder.positions, builder.keys, tuple(builder.problems))


def _too_large(path: str) -> UserError:
    return UserError(
        "the file is too large",
        file=path or None,
        expected=f"at most {MOST_BYTES} bytes",
        mend="check that this is the file you meant",
    )


def _place(text: str, index: int) -> Position:
    start = text.rfind("\n", 0, index) + 1
    return text.count("\n", 0, index) + 1, index - start + 1


def _decoded(data: bytes, path: str) -> str:
    if data.startswith(b"SQLite format 3\0"):
        raise UserError(
            "this is a database, such as a trace, and not text", file=path, expected="a YAML file",
            mend="give the plan; a trace is for `busim replay`, `busim compare` and `busim export`",
        )  # fmt: skip
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError as error:
        before = data[: error.start].decode("utf-8")
        line, column = _place(before, len(before))
        raise UserError(
            "the file is not UTF-8 text",
            file=path,
            line=line,
            column=column,
            found=f"byte 0x{data[error.start]:02X}",
            expected="UTF-8",
            mend="save the file as UTF-8 in your editor",
        ) from None


def _refused(text: str, path: str, index: int, what: str, **words: str | None) -> UserError:
    """The error about the character at `index` of a text."""
    line, column = _place(text, index)
    return UserError(what, file=path or None, line=line, column=column, **words)


def _refuse_unprintable(text: str, path: str) -> None:
    match = _UNPRINTABLE.search(text)
    if match is not None:
        raise _refused(
            text, path, match.start(), "a character that no text file should hold", found=f"U+{ord(match[0]):04X}",
            expected="printable text", mend="delete the character, or check that this is a text file",
        )  # fmt: skip


def _refuse_slow(text: str, path: str) -> None:
    """Refuse unsupported constructs before ruamel's scanner reads them: its time is quadratic in a tag's length."""
    directive = _DIRECTIVE.search(text)
    if directive:
        raise _refused(
            text, path, directive.end() - 1, "directives are not supported", found="a line that starts with %",
            expected="plain YAML 1.2", mend="delete the line",
        )  # fmt: skip
    for word in text.split():
        if len(word) > _LONGEST_TAG and "!" in word:
            raise _refused(
                text, path, text.index(word), "a word that is too long and may hold a tag",
                found=f"{word[:20]}... of {len(word)} characters", expected=f"at most {_LONGEST_TAG} characters",
                mend="check that this is the file you meant",
            )  # fmt: skip


def _not_yaml(error: MarkedYAMLError, text: str, path: str) -> UserError:
    mark = error.problem_mark or error.context_mark
    line, column = (mark.line + 1, mark.column + 1) if mark else (1, 1)
    if mark and text[mark.index : mark.index + 1] == "\t":
        return UserError(
            "a tab where YAML allows only spaces",
            file=path or None,
            line=line,
            column=column,
            found="a tab",
            expected="spaces",
            mend="replace the tab by spaces",
        )
    what = " ".join(str(part) for part in (error.context, error.problem) if part).replace("\x00", "end of file")
    return UserError(
        f"not readable as YAML: {what}",
        file=path or None,
        line=line,
        column=column,
        mend="look at this line and the one before: indentation, a missing quote, bracket or colon",
    )


def _events(text: str) -> Iterator[Event]:
    """The events of a text. An error, and whatever two parsers might see differently, is left to the one in Python."""
    found: list[Event] = []
    depth = 0
    if _FOR_PYTHON.isdisjoint(text):
        with contextlib.suppress(YAMLError, ValueError):
            for event in YAML(typ="safe").parse(text):
                found.append(event)
                depth += isinstance(event, (MappingStartEvent, SequenceStartEvent))
                depth -= isinstance(event, (MappingEndEvent, SequenceEndEvent))
                empty = isinstance(event, ScalarEvent) and not event.value  # its place is no place in the text
                if empty or depth > MOST_DEPTH or len(found) > 4 * MOST_VALUES:
                    break
            else:
                return iter(found)
    events: Iterator[Event] = YAML(typ="safe", pure=True).parse(text)
    return events


class _Builder:
    """Builds the values of one document from parser events and notes their places."""

    def __init__(self, text: str, path: str) -> None:
        self.text = text
        self.path = path
        self.near: Position = (1, 1)  # start of the last event
        self.positions: dict[str, Position] = {}
        self.keys: dict[str, Position] = {}
        self.problems: list[UserError] = []
        self._count = 0
        self._events: Iterator[Event] = _events(text)

    def _next(self) -> Event:
        event = next(self._events)
        self.near = (event.start_mark.line + 1, event.start_mark.column + 1)
        return event

    def _error(self, what: str, at: Position | None = None, **words: str) -> UserError:
        line, column = at or self.near
        return UserError(what, file=self.path or None, line=line, column=column, **words)

    def document(self) -> dict[str, Any]:
        """The one mapping the text must hold."""
        event = self._next()
        if isinstance(event, StreamStartEvent):
            event = self._next()
        if isinstance(event, StreamEndEvent):
            raise self._error("the file is empty", (1, 1), expected="a mapping, lines of `key: value`")
        value = self._node(self._next(), "", 0)
        if not isinstance(value, dict):
            raise self._error(
                "the file is not a mapping",
                self.positions[""],
                found=_kind(value),
                expected="lines of `key: value` at the top level",
            )
        while not isinstance(event := self._next(), StreamEndEvent):
            if not isinstance(event, DocumentEndEvent):
                raise self._error(
                    "a second document in one file", mend="keep one document and delete the `---` before the next"
                )
        return value

    def _node(self, event: Event, path: str, depth: int) -> Any:
        self._refuse_extras(event)
        self.positions[path] = self.near
        self._count += 1
        if depth > MOST_DEPTH:
            raise self._error("nested too deeply", expected=f"at most {MOST_DEPTH} levels")
        if self._count > MOST_VALUES:
            raise self._error("too many values in one file", expected=f"at most {MOST_VALUES}")
        if isinstance(event, MappingStartEvent):
            return self._mapping(path, depth)
        if isinstance(event, SequenceStartEvent):
            values: list[Any] = []
            while not isinstance(event := self._next(), SequenceEndEvent):
                values.append(self._node(event, join(path, len(values)), depth + 1))
            return values
        if not isinstance(event, ScalarEvent):  # pragma: no cover - a parser event that YAML does not have
            raise self._error("not readable as YAML")
        return self._scalar(event)

    def _mapping(self, path: str, depth: int) -> dict[str, Any]:
        values: dict[str, Any] = {}
        while not isinstance(event := self._next(), MappingEndEvent):
            key, at = self._key(event), self.near
            field = join(path, key)
            if key in values:
                self._twice(key, field, at)
                self._skip(self._next(), field, depth + 1)
                continue
            self.keys[field] = at
            values[key] = self._node(self._next(), field, depth + 1)
            if values[key] is None:
                self.positions[field] = at  # an empty value has no place of its own
        return values

    def _key(self, event: Event) -> str:
        self._refuse_extras(event)
        if not isinstance(event, ScalarEvent):
            raise self._error(
                "a key that is not a word", found="a list or a mapping as a key", mend="check brackets and colons"
            )
        if event.value == "<<" and event.implicit[0]:
            raise self._error(
                "merge keys are not supported", found="<<", mend="write the keys out where they are meant"
            )
        if not event.value:
            raise self._error("an empty key", mend="write a word before the colon")
        self._refuse_escaped(event.value)
        return str(event.value)

    def _twice(self, key: str, field: str, at: Position) -> None:
        line, column = self.keys[field]
        if len(self.problems) < _MOST_PROBLEMS:
            problem = self._error(
                "a key given twice",
                at,
                field=field,
                found=f"{key[:60]!r}, first on line {line}, column {column}",
                expected="each key once",
                mend="keep one of the two",
            )
            self.problems.append(problem)

    def _skip(self, event: Event, field: str, depth: int) -> None:
        """Skip the value of a repeated key, within the same bounds; its place is not noted."""
        kept = self.positions, self.keys
        self.positions, self.keys = {}, {}
        self._node(event, field, depth)
        self.positions, self.keys = kept

    def _refuse_extras(self, event: Event) -> None:
        if isinstance(event, AliasEvent) or (isinstance(event, NodeEvent) and event.anchor):
            raise self._error(
                "anchors and aliases are not supported", found=repr(event.anchor[:60]), mend="write the value out"
            )
        tag = getattr(event, "ctag", None)
        if tag is not None:
            raise self._error("tags are not supported", found=str(tag)[:60], mend="delete the word that starts with !")

    def _refuse_escaped(self, text: str) -> None:
        # An escape in double quotes may stand for an unprintable character.
        match = _UNPRINTABLE.search(text)
        if match:
            raise self._error("an escape for a character that is not printable", found=f"U+{ord(match[0]):04X}")

    def _scalar(self, event: ScalarEvent) -> Any:
        text = str(event.value)
        if not event.implicit[0]:  # quoted or a block: always text
            self._refuse_escaped(text)
            return text
        return resolved(text)


def _kind(value: Any) -> str:
    if value is None:
        return "nothing"
    return "a list" if isinstance(value, list) else "a single value"


def resolved(text: str) -> Any:
    """A plain scalar by the core schema of YAML 1.2; a number of absurd length stays text."""
    if _NULL.fullmatch(text):
        return None
    if _BOOL.fullmatch(text):
        return text.lower() == "true"
    if len(text) > _MOST_DIGITS:
        return text
    if _INT.fullmatch(text):
        return int(text, 0) if text[:2] in ("0o", "0x") else int(text)
    if _FLOAT.fullmatch(text):
        return Real(text, float(text.lower().replace(".inf", "inf").replace(".nan", "nan")))
    return text
