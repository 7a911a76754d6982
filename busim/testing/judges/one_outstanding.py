"""One outstanding: does the controller wait for an answer before its next request?"""

from __future__ import annotations

from typing import Any

from busim.testing.judging import About, Answered, Asked, Crossing, Ground, Judge, Scene


class OneOutstanding(Judge):
    """Compares the start of each request with the one before, over all its connections and drivers."""

    about = About(
        name="one-outstanding",
        title="One outstanding: at most one request waits for its answer",
        passes="each request comes after a sound reply to the one before, or after the longest time of such a reply",
        catches="a queue emptied after a stall, one connection per camera, a wait that ends too early: at a wrong ID, "
        "an echo, a late reply",
        needs="bursts",
        bound="the longest planned response: wire time, silence, slowest turnaround, packing, latency both ways "
        "(computed); the plan's own time-out if that is shorter",
    )

    def __init__(self, ground: Ground, scene: Scene) -> None:
        super().__init__(ground, scene)
        self._last: dict[int, Asked] = {}
        self._replied: dict[int, int] = {}  # line -> end of the first reply to the last request, ns
        self._crossing = Crossing(ground)
        self._met: dict[int, bool] = {}  # line -> whether the last request met a reply that fits it

    def answered(self, event: Answered) -> None:
        self._crossing.answered(event)
        last = self._last.get(event.line)
        if last is None:
            return
        mine = event.asked is last if event.reply is not None else self._by_another(event.line, event.data, last)
        if mine:
            self._replied.setdefault(event.line, event.end)

    def entered(self, record: tuple[Any, ...]) -> None:
        self._crossing.entered(record)

    def asked(self, event: Asked) -> None:
        line = event.line
        if not event.ours:
            return
        last, replied = self._last.get(line), self._replied.pop(line, None)
        met, self._met[line] = self._met.get(line, False), self._crossing.asked(event)
        self._last[line] = event
        if last is None or last.request.address == self.ground.lines[line].protocol.broadcast:
            return
        self.judged += 1
        self.state = "answered" if replied is not None else "given up"
        if replied is not None and replied <= event.start:
            return
        ground = self.ground.lines[line]
        least = last.response
        if ground.time_out is not None:
            least = min(least, ground.time_out)
        waited = event.start - last.start
        if (
            waited < least
            and not met
            and not self.hidden(line, last.start, event.end, "requests", "replies", "late-requests")
        ):
            self.fail(
                event.start,
                line,
                f"a request {waited / 1e6:.3f} ms after one that was not answered; a reply may "
                f"take {least / 1e6:.3f} ms",
            )

    def _by_another(self, line: int, data: bytes, asked: Asked) -> bool:
        """Whether another camera answered as if it were the right one."""
        return bool(data) and self.ground.lines[line].protocol.decode_reply(data, asked.request) is not None


JUDGE = OneOutstanding
