"""The head of a trace: everything that is needed to understand it, and to play it again, without the plan's file."""

from __future__ import annotations

import json
import time

from busim.foundation.version import VERSION
from busim.plan import Plan, defaults, source_text
from busim.recording.trace import HeadValue


def head(
    plan: Plan, *, clock: str, seed: int, speed: float, played: list[str] | None, hooked: bool,
    epoch: int | None = None,
) -> dict[str, HeadValue]:  # fmt: skip
    """What a trace says of its run. `clock`: fast or wall; `played`: masters that busim played, None for all.

    `epoch`: UTC of simulated time 0 in ns since 1970, None for now. Raises UserError for a plan that was changed in
    memory.
    """
    return {
        "busim": VERSION,
        "clock": clock,
        "seed": seed,
        "epoch": time.time_ns() if epoch is None else epoch,
        "plan_path": plan.path,
        "plan_text": source_text(plan),
        "plan_files": json.dumps(dict(plan.files)),
        "defaults": json.dumps(defaults(plan)),
        "speed": speed,
        "played": json.dumps(played),
        "hook": int(hooked),
    }
