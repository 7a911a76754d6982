"""The screen of `busim fuzz`: progress during the campaign, and the result."""

from __future__ import annotations

import contextlib
import sys
import time
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

from busim.cli.screen import Screen, counted, fewest, listed
from busim.foundation.errors import UserError
from busim.foundation.units import show_time
from busim.testing.fuzzing import (
    STAYS_UP,
    Accepted,
    AnyRun,
    Campaign,
    Case,
    Failure,
    Result,
    ServedRun,
    VirtualRun,
    Workers,
    save,
)
from busim.testing.judging import FAIL, INCONCLUSIVE, PASS, Verdict

SCHEMA = 1
_OFTEN = 2.0  # seconds between two lines of progress
_SHOWN = 6  # failures on the first screen


class Told:
    """The campaign, with its options. `new`: failures that are not accepted; `paths`: their files."""

    def __init__(
        self, run: AnyRun, cases: int, seed: int, jobs: int, folder: Path, accepted: tuple[Accepted, ...],
        make: str,
    ) -> None:  # fmt: skip
        self.run, self.cases, self.seed, self.jobs = run, cases, seed, jobs
        self.campaign = Campaign()
        self.broken_off = False
        self.late = self.memory = 0
        self.cpu = self.share = 0.0
        self.killed = 0
        self.runs = 0
        self.paths: dict[str, Path] = {}
        self.accepted = accepted
        self._folder, self._make = folder, make
        self._said = time.monotonic()

    @property
    def new(self) -> list[Failure]:
        return [one for one in self.campaign.failures if self.reason(one) is None]

    def reason(self, failure: Failure) -> str | None:
        """Why a failure is accepted, None if it is not."""
        return next((one.reason for one in self.accepted if one.covers(failure)), None)

    def saw(self, result: Result) -> None:
        """One more run is over."""
        self.runs += 1
        seen = result.watched
        if seen is not None:
            self.late, self.memory = max(self.late, seen.late), max(self.memory, seen.memory)
            self.cpu, self.killed = max(self.cpu, seen.cpu), self.killed + seen.killed
            self.share = max(self.share, seen.share)
        if time.monotonic() - self._said > _OFTEN:
            self._said = time.monotonic()
            found = self._found()
            failed = f"; failed so far: {', '.join(found)}" if found else "; no failure so far"
            done = f"{self.campaign.cases} of {counted(self.cases, 'case')} judged, {counted(self.runs, 'run')}{failed}"
            with contextlib.suppress(OSError, ValueError):  # the reader has closed it
                print(done, file=sys.stderr, flush=True)

    def _found(self) -> list[str]:
        """The judges that failed in a case. One that failed only in a run to make another failure small is no finding:
        the campaign does not keep it.
        """
        campaign = self.campaign
        failed = [name for name, counts in campaign.outcomes.items() if counts[FAIL]]
        return list(dict.fromkeys([*(one.judge for one in campaign.failures), *failed]))

    def try_without_faults(self, workers: Workers, length: int) -> None:
        """The program must work without faults. Raises UserError if it does not run or sends no request."""
        case = Case(self.seed, length)
        result = workers.one(case)
        up = next(one for one in result.verdicts if one.judge == STAYS_UP)
        if up.outcome != PASS:
            said = result.watched.words if result.watched is not None else ""
            raise UserError(
                "the controller does not work even with no fault", field="--controller",
                found=up.why if not said or said in up.why else f"{up.why}; last on standard error: {said}",
                expected=f"requests through {listed(self.plan_through)} for {show_time(length)}",
                mend="run it with `busim with PLAN -- COMMAND` first"
                + ("" if up.outcome == FAIL else "; check {NAME.host} and {NAME.port}"),
            )  # fmt: skip
        for verdict in result.verdicts:
            if verdict.outcome == FAIL:
                self.campaign.failures.append(Failure(verdict.judge, case, case, verdict, 0, result.trace))

    @property
    def plan_through(self) -> tuple[str, ...]:
        name = self.run.master if isinstance(self.run, ServedRun | VirtualRun) else ""
        return next((tuple(one.through) for one in self.run.plan.masters if one.name == name), ())

    def save(self) -> None:
        """Write every failure that is not accepted."""
        for failure in self.new:
            if failure.judge not in self.paths:
                self.paths[failure.judge] = save(self._folder, self.run, failure, make=self._make)


