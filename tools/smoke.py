"""The smoke set for each supported Python: import, a second of the demo plan, its report, three commands.

`tools/smoke` runs it on each Python that the machine has. A check that fails ends it with a traceback.
"""

from __future__ import annotations

import json
import platform
import subprocess
import sys
import tempfile
import warnings
from pathlib import Path

PLAN = Path(__file__).resolve().parent.parent / "scenarios" / "climbing-hall" / "plan.yaml"


def command(*arguments: str) -> str:
    """The output of `busim` with these arguments. Exits if it fails or warns."""
    line = [sys.executable, "-W", "error::DeprecationWarning:busim", "-m", "busim", *arguments]
    done = subprocess.run(line, capture_output=True, text=True, timeout=100, check=False)
    if done.returncode or "Warning" in done.stderr:
        sys.exit(f"`busim {' '.join(arguments)}` ended with {done.returncode}\n{done.stdout}{done.stderr}")
    return done.stdout


def main() -> None:
    """All checks, in a temporary folder."""
    warnings.filterwarnings("error", category=DeprecationWarning, module="busim")
    import busim

    assert all(hasattr(busim, name) for name in busim.__all__)
    plan = busim.read_plan(PLAN)
    with tempfile.TemporaryDirectory() as folder:
        trace = Path(folder) / "hall.busim"
        run = busim.Run(plan, seed=1, trace=trace)
        run.advance(10**9)
        run.finish()
        rate = run.report().line("rope line")["poll_rate"].value
        assert rate is not None
        assert rate > 40
        assert busim.replay(trace).difference is None
    assert busim.__version__ in command("--version")
    assert json.loads(command("run", str(PLAN), "--for", "1s", "--json"))["length_s"] == 1
    assert "camera" in command("check", str(PLAN))
    print(f"Python {platform.python_version()}: passed")


if __name__ == "__main__":
    main()
