"""A campaign: many cases, drawn towards what has not been seen, judged, and what fails made small.

Cases are drawn in rounds. A case that reached a new triple of a judge's state, a fault and an outcome is kept, and
later rounds change kept ones. What a round draws depends on the rounds before it alone, so a campaign is the same
however many processes work on it.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

from busim.simulator.kernel import Chance
from busim.testing.fuzzing.case import Case
from busim.testing.fuzzing.drawing import Drawing, Space
from busim.testing.fuzzing.pure import Result
from busim.testing.fuzzing.shrinking import shrink
from busim.testing.judging import FAIL, INCONCLUSIVE, PASS, Verdict

ROUND = 8
_FRESH_OF = 3  # one case of this many is drawn from nothing

Run = Callable[[Case], Result]
Map = Callable[[Run, Iterable[Case]], Iterable[Result]]
Known = Mapping[str, Collection[str]]  # judge -> faults, each of which is known to make it fail
_NOTHING: Known = {}


@dataclass(frozen=True, slots=True)
class Failure:
    """A failed judge: the case, reduced, and the number of runs that took."""

    judge: str
    case: Case
    first: Case
    verdict: Verdict
    found_after: int
    trace: str = ""  # of the last run that showed it, if in wall time


@dataclass(slots=True)
class Campaign:
    """What came of it. `reached`: triples of a judge's state, a fault, an outcome; `outcomes`: judge to how often each.

    `effects`: cases in which a fault took effect.
    """

    cases: int = 0
    effects: int = 0
    failures: list[Failure] = field(default_factory=list)
    reached: set[tuple[str, str, str]] = field(default_factory=set)
    kept: list[Case] = field(default_factory=list)
    outcomes: dict[str, dict[str, int]] = field(default_factory=dict)
    last: Case | None = None  # that was counted

    @property
    def effective(self) -> frozenset[str]:
        """The faults that took effect before an exchange ended."""
        return frozenset(fault for _, fault, _ in self.reached) - {"none"}

    def keep(self, case: Case, result: Result) -> None:
        """Count a case and keep its failures as they are: nobody makes them small any more."""
        if case is not self.last:
            _count(self, case, result)
        failed = {one.judge for one in self.failures}
        for one in result.verdicts:
            if one.outcome == FAIL and one.judge not in failed:
                self.failures.append(Failure(one.judge, case, case, one, self.cases, result.trace))


def fuzz(
    run: Run, space: Space, *, seed: int, cases: int, first_only: bool = False, over: Map = map,
    advanced: Callable[[Campaign], bool] = lambda _: False, campaign: Campaign | None = None, tries: int = 60,
    known: Known = _NOTHING,
) -> Campaign:  # fmt: skip
    """Run up to `cases` cases. `first_only`: end with the first failure; `over`: how a round is worked on; `advanced`
    is told after each round and says whether to stop. `campaign`: what to add to, so that its owner has it after
    Ctrl-C; `tries`: runs at most to make one failure small. `known`: a judge that failed by one of these faults alone
    is looked at further.
    """
    campaign = Campaign() if campaign is None else campaign
    stream = Chance(seed).stream("campaign")
    drawing = Drawing(space, stream)
    failed = {one.judge for one in campaign.failures}  # judges whose further failures are not looked at
    met: set[str] = set()  # those that failed by a known fault
    while campaign.cases < cases:
        count = min(ROUND, cases - campaign.cases)
        drawn = []
        for _ in range(count):
            kept = campaign.kept
            if not kept or not stream.between(0, _FRESH_OF - 1):
                drawn.append(drawing.fresh())
            else:
                one = kept[stream.between(0, len(kept) - 1)]
                drawn.append(drawing.mutated(one, kept[stream.between(0, len(kept) - 1)]))
        for case, result in zip(drawn, over(run, drawn), strict=True):
            _count(campaign, case, result)
            before = len(campaign.failures)
            new = [one for one in result.verdicts if one.outcome == FAIL and one.judge not in failed]
            _add_failures(campaign, run, case, result, [one for one in new if one.judge not in met], tries)
            for judge in (one.judge for one in new if one.judge in met):
                _add_other(campaign, run, case, judge, known[judge], tries)
            for failure in campaign.failures[before:]:
                (met if _is_known(failure, known) else failed).add(failure.judge)
            if failed and first_only:
                return campaign
        drawing.learn(campaign.effective)
        if advanced(campaign):
            break
    return campaign


def _is_known(failure: Failure, known: Known) -> bool:
    return failure.case.only_fault in known.get(failure.judge, ())


def _add_other(campaign: Campaign, run: Run, case: Case, judge: str, known: Collection[str], tries: int) -> None:
    """The failure of a case whose judge has failed before by a known fault: what is left of it without such faults."""
    rest = replace(case, faults=tuple(one for one in case.faults if one.kind not in known))
    if rest.faults:
        result = run(rest)
        _add_failures(campaign, run, rest, result, [one for one in result.verdicts if _fails(one, judge)], tries)


def _count(campaign: Campaign, case: Case, result: Result) -> None:
    campaign.last = case
    campaign.cases += 1
    campaign.effects += any(verdict.effects for verdict in result.verdicts)
    for verdict in result.verdicts:
        counts = campaign.outcomes.setdefault(verdict.judge, {PASS: 0, FAIL: 0, INCONCLUSIVE: 0})
        counts[verdict.outcome] += 1
    if not result.reached <= campaign.reached:
        campaign.reached |= result.reached
        campaign.kept.append(case)


def _add_failures(
    campaign: Campaign, run: Run, case: Case, result: Result, verdicts: Sequence[Verdict], tries: int
) -> None:
    """The failures of one case, each made small; where a small case of one makes another judge fail, it is that one's
    too. A case in wall time need not fail again: what was seen is kept, and after Ctrl-C as well.
    """
    after = campaign.cases
    small: dict[Case, Result] = {}
    for verdict in verdicts:
        for known, given in small.items():
            again = _failing(given.verdicts, verdict.judge)
            if again is not None:
                campaign.failures.append(Failure(verdict.judge, known, case, again, after, given.trace))
                break
        else:
            seen = {case: result}

            def fails(tried: Case, judge: str = verdict.judge, seen: dict[Case, Result] = seen) -> int | None:
                given = run(tried)
                one = _failing(given.verdicts, judge)
                if one is None:
                    return None
                seen[tried] = given
                return one.evidence[0].at

            least = case
            try:
                least = shrink(case, fails, tries) if tries else case
                small[least] = seen[least]
            finally:
                last = _failing(seen[least].verdicts, verdict.judge)
                assert last is not None
                campaign.failures.append(Failure(verdict.judge, least, case, last, after, seen[least].trace))


def _failing(verdicts: Iterable[Verdict], judge: str) -> Verdict | None:
    return next((one for one in verdicts if _fails(one, judge)), None)


def _fails(verdict: Verdict, judge: str) -> bool:
    return verdict.judge == judge and verdict.outcome == FAIL
