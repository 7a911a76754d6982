"""The pure and the compiled core, run on the same plans: records and figures must be the same (for tools/compiled).

Each core runs in a process of its own. The plans are the scenarios, and drawn ones that the first process writes.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path

TOP = Path(__file__).resolve().parent.parent
SCENARIO, DRAWN = 5_000_000_000, 300_000_000  # ns that a plan runs


def draw(count: int, folder: Path) -> None:
    """Write `count` drawn plans, the same each time: those that the property of both paths runs."""
    sys.path.insert(0, str(TOP / "tests" / "simulator"))
    from hypothesis import HealthCheck, Phase, given, seed, settings
    from test_both_paths import plans, text_of

    texts: dict[str, None] = {}  # in the order of drawing

    @seed(11)
    @settings(max_examples=2 * count, deadline=None, database=None, phases=[Phase.generate],
              suppress_health_check=list(HealthCheck))  # fmt: skip
    @given(plans)
    def keep(case: dict[str, object]) -> None:
        texts[text_of(case)] = None

    keep()
    if len(texts) < count:
        sys.exit(f"only {len(texts)} different plans were drawn, of {count}")
    for number, text in enumerate(list(texts)[:count]):
        (folder / f"drawn {number:03}.yaml").write_text(text)


def hashes(folder: Path) -> dict[str, str]:
    """Per plan a hash over all its records and figures, from the busim that this process imports."""
    from busim.plan import read
    from busim.runtime.session import Run
    from busim.simulator.kernel import core
    from busim.simulator.world import build

    found = {"core": core()}
    plans = [(path.parent.name, path, SCENARIO) for path in sorted((TOP / "scenarios").glob("*/plan.yaml"))]
    plans += [(path.stem, path, DRAWN) for path in sorted(folder.glob("*.yaml"))]
    for name, path, length in plans:
        digest = hashlib.sha256()
        world = build(read(path), 1, lambda record, add=digest.update: add(f"{record!a}\n".encode()))
        world.start()
        world.kernel.advance(length)
        world.finish()
        run = Run(read(path), 1)
        run.advance(length)
        run.finish()
        digest.update(json.dumps(run.report().as_json()).encode())
        found[name] = digest.hexdigest()
    return found


def main() -> None:
    """Compare, and end with 1 where a core is not the one it should be, or a record or figure differs."""
    parser = argparse.ArgumentParser(prog="tools/compiled", description=__doc__)
    parser.add_argument("--plans", type=int, default=30, help="how many drawn plans beside the scenarios")
    parser.add_argument("--compiled", type=Path, help="the folder with the compiled busim")
    parser.add_argument("--hash", type=Path, help=argparse.SUPPRESS)  # what each of the two processes is asked for
    given = parser.parse_args()
    if given.hash:
        sys.stdout.write(json.dumps(hashes(given.hash)))
        return
    with tempfile.TemporaryDirectory() as folder:
        draw(given.plans, Path(folder))
        running = [
            subprocess.Popen(
                [sys.executable, __file__, "--hash", folder],
                env={**os.environ, "PYTHONPATH": str(place)}, stdout=subprocess.PIPE, text=True,
            )
            for place in (TOP, given.compiled)
        ]  # fmt: skip
        said = [process.communicate()[0] for process in running]
    if any(process.returncode for process in running):
        sys.exit("a core could not run the plans")
    pure, compiled = (json.loads(each) for each in said)
    cores = pure.pop("core"), compiled.pop("core")
    if cores != ("pure Python", "compiled"):
        sys.exit(f"expected the pure and the compiled core, but {cores[0]} and {cores[1]} ran")
    different = [name for name in pure if pure[name] != compiled[name]]
    if different:
        sys.exit(
            f"{len(different)} of {len(pure)} plans have other records or figures when compiled: {', '.join(different)}"
        )
    print(f"the same records and figures from both cores: {len(pure)} plans, {given.plans} of them drawn")


if __name__ == "__main__":
    main()
