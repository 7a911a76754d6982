"""What the bursts of a line come to: requests and answers, as judges are told of them."""

from __future__ import annotations

from typing import NamedTuple

from busim.protocols import Reply, Request


class Asked(NamedTuple):
    """A request on the wire, from its first start bit to the end of its last stop bit (ns). `driver`: who sent it, a
    number of the trace; `ours`: whether that is the controller under test; `camera`: the number of the camera that has
    this address in the plan, 0 for none. `exact`: somebody may have heard something else.
    """

    start: int
    end: int
    line: int
    driver: int
    ours: bool
    camera: int
    request: Request
    data: bytes
    exact: bool


class Answered(NamedTuple):
    """What a camera sent. `asked`: the request that it answers, None for one that nobody made lately; `reply`: its
    meaning, None where it is no sound reply. `late`: another request has been made since.
    """

    start: int
    end: int
    line: int
    camera: int
    asked: Asked | None
    reply: Reply | None
    late: bool
    data: bytes
    exact: bool


class Settled(NamedTuple):
    """A request of the controller under test, and what the wire says came of it by its next one (`over` ns).

    `answers`: sound replies to it, in order; `others`: what cameras sent besides; `sure`: nobody can have heard
    anything else than was sent.
    """

    asked: Asked
    answers: tuple[Answered, ...]
    others: tuple[Answered, ...]
    over: int
    sure: bool
