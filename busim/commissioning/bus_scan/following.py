"""Run a procedure through a tool: send its questions in simulated time, return the answers.

Facts that only the emulator knows (`Heard.beneath`) are not returned: a procedure that used them would fail on site.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Generic, Protocol, TypeVar

from busim.commissioning.scan_methods import Answer, Procedure, Question
from busim.protocols import BusProtocol, Request
from busim.simulator.world import Heard

_Result = TypeVar("_Result")


class Asks(Protocol):
    """Who sends the questions: a tool at an emulated line, or at a real one."""

    @property
    def protocol(self) -> BusProtocol: ...

    @property
    def now(self) -> int:
        """ns."""

    def ask(self, request: Request, time_out: int, /) -> Heard: ...

    def listen(self, length: int, /) -> Heard: ...


@dataclass(frozen=True, slots=True)
class OthersAsk:
    """Another master polled during a procedure, at `at` ns, and the procedure was stopped."""

    at: int
    requests: tuple[Request, ...]


@dataclass(frozen=True, slots=True)
class Followed(Generic[_Result]):
    """`result` of a procedure, None if `others` stopped it; it ran from `since` to `until` ns."""

    result: _Result | None
    others: OthersAsk | None
    since: int
    until: int
    questions: int

    @property
    def length(self) -> int:
        """Simulated duration, ns."""
        return self.until - self.since


def follow(tool: Asks, procedure: Procedure[_Result]) -> Followed[_Result]:
    """Send the questions of a procedure one after the other until it returns its result."""
    since, questions = tool.now, 0
    try:
        question = next(procedure)
        while True:
            heard = _put(tool, question)
            questions += 1
            requests = tuple(tool.protocol.cut_requests(heard.rest)[0])
            if requests and question.request is not None:
                return Followed(None, OthersAsk(heard.since, requests), since, tool.now, questions)
            question = procedure.send(_answer(heard, requests))
    except StopIteration as end:
        return Followed(end.value, None, since, tool.now, questions)


def _put(tool: Asks, question: Question) -> Heard:
    if question.request is None:
        return tool.listen(question.length)
    return tool.ask(question.request, question.length)


def _answer(heard: Heard, requests: tuple[Request, ...]) -> Answer:
    at = heard.packets[0].at - heard.since if heard.packets else None
    return Answer(tuple(one.reply for one in heard.replies), heard.rest, requests, at)
