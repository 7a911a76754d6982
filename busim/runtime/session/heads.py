"""The head of a trace: everything needed to understand it, and to replay it, without the plan's file."""

from __future__ import annotations

import json
import time
from pathlib import Path

from busim.foundation.errors import UserError
from busim.foundation.version import VERSION
from busim.plan import Plan, defaults, files_in_use, folder, source_text
from busim.recording.trace import HeadValue


def head(
    plan: Plan, *, clock: str, seed: int, speed: float, played: list[str] | None, hooked: bool,
    distinct: bool = False, epoch: int | None = None,
) -> dict[str, HeadValue]:  # fmt: skip
    """The head of a run. `clock`: fast or wall; `played`: masters that busim played, None for all. `distinct`: cameras
    began with values of their own.

    `epoch`: UTC of simulated time 0 in ns since 1970, None for now. Raises UserError for a plan that was changed in
    memory, and for one whose trace would include a file from elsewhere.
    """
    return {
        "busim": VERSION,
        "clock": clock,
        "seed": seed,
        "epoch": time.time_ns() if epoch is None else epoch,
        "plan_path": plan.path,
        "plan_text": source_text(plan),
        "plan_files": json.dumps(_embedded(plan)),
        "defaults": json.dumps(defaults(plan)),
        "speed": speed,
        "played": json.dumps(played),
        "hook": int(hooked),
        "distinct": int(distinct),
    }


def _embedded(plan: Plan) -> dict[str, str]:
    """Name to text of the files in use. All lie in the plan's folder: a person who gets a plan and returns the trace
    must not send other files along.
    """
    here = Path(folder(plan)).resolve()
    found = {}
    for name in files_in_use(plan):
        if name not in plan.files:
            continue  # it cannot be read, which its user reports
        if not (here / name).resolve().is_relative_to(here):
            raise UserError(
                "a trace includes only files from the folder of the plan", file=plan.path or None,
                found=f"{name[:200]!r}", expected=f"a file in {str(here)!r} or below it",
                mend="copy that file beside the plan and write its new path, or record no trace",
            )  # fmt: skip
        found[name] = plan.files[name]
    return found
