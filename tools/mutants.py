"""Tells whether the tests notice a wrong core: draws small changes of the simulator, and runs the tests on each.

Usage: `tools/mutants` (300 mutants of seed 1), `tools/mutants --seed 7 --count 50`, `tools/mutants --only FOLDER`,
`tools/mutants --survivors` (those that survived the last run, once more).

Each job has a copy of the project, so this tree stays as it is. Tests run once on the unchanged copy, to see which test
runs which line and for how long; then each mutant meets the tests that run its line, the quick ones first, until one
fails. Property tests run `EXAMPLES` examples, the same ones each time, and shrink nothing.

A test that takes ten times its processor time has failed: processor time, because the machine may be busy. A mutant
that no test can tell from the code stands in `equivalent_mutants.yaml` with the reason.

Results go to `.mutants` as they come, so Ctrl-C loses nothing, and a mutant whose verdict is there is not run again
unless its module changed (`--again`: it is, for tests that changed).
"""

from __future__ import annotations

import argparse
import difflib
import hashlib
import json
import multiprocessing
import shutil
import sys
import time
from collections import Counter, deque
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from multiprocessing.connection import wait
from multiprocessing.context import ForkProcess
from pathlib import Path
from typing import Any

import mutant_tests
import mutations
from mutations import Mutation, draw, of_packages
from ruamel.yaml import YAML

TOP = Path(__file__).resolve().parent.parent
STORE = TOP / ".mutants"
CORE = ["busim/simulator/bus", "busim/simulator/masters", "busim/simulator/converters", "busim/simulator/cameras",
        "busim/recording/figures"]  # fmt: skip
TESTS = ["tests/simulator", "tests/recording/test_figures.py", "tests/recording/test_intervals.py",
         "tests/recording/test_expectations.py", "tests/protocols/test_hook.py"]  # fmt: skip
COPIED = ["busim", "tests", "scenarios", "tools", "pyproject.toml", "README.md", "DEVELOPERS.md"]
BAR = 0.95
FIRST = 40  # tests a mutant meets at first: most die of one of them, and few files are loaded
AT_MOST = 240.0  # s of tests that a mutant meets in all, by the times they took on the unchanged code
FORK = multiprocessing.get_context("fork")


@dataclass
class Job:
    """Test files for one fresh process on one copy: these tests of them, or all of them to draw the map."""

    files: list[str]
    tests: list[str] = field(default_factory=list)
    seconds: dict[str, float] = field(default_factory=dict)  # of each test on the unchanged code
    mutation: Mutation | None = None
    rest: list[str] = field(default_factory=list)  # tests that the mutant meets if it survives these


def copies(jobs: int) -> list[Path]:
    """Fresh copies of the project, one for each job at a time."""
    made = []
    for number in range(jobs):
        copy = STORE / f"copy-{number}"
        shutil.rmtree(copy, ignore_errors=True)
        copy.mkdir(parents=True)
        for name in COPIED:
            if (TOP / name).is_dir():
                shutil.copytree(TOP / name, copy / name, ignore=shutil.ignore_patterns("*.pyc", ".hypothesis"))
            else:
                shutil.copy2(TOP / name, copy / name)
        made.append(copy)
    return made


def run(work: deque[Job], places: list[Path]) -> Iterator[tuple[Job, dict[str, Any]]]:
    """Every job and its result, as they end; as many at a time as there are places. `work` may grow meanwhile."""
    free = list(places)
    running: dict[int, tuple[Job, ForkProcess, Path]] = {}
    sources: dict[Path, bytes] = {}
    try:
        while work or running:
            while free and work:
                job, place = work.popleft(), free.pop()
                if job.mutation:
                    target = place / job.mutation.path
                    sources[place] = target.read_bytes()
                    _write(target, job.mutation.apply(sources[place]))
                process = FORK.Process(target=mutant_tests.run, args=(place, job.files, job.tests, job.seconds, CORE))
                process.start()
                running[process.sentinel] = (job, process, place)
            for sentinel in wait(list(running)):
                job, process, place = running.pop(sentinel)  # type: ignore[arg-type]
                process.join()
                if job.mutation:
                    _write(place / job.mutation.path, sources[place])
                free.append(place)
                yield job, mutant_tests.result(place, process.exitcode)
    finally:
        for _, process, _ in running.values():
            process.kill()


def _write(target: Path, source: bytes) -> None:
    """A module of a copy; what it was compiled to goes, which would hide a change of the same second and length."""
    target.write_bytes(source)
    for compiled in (target.parent / "__pycache__").glob(f"{target.stem}.*.pyc"):
        compiled.unlink()


# -- which test runs which line ---------------------------------------------------------------------------------------


