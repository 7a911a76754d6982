"""Whether a controller stayed up: it ran, connected and asked until its case was over, whatever was drawn."""

from __future__ import annotations

from busim.testing.judge_catalogue import OF_CAMPAIGNS
from busim.testing.judging import FAIL, INCONCLUSIVE, PASS, Bench, Evidence, Verdict

STAYS_UP = OF_CAMPAIGNS.name


def stays_up(ended: tuple[int, str] | None, clients: int, requests: int, bench: Bench) -> Verdict:
    """The verdict, of the judge `stays-up`. `ended`: ns at which it ended before its case, and how it did; the evidence
    has the frames before that and the fault that had just taken effect. `clients`: connections, `requests`: those sent.
    """
    effects = bench.effects
    if ended is not None:
        at, how = ended
        what = f"at {at / 1e9:.2f} s {how}"
        last = (frame for line in bench.lines for frame in bench.frames(line, at))
        frames = tuple(sorted(last, key=lambda frame: frame.end))
        return Verdict(STAYS_UP, FAIL, what, 1, 1, effects, (Evidence(at, what, frames, bench.fault(at)),))
    if not clients:
        return Verdict(STAYS_UP, INCONCLUSIVE, "the controller never connected", 0, 0, effects)
    if not requests:
        return Verdict(STAYS_UP, INCONCLUSIVE, "the controller connected and sent no request", 0, 0, effects)
    return Verdict(STAYS_UP, PASS, "it ran until the case was over", 1, 0, effects)
