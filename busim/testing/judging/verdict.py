"""What a judge says in the end, with its evidence.

It goes from process to process, so it is never compiled: a frozen class that mypyc made cannot be read back.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

PASS: Final = "pass"
FAIL: Final = "fail"
INCONCLUSIVE: Final = "inconclusive"


@dataclass(frozen=True, slots=True)
class Frame:
    """One burst of the line for a reader. Times in ns."""

    start: int
    end: int
    driver: str
    data: str
    meaning: str


@dataclass(frozen=True, slots=True)
class Evidence:
    """One violation: its instant (ns), the event, the frames before it, and the last fault that took effect."""

    at: int
    what: str
    frames: tuple[Frame, ...] = ()
    fault: str = ""


@dataclass(frozen=True, slots=True)
class Verdict:
    """`outcome`: pass, fail or inconclusive, and `why`. `judged`: number of occasions to fail, `failed`: number of
    failures among them; `effects`: number of fault effects in the run.
    """

    judge: str
    outcome: str
    why: str
    judged: int
    failed: int = 0
    effects: int = 0
    evidence: tuple[Evidence, ...] = ()

    def as_json(self) -> dict[str, Any]:
        """JSON-ready."""
        return {
            "judge": self.judge, "outcome": self.outcome, "why": self.why, "judged": self.judged,
            "failed": self.failed, "effects": self.effects,
            "evidence": [
                {
                    "at_s": one.at / 1e9, "what": one.what, "fault": one.fault,
                    "frames": [
                        {"start_s": f.start / 1e9, "end_s": f.end / 1e9, "driver": f.driver, "hex": f.data,
                         "meaning": f.meaning}
                        for f in one.frames
                    ],
                }
                for one in self.evidence
            ],
        }  # fmt: skip
