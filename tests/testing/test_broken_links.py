"""Connections that break: the good link passes every judge, each broken one is found."""

from __future__ import annotations

from itertools import pairwise

import pytest
from fuzzed_halls import HALLS, SECOND, behind_a_box, boxed

from busim.recording.trace import EXCHANGE, INPUT
from busim.simulator.masters import Master
from busim.testing.broken_links import BROKEN_LINKS
from busim.testing.fuzzing import Action, Case, FaultEvent, PureRun, run_pure
from busim.testing.fuzzing.linked import Link
from busim.testing.judge_catalogue import all_judges
from busim.testing.judging import FAIL, PASS

JUDGES = list(all_judges().values())
BOXED = boxed()
CASE = Case(1, 22 * SECOND)


def test_the_good_link_passes_and_connects_again_at_growing_pauses() -> None:
    result = run_pure(BOXED, CASE, JUDGES, Master, link=Link, keep=True)
    verdicts = {one.judge: one for one in result.verdicts}
    assert [(one.judge, one.why) for one in result.verdicts if one.outcome == FAIL] == []
    for name in ("link-hygiene", "transparency", "recovery", "attribution"):
        assert verdicts[name].outcome == PASS, verdicts[name].why
    opened = [record[1] for record in result.records if record[0] == INPUT and record[4] == "open"]
    assert opened[0] == 0
    assert [later - former for former, later in pairwise(opened[1:])] == [2 * SECOND, 4 * SECOND, 5 * SECOND]


def test_a_master_has_its_connection_before_it_asks() -> None:
    result = run_pure(BOXED, Case(1, SECOND), [], link=Link, keep=True)
    outcomes = [record[12] for record in result.records if record[0] == EXCHANGE]
    assert set(outcomes) == {"ok"}


BABBLES = (("mode", "babble"), ("bytes", "9c 03 e1 77 20 ff 04 5b"), ("pause", "2 ms"))
BABBLE = Case(413717937, 2 * SECOND, (FaultEvent("stuck-transmitter", "c3", 1_689_000_000, 31_250_000, BABBLES),))
TWICE = Case(
    2114187963, 7 * SECOND, (FaultEvent("late-reply", "c4", 5_638_000_000, 2 * SECOND, (("by", "12 ms"),)),),
    (Action(6_512_000_000, "c4", "gain", 54),),
)  # fmt: skip


@pytest.mark.parametrize(("hall", "case"), [("rates", BABBLE), ("steps", TWICE)], ids=["babble", "twice"])
def test_a_controller_on_tcp_is_not_blamed_for_what_its_converter_still_holds(hall: str, case: Case) -> None:
    """Behind a packing timer of 2 ms a burst is known when it is over; and the late reply to a command came out while
    its repeat went in, so it is the answer for all that anybody can know. Both found by campaigns.
    """
    result = PureRun(behind_a_box(HALLS[hall]), tuple(JUDGES), wire_only=True)(case)
    assert [(one.judge, one.why) for one in result.verdicts if one.outcome == FAIL] == []
    assert result.verdicts[0].effects


@pytest.mark.parametrize("name", BROKEN_LINKS)
def test_a_broken_link_is_found(name: str) -> None:
    broken = BROKEN_LINKS[name]
    failed = {one.judge: one for one in run_pure(BOXED, CASE, JUDGES, link=broken.make).verdicts if one.outcome == FAIL}
    assert broken.found_by in failed
    assert failed[broken.found_by].evidence
