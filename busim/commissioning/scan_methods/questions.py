"""Questions and answers: what a procedure wants sent, and what was heard of it.

A procedure is a generator and knows neither clock nor line, so that a test can answer it from a list and a tool from an
emulated bus. Every question is listened to for its whole time, even where a sound reply comes early: a second camera
may answer later, and to find that one is what all this is for.
"""

from __future__ import annotations

from collections.abc import Generator
from dataclasses import dataclass
from typing import TypeVar

from busim.protocols import Reply, Request

_Result = TypeVar("_Result")


@dataclass(frozen=True, slots=True)
class Question:
    """Send this, and listen for `length` ns; `request` None: listen only."""

    request: Request | None
    length: int


@dataclass(frozen=True, slots=True)
class Answer:
    """What was heard. `replies`: the sound ones to the request; `rest`: bytes that belong to none of them;
    `requests`: sound requests of others among those; `at`: ns from the question to the first byte, None for silence.
    """

    replies: tuple[Reply, ...] = ()
    rest: bytes = b""
    requests: tuple[Request, ...] = ()
    at: int | None = None

    @property
    def silent(self) -> bool:
        return not self.replies and not self.rest

    @property
    def clean(self) -> bool:
        """Sound replies, and nothing else."""
        return bool(self.replies) and not self.rest


Procedure = Generator[Question, Answer, _Result]


@dataclass(frozen=True, slots=True)
class Pace:
    """How long is listened, ns: `read` for a read of one ID, `probe` for a search or an assignment that all who are
    meant answer at once; `slot`: of a slotted search, so long that two cameras in neighbouring slots do not meet.
    """

    read: int
    probe: int
    slot: int

    def round(self, slots: int) -> int:
        """ns of a slotted search."""
        return self.probe + (slots - 1) * self.slot


@dataclass(frozen=True, slots=True)
class Found:
    """A camera: its bus ID and its serial number, None where it did not tell."""

    bus_id: int
    serial: int | None
