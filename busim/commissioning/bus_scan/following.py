"""A procedure through a tool: its questions asked in simulated time, what the tool hears handed back.

What only the emulator knows (`Heard.beneath`) is not handed back: a procedure that decided by it would fail on site.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Generic, TypeVar

from busim.commissioning.scan_methods import Answer, Procedure, Question
from busim.protocols import Request
from busim.simulator.world import Heard, Tool

_Result = TypeVar("_Result")


@dataclass(frozen=True, slots=True)
class OthersAsk:
    """Somebody else asked while a procedure was under way, at `at` ns: it was stopped there."""

    at: int
    requests: tuple[Request, ...]


@dataclass(frozen=True, slots=True)
class Followed(Generic[_Result]):
    """`result` of a procedure, None where it was stopped by `others`; it took from `since` to `until` ns."""

    result: _Result | None
    others: OthersAsk | None
    since: int
    until: int
    questions: int

    @property
    def length(self) -> int:
        """ns that it took, measured in the simulation."""
        return self.until - self.since


def follow(tool: Tool, procedure: Procedure[_Result]) -> Followed[_Result]:
    """Put a procedure's questions to the line, one after the other, until it has its result."""
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


def _put(tool: Tool, question: Question) -> Heard:
    if question.request is None:
        return tool.listen(question.length)
    return tool.ask(question.request, question.length)


def _answer(heard: Heard, requests: tuple[Request, ...]) -> Answer:
    at = heard.packets[0].at - heard.since if heard.packets else None
    return Answer(tuple(one.reply for one in heard.replies), heard.rest, requests, at)
