"""A valid protocol declaration: frozen data from which codec, framers and reference are made.

A template is a tuple of parts: constant bytes, and names of fields.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

from busim.protocols.declared.encodings import Encoding

LONGEST_FRAME = 4096
MOST_VALUES = 256

Part = bytes | str
Parts = tuple[Part, ...]

# Fields that the frame or the messages of any protocol may name; others are the file's own and hold a key or a value.
FIELDS = ("address", "tag", "length", "message", "check", "key", "count", "size", "value", "values", "reason")


class Quiet(NamedTuple):
    """A length of silence: characters of 11 bits each, or ns."""

    characters: float
    time: int

    def at(self, baud: float) -> int:
        """ns at this baud."""
        return self.time + round(self.characters * 11e9 / baud)


@dataclass(frozen=True, slots=True)
class Escape:
    """`byte` announces; `images`: each escaped byte to its image. `byte` is among them."""

    byte: int
    images: Mapping[int, int]


@dataclass(frozen=True, slots=True)
class Framing:
    """How frames are cut: see FramingShape. `head`: bytes at the start of every frame, without the mark."""

    kind: str
    start: bytes
    end: bytes
    escape: Escape | None
    hex: bool
    length: int
    counts: str
    quiet: Quiet
    least_quiet: Quiet
    forget: Quiet
    gap: Quiet
    longest: int


@dataclass(frozen=True, slots=True)
class Check:
    """`kind`: xor, sum, lrc or a key of anycrc's catalogue. `start`: `mark`, `frame` or a field; `to`: a field or
    None.
    """

    kind: str
    start: str
    to: str | None


@dataclass(frozen=True, slots=True)
class Operation:
    """One operation of a camera; `number` from 1. `request`, `reply` and `refusal` are messages, not whole frames."""

    number: int
    name: str
    verb: str
    request: Parts
    reply: Parts
    refusal: Parts | None
    key: int | None
    values: tuple[int, ...] | None
    most: int


@dataclass(frozen=True, slots=True)
class Declaration:
    """A whole protocol. `reasons`: code of the contract to the written one. `fields`: name to encoding, complete;
    `in_text`: whether the protocol is readable text.
    """

    name: str
    title: str
    framing: Framing
    frame: Parts
    check: Check | None
    addresses: tuple[int, int]
    broadcast: int | None
    answers_broadcast: bool
    groups: tuple[int, int] | None
    fields: Mapping[str, Encoding]
    holds: Mapping[str, str]
    between: bytes
    operations: tuple[Operation, ...]
    refusal: Parts | None
    reasons: Mapping[int, int]
    keys: Mapping[str, Mapping[str, int]]
    in_text: bool

    def message(self, operation: Operation, direction: str) -> Parts:
        """The message of an operation: `request`, `reply` or `refusal` (empty: it is not answered)."""
        if direction == "refusal":
            return operation.refusal if operation.refusal is not None else self.refusal or ()
        return operation.request if direction == "request" else operation.reply

    def whole(self, message: Parts) -> Parts:
        """The frame around a message, without the marks, neighbouring bytes joined."""
        parts: list[Part] = []
        for part in self.frame:
            for piece in message if part == "message" else (part,):
                if isinstance(piece, bytes) and parts and isinstance(parts[-1], bytes):
                    parts[-1] += piece
                else:
                    parts.append(piece)
        return tuple(parts)
