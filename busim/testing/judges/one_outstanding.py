"""One outstanding: does the controller wait for an answer before its next request?"""

from __future__ import annotations

from busim.testing.judging import About, Asked, Judge


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

    def asked(self, event: Asked) -> None:
        line = event.line
        past = self.pasts[line]
        last, replied = past.request, past.replied
        if last is None or last.request.address == self.ground.lines[line].protocol.broadcast:
            return
        self.judged += 1
        self.state = "given up" if replied < 0 else "answered"
        if 0 <= replied <= event.start:
            return
        ground = self.ground.lines[line]
        least = last.response
        if ground.time_out is not None:
            least = min(least, ground.time_out)
        waited = event.start - last.start
        if (
            waited < least
            and not last.crossed
            and not self._met(event, last)
            and not self.hidden(line, last.start, event.end, "requests", "replies", "late-requests")
        ):
            self.fail(
                event.start,
                line,
                f"a request {waited / 1e6:.3f} ms after one that was not answered; a reply may "
                f"take {least / 1e6:.3f} ms",
            )

    def _met(self, event: Asked, last: Asked) -> bool:
        """Whether a late reply, on its way to the controller when the request before left, answers that."""
        past, latency = self.pasts[event.line], self.ground.lines[event.line].way.latency
        return any(
            answer.asked is not None
            and answer.asked.request.address == last.request.address
            and last.start - latency < past.arrived(answer, latency) <= event.end
            for answer in past.sound
        )


JUDGE = OneOutstanding
