"""The figures of a real line, folded from its exchanges: what the terminal shows while a tap runs.

All of them are measured where the bytes pass, so the turnaround includes both wire times, the converter's latency and
its packing. `busim measure` takes these apart.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from busim.onsite.heard.conversation import Exchange
from busim.protocols import READ
from busim.recording.figures import Age, Histogram

_MOST = 4096  # registers of one camera whose age is kept


@dataclass(slots=True)
class Camera:
    """What answers (or should) at one address. `turnaround`: ns from the last byte of a request to the first byte of
    its reply; `reply`: to the last one. `ages`: by register. `late`: replies behind the next request.
    """

    exchanges: int = 0
    outcomes: dict[str, int] = field(default_factory=dict)
    turnaround: Histogram = field(default_factory=Histogram)
    reply: Histogram = field(default_factory=Histogram)
    retries: int = 0
    late: int = 0
    unanswered: int = 0  # in a row, up to now
    ages: dict[int, Age] = field(default_factory=dict)

    def oldest(self, until: int) -> tuple[int, int] | None:
        """The register whose age was the largest so far, and that age in ns; None if nothing was read."""
        found = [(age.longest(until) or 0, key) for key, age in self.ages.items()]
        if not found:
            return None
        longest, key = max(found)
        return key, longest


class Watched:
    """Takes exchanges. `cameras`: by address; `gaps`: ns from the end of one exchange to the next request."""

    def __init__(self) -> None:
        self.cameras: dict[int, Camera] = {}
        self.gaps = Histogram()
        self.exchanges = 0
        self._ended = -1

    def take(self, one: Exchange) -> None:
        """Fold one exchange."""
        if self._ended >= 0:
            self.gaps.add(max(0, one.sent - self._ended))
        self._ended = one.ended
        self.exchanges += 1
        camera = self.cameras.setdefault(one.request.address, Camera())
        camera.exchanges += 1
        camera.outcomes[one.outcome] = camera.outcomes.get(one.outcome, 0) + 1
        if one.attempt > 1:
            camera.retries += 1
        if one.outcome in ("time-out", "damaged"):
            camera.unanswered += 1
        if one.reply is None:
            return
        camera.unanswered = 0
        camera.turnaround.add(one.first - one.asked)
        camera.reply.add(one.ended - one.asked)
        if one.outcome == "ok" and one.request.verb == READ:
            for key in range(one.request.key, one.request.key + one.request.size):
                age = camera.ages.get(key)
                if age is None:
                    if len(camera.ages) >= _MOST:
                        continue
                    age = camera.ages[key] = Age()
                age.deliver(one.ended, one.sent)

    def take_late(self, one: Exchange, at: int) -> None:
        """The reply to this exchange came at `at` ns, behind the next request."""
        self.cameras.setdefault(one.request.address, Camera()).late += 1