@dataclass
class Map:
    """Seconds of each test that passes on the unchanged code, and the lines of the core that it runs."""

    seconds: dict[str, float]
    lines: dict[str, dict[str, list[str]]]  # path, line: tests; line "0": whenever the module is loaded

    def tests(self, mutation: Mutation) -> list[str]:
        """The tests that run the changed lines, quick ones first, up to a limit of time in all."""
        of_file = self.lines.get(mutation.path, {})
        spread = range(mutation.line, mutation.end_line + 1)
        found = {test for line in spread for test in of_file.get(str(line), ())}
        if not found:  # it runs when the module is loaded: a constant, a default
            folder = mutation.path.rpartition("/")[0] + "/"
            near = (
                [of_file]
                if any(of_file.values())
                else [each for path, each in self.lines.items() if path.startswith(folder)]
            )
            found = {test for each in near for tests in each.values() for test in tests}
        chosen, total = [], 0.0
        for test in sorted(found & set(self.seconds), key=lambda test: (self.seconds[test], test)):
            total += self.seconds[test]
            if total > AT_MOST:
                break
            chosen.append(test)
        return chosen


def mapped(places: list[Path], tests: list[str], anew: bool) -> Map:
    """The map from the store; test files that are not in it, or changed, are run. `anew`: all of them.

    Where the core changed since, a line has the tests of the line that it was, a new one those of the line above.
    """
    store = STORE / "map.json"
    known: dict[str, Any] = json.loads(store.read_text()) if store.exists() and not anew else {"files": {}, "core": {}}
    core = {
        path.relative_to(places[0]).as_posix(): path.read_text()
        for name in CORE for path in sorted((places[0] / name).rglob("*.py"))
    }  # fmt: skip
    mark = hashlib.sha256(json.dumps(core).encode()).hexdigest()[:16]
    known["core"][mark] = core
    names = [name for each in tests for name in _test_files(each)]
    old = known["files"]
    new = deque(Job([name]) for name in names if old.get(name, {}).get("test") != _digest([places[0] / name]))
    if new:
        print(f"{len(new)} test files are run on the unchanged code first")
    for job, found in run(new, places):
        (name,) = job.files
        old[name] = {"test": _digest([places[0] / name]), "core": mark, **found}
        store.write_text(json.dumps(known))
        spent = found.get("seconds", {}).values()
        print(f"  {name}: {len(spent)} tests, {sum(spent):.0f} s", flush=True)
        for test in found.get("failed", []):
            print(f"    left out, it fails on the unchanged code: {test}")
    seconds: dict[str, float] = {}
    lines: dict[str, dict[str, list[str]]] = {}
    moved = {
        (each, path): _moved(known["core"][each].get(path, ""), text)
        for each in {old[name]["core"] for name in names} for path, text in core.items()
    }  # fmt: skip
    for entry in (old[name] for name in names):
        seconds.update(entry.get("seconds", {}))
        for path, of_path in entry.get("lines", {}).items():
            for line, was in moved.get((entry["core"], path), {}).items():
                lines.setdefault(path, {}).setdefault(str(line), []).extend(of_path.get(str(was), ()))
    return Map(seconds, lines)


def _moved(before: str, after: str) -> dict[int, int]:
    """Line of a text, from 1, to the line of an older one that it was, or that stood above it."""
    found: dict[int, int] = {}
    matcher = difflib.SequenceMatcher(None, before.splitlines(), after.splitlines(), autojunk=False)
    for _, first, last, start, end in matcher.get_opcodes():
        for line in range(start, end):
            found[line + 1] = max(1, min(first + line - start + 1, last))
    return found


def _test_files(name: str) -> list[str]:
    path = TOP / name
    files = sorted(path.rglob("test_*.py")) if path.is_dir() else [path]
    return [file.relative_to(TOP).as_posix() for file in files]


def _digest(paths: Iterable[Path]) -> str:
    whole = hashlib.sha256()
    for path in paths:
        whole.update(path.read_bytes())
    return whole.hexdigest()[:16]


# -- verdicts ---------------------------------------------------------------------------------------------------------


def equivalents(path: Path) -> dict[tuple[str, str, str, str], str]:
    """(file, function, before, after) to why no test can tell the two apart."""
    entries = YAML(typ="safe", pure=True).load(path.read_text()) or []
    return {(each["file"], each["in"], each["was"], each["becomes"]): each["why"] for each in entries}


def place_of(mutation: Mutation) -> tuple[str, str, str, str]:
    return mutation.path, mutation.function, mutation.before, mutation.after