def show(told: Told) -> None:
    """The answer first, then each failure, then the coverage of the campaign."""
    screen, campaign, new = Screen(), told.campaign, told.new
    what = f"in {counted(campaign.cases, 'case')}, seed {told.seed}"
    if told.broken_off or campaign.cases < told.cases:
        what += f" ({'ended by Ctrl-C' if told.broken_off else 'broken off'}; {told.cases} were wanted)"
    known = len(campaign.failures) - len(new)
    accepted = f", {counted(known, 'failure')} accepted" if known else ""
    screen.say(
        f"{counted(len(new), 'failure') if new else 'No failure'} {what}{accepted}.", "bold red" if new else "bold"
    )
    for failure in new[:_SHOWN]:
        screen.blank()
        screen.say(f"{failure.judge}: {failure.verdict.why}", hang=2)
        screen.say(f"with {faults_of(failure.case)}", indent=2, hang=2)
        screen.say(f"busim replay {told.paths[failure.judge]}", indent=2, hang=2)
    if len(new) > _SHOWN:
        screen.say(f"and more: {fewest([one.judge for one in new[_SHOWN:]], _SHOWN)}")
    for failure in campaign.failures:
        reason = told.reason(failure)
        if reason is not None:
            screen.say(f"accepted: {failure.judge}: {reason}", "dim", hang=2)
    screen.blank()
    screen.say(
        f"Faults took effect in {counted(campaign.effects, 'case')}: "
        f"{counted(len(campaign.effective), 'fault')} of the "
        f"catalogue. {counted(len(campaign.reached), 'combination')} of judge, fault and outcome reached."
    )
    silent = [name for name, counts in campaign.outcomes.items() if not counts[PASS] and not counts[FAIL]]
    if silent:
        screen.say(f"Nothing to judge for: {fewest(silent, 8)}. What one needs: busim explain {silent[0]}", hang=2)
    if isinstance(told.run, ServedRun):
        screen.say(
            f"Measured: {told.jobs} side by side, busim's events at most {told.late / 1e6:.0f} ms late; the controller "
            f"took at most {told.memory >> 20} MiB and {told.cpu:.1f} s of CPU time. A world and its controller took "
            f"at most {100 * told.share:.0f} % of a core (measured): a core carries {worlds(told.share)} side by side."
        )
        if told.killed:
            screen.say(f"It did not end within 1 s when asked, in {counted(told.killed, 'run')}; it was killed.")


def worlds(share: float) -> int:
    """How many worlds a core carries that each take this share of it, with a fifth of the core kept free."""
    return max(1, int(0.8 / share)) if share else 1


def faults_of(case: Case) -> str:
    """The faults of a case in words."""
    if not case.faults:
        return f"no fault, in {show_time(case.length)}"
    said = [f"{one.kind} at {one.target} from {one.at / 1e9:.2f} s for {show_time(one.length)}" for one in case.faults]
    return listed(said)


def as_dict(told: Told) -> dict[str, Any]:
    """JSON-ready."""
    campaign = told.campaign
    return {
        "schema": SCHEMA, "seed": told.seed, "cases": campaign.cases, "cases_wanted": told.cases, "runs": told.runs,
        "ended_by_ctrl_c": told.broken_off, "effects": campaign.effects, "reached": len(campaign.reached),
        "effective_faults": sorted(campaign.effective),
        "outcomes": campaign.outcomes,
        "measured": {"late_max_s": told.late / 1e9, "memory_max_bytes": told.memory, "cpu_max_s": told.cpu,
                     "killed": told.killed, "core_share_max": told.share},
        "failures": [
            {
                "judge": one.judge, "accepted": told.reason(one), "found_after": one.found_after,
                "case": one.case.as_json(), "verdict": one.verdict.as_json(),
                "saved": str(told.paths[one.judge]) if told.reason(one) is None and one.judge in told.paths else None,
            }
            for one in campaign.failures
        ],
    }  # fmt: skip


def junit_xml(told: Told) -> str:
    """One test case per judge, in the XML that build servers read (the de facto form; no standard has it)."""
    failures = {one.judge: one for one in told.campaign.failures}
    outcomes = {**told.campaign.outcomes, **{name: told.campaign.outcomes.get(name, {}) for name in failures}}
    suite = ElementTree.Element("testsuite", name="busim fuzz", tests=str(len(outcomes)), failures=str(len(told.new)))
    for name, counts in outcomes.items():
        case = ElementTree.SubElement(suite, "testcase", classname="busim.fuzz", name=name)
        failure = failures.get(name)
        if failure is not None and told.reason(failure) is None:
            verdict: Verdict = failure.verdict
            part = ElementTree.SubElement(case, "failure", message=_clean(verdict.why))
            part.text = _clean("\n".join([faults_of(failure.case), *(one.what for one in verdict.evidence)]))
        elif failure is not None:
            ElementTree.SubElement(case, "skipped", message=_clean(f"accepted: {told.reason(failure)}"))
        elif not counts.get(PASS) and counts.get(INCONCLUSIVE):
            ElementTree.SubElement(case, "skipped", message="inconclusive: there was nothing to judge")
    return ElementTree.tostring(suite, encoding="unicode") + "\n"


def _clean(text: str) -> str:
    """XML has no control characters."""
    return "".join(one if one in "\n\t" or ord(one) >= ord(" ") else "?" for one in text)
