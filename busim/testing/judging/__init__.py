"""The base of judges: the bench that reads the lines for them, the facts they know beforehand, their verdicts.

In: records of a trace, live, from a file or on replay. Out: verdicts with their evidence. Open `bench.py` first (the
way of a record to the judges), then `contract.py`; the judges themselves are in `busim.testing.judges`.
"""

from busim.testing.judging.bench import Bench, bench_trace, judge_records, judge_trace
from busim.testing.judging.contract import NO_HOOK, About, Judge, Scene
from busim.testing.judging.events import ENDED, OUTCOME, READ_AT, SENT, Answered, Asked, Settled
from busim.testing.judging.ground import Ground, LineGround, ground_of
from busim.testing.judging.verdict import FAIL, INCONCLUSIVE, PASS, Evidence, Frame, Verdict

__all__ = [
    "ENDED",
    "FAIL",
    "INCONCLUSIVE",
    "NO_HOOK",
    "OUTCOME",
    "PASS",
    "READ_AT",
    "SENT",
    "About",
    "Answered",
    "Asked",
    "Bench",
    "Evidence",
    "Frame",
    "Ground",
    "Judge",
    "LineGround",
    "Scene",
    "Settled",
    "Verdict",
    "bench_trace",
    "ground_of",
    "judge_records",
    "judge_trace",
]