@dataclass
class Verdicts:
    """The verdict on each mutant, in memory and in a file to which it is appended."""

    path: Path
    known: dict[str, dict[str, Any]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        if self.path.exists():
            for line in self.path.read_text().splitlines():
                entry = json.loads(line)
                self.known[entry["name"]] = entry

    def add(self, mutation: Mutation, verdict: str, **more: Any) -> None:
        entry = {"name": mutation.name, "code": mutations.meaning(TOP / mutation.path), "verdict": verdict, **more}
        self.known[mutation.name] = entry
        with self.path.open("a") as file:
            file.write(json.dumps(entry) + "\n")

    def of(self, mutation: Mutation) -> str | None:
        entry = self.known.get(mutation.name)
        return entry["verdict"] if entry and entry["code"] == mutations.meaning(TOP / mutation.path) else None


def told(mutation: Mutation, verdict: str) -> str:
    return (f"{verdict}: {mutation.path}:{mutation.line} in {mutation.function or 'the module'} ({mutation.kind})\n"
            f"    was      {mutation.before}\n    becomes  {mutation.after}")  # fmt: skip


def judge(drawn: list[Mutation], table: Map, places: list[Path], verdicts: Verdicts) -> None:
    """Runs the tests on each mutant, the quick ones first; those that it survives go on with the rest."""
    work: deque[Job] = deque()
    for mutation in drawn:
        tests = table.tests(mutation)
        if tests:
            work.append(_job(mutation, tests[:FIRST], table, rest=tests[FIRST:]))
        else:
            verdicts.add(mutation, "not run by any test")
            print(told(mutation, "not run by any test"), flush=True)
    began, done, survived, count = time.monotonic(), 0, 0, len(work)
    for job, found in run(work, places):
        assert job.mutation
        if found["verdict"] == "survived" and job.rest:
            work.append(_job(job.mutation, job.rest, table, rest=[]))
            continue
        verdicts.add(job.mutation, found["verdict"], by=found["by"])
        done += 1
        if found["verdict"] == "survived":
            survived += 1
            print(told(job.mutation, "survived"), flush=True)
        if done % 10 == 0:
            left = (time.monotonic() - began) / done * (count - done) / 60
            print(f"  {done} of {count} judged: {survived} survived, about {left:.0f} min left", flush=True)


def _job(mutation: Mutation, tests: list[str], table: Map, rest: list[str]) -> Job:
    return Job(sorted({test.partition("::")[0] for test in tests}), tests, table.seconds, mutation, rest)


def summary(drawn: list[Mutation], verdicts: Verdicts, reasons: dict[tuple[str, str, str, str], str]) -> bool:
    """Prints the verdicts on those drawn. True if the bar is reached and each survivor has a reason."""
    counts: Counter[str] = Counter()
    for mutation in drawn:
        verdict = verdicts.of(mutation) or "not run yet"
        if verdict in ("survived", "not run by any test", "not run yet") and place_of(mutation) in reasons:
            verdict = "equivalent"
        counts[verdict] += 1
        if verdict not in ("killed", "took too long", "equivalent"):
            print(told(mutation, verdict))
    died = counts["killed"] + counts["took too long"]
    judged = len(drawn) - counts["equivalent"] - counts["not run yet"]
    print(f"{len(drawn)} mutants: " + ", ".join(f"{count} {verdict}" for verdict, count in counts.most_common()))
    share = died / judged if judged else 0.0
    print(f"{died} of {judged} that can be told from the code died: {share:.1%} (bar {BAR:.0%})")
    return died + counts["equivalent"] == len(drawn) and share >= BAR


def main() -> int:
    about, _, rest = (__doc__ or "").partition("\n")
    parser = argparse.ArgumentParser("tools/mutants", description=about, epilog=rest,
                                     formatter_class=argparse.RawDescriptionHelpFormatter)  # fmt: skip
    parser.add_argument("--seed", type=int, default=1, help="which are drawn (default 1)")
    parser.add_argument("--count", type=int, default=300, help="how many are drawn (default 300)")
    parser.add_argument("--jobs", type=int, default=2, help="processes at a time (default 2)")
    parser.add_argument("--only", action="append", help="a file or folder of the core; may be given more than once")
    parser.add_argument("--survivors", action="store_true", help="run those that survived before once more")
    parser.add_argument("--again", action="store_true", help="run all once more")
    parser.add_argument("--map", action="store_true", help="find out anew which test runs which line")
    parser.add_argument("--list", action="store_true", help="print what is drawn, and run nothing")
    options = parser.parse_args()
    STORE.mkdir(exist_ok=True)
    verdicts = Verdicts(STORE / "verdicts.jsonl")
    drawn = draw(of_packages(TOP, options.only or CORE), options.seed, options.count)
    reasons = equivalents(TOP / "tools" / "equivalent_mutants.yaml")
    if options.list:
        for mutation in drawn:
            print(told(mutation, verdicts.of(mutation) or "drawn"))
        return 0
    if options.survivors:
        to_run = [each for each in drawn if verdicts.of(each) in ("survived", "not run by any test")]
    else:
        to_run = [each for each in drawn if options.again or verdicts.of(each) is None]
    to_run = [each for each in to_run if place_of(each) not in reasons]
    try:
        if to_run:
            mutant_tests.load()
            places = copies(options.jobs)
            judge(to_run, mapped(places, TESTS, options.map), places, verdicts)
    except KeyboardInterrupt:
        print("interrupted; what was judged is kept")
    return 0 if summary(drawn, verdicts, reasons) else 1


if __name__ == "__main__":
    sys.exit(main())
