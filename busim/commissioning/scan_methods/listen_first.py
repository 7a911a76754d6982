"""Listening before speaking: who transmits on a line where somebody else polls, spoils both."""

from __future__ import annotations

from dataclasses import dataclass

from busim.commissioning.scan_methods.questions import Procedure, Question
from busim.protocols import Request


@dataclass(frozen=True, slots=True)
class Quiet:
    """What listening for `length` ns brought. `heard`: every byte; `at`: ns to the first of them; `requests`: the sound
    requests among them (who asks through the same converter is given away by the replies alone).
    """

    length: int
    heard: bytes
    at: int | None
    requests: tuple[Request, ...]

    @property
    def safe(self) -> bool:
        """Nothing was heard. A master that rests for longer than was listened is not excluded."""
        return not self.heard


def listen_first(length: int) -> Procedure[Quiet]:
    """Listen for `length` ns, the slowest poll expected, and send nothing."""
    answer = yield Question(None, length)
    return Quiet(length, answer.rest, answer.at, answer.requests)
