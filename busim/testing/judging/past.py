"""The recent past of one line, kept once for all judges."""

from __future__ import annotations

from collections import deque
from typing import Any, Final

from busim.protocols import BusProtocol, Reply
from busim.testing.judging.events import Answered, Asked

_KEPT: Final = 32  # sound replies; an exchange has one, and a flood of late ones a few more


class LinePast:
    """`request`: the controller's last one, which is set when all judges have been told of it; `answers` and `others`:
    the bursts of cameras since, sound replies to it and all others; `replied`: ns at which the first of them ended that
    the controller can take for its answer, -1 for none. `sound`: the last sound replies to any request, latest last;
    `foreign`: the last burst that answers no request; `by_another`: end (ns) of the last of those that pose as an
    answer, -1 for none. `claim`: the controller's last exchange record. `response`: ns of its longest response, `wait`:
    ns of its longest time-out. `before`: ns at which its request before the last one began, -1
    without one; `packet`: start of the first and end of the last of the bursts of cameras that leave a converter
    together (ns), as none was quiet for its packing time; `unanswered`: that request, None if it was answered.
    """

    def __init__(self, packing: int = 0) -> None:
        self._packing = packing
        self.packet = 0, -1
        self.request: Asked | None = None
        self.answers: list[Answered] = []
        self.others: list[Answered] = []
        self.replied = -1
        self.sound: deque[Answered] = deque(maxlen=_KEPT)
        self.foreign: Answered | None = None
        self.by_another = -1
        self.claim: tuple[Any, ...] = ()
        self.response = 0
        self.wait = 0
        self.before = -1
        self.unanswered: Asked | None = None

    def asked(self, event: Asked) -> None:
        """The controller has sent a request."""
        if self.request is not None:
            self.before = self.request.start
        self.unanswered = None if self.answers else self.request
        self.request = event
        self.answers, self.others = [], []
        self.replied = -1

    def answered(self, event: Answered) -> None:
        """A camera has sent a burst."""
        since, until = self.packet
        self.packet = (since if event.start - until <= self._packing else event.start), event.end
        if event.asked is None:
            self.foreign = event
            self.others.append(event)
            if not event.poses:
                return
            self.by_another = event.end
        else:
            self.sound.append(event)
            if event.asked is not self.request:
                self.others.append(event)
                return
            self.answers.append(event)
        if self.replied < 0:
            self.replied = event.end

    def arrived(self, answer: Answered, latency: int) -> int:
        """ns at which the controller has a burst: one of the last packet waits for those behind it.

        `latency`: ns of the way from the converter.
        """
        since, until = self.packet
        return until + self._packing + latency if since <= answer.end else answer.end

    def replies_in(self, data: bytes, since: int, protocol: BusProtocol) -> list[tuple[Asked, Reply]]:
        """The sound replies of planned cameras in what the controller heard from `since` ns on: to its last request,
        and to those whose answers were on the line since then.
        """
        last = [] if self.request is None else [self.request]
        asked = [answer.asked for answer in self.sound if answer.asked is not None and answer.end >= since]
        found = []
        for one in dict.fromkeys(asked + last):
            finder = protocol.stream_framer()
            finder.expect(one.request)
            reply = finder.feed(data, since)
            if reply is not None and one.camera:
                found.append((one, reply))
        return found
