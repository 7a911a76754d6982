"""Judges on records of whole runs: the good master passes, one that is broken in a known way fails, each with evidence.

The bounds are those of the fault catalogue: common practice, no source, except where a standard is named.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from fuzzed_halls import HALLS
from small_plans import sealed, wall

from busim.protocols import READ, Reply
from busim.protocols.sources import find as find_protocol
from busim.recording.trace import BELIEF, BURST, EFFECT, Record, TraceWriter, open_trace
from busim.recording.trace.batches import Batch
from busim.simulator.masters import Master
from busim.testing.fuzzing import Action, Case, FaultEvent, Result, run_pure
from busim.testing.judge_catalogue import all_judges
from busim.testing.judging import FAIL, INCONCLUSIVE, PASS, About, Asked, Judge, Verdict, judge_records, judge_trace
from busim.testing.judging.joined import JoinedReplies

MS = 1_000_000
SECOND = 1000 * MS
HALL = wall(cameras=4, baud="38400 Bd", turnaround="5 ms", values="[iris, gain]")
LATE = Case(1, 3 * SECOND, (FaultEvent("late-reply", "c2", SECOND, 200 * MS, (("by", "40 ms"),)),))


class TakesAnyReply(Master):
    """Takes the first sound reply as the answer."""

    def heard(self, data: bytes, at: int, *, flagged: bool = False) -> tuple[bytes | None, int | None]:
        if self._task is not None and data:
            self._finder.expect(self._task.request._replace(address=data[0]))
        return super().heard(data, at, flagged=flagged)


def judges(*names: str) -> list[type[Judge]]:
    return [all_judges()[name] for name in names]


def verdict(result: Result, name: str) -> Verdict:
    return next(one for one in result.verdicts if one.judge == name)


def test_a_late_reply_that_is_taken_for_the_next_one_is_found_with_times_frames_and_fault() -> None:
    found = verdict(run_pure(HALL, LATE, judges("attribution"), TakesAnyReply), "attribution")
    assert (found.outcome, found.why) == (FAIL, "iris of c1 = 174: this value was sent by c2 as its iris")
    first = found.evidence[0]
    assert SECOND < first.at < SECOND + 200 * MS
    assert first.fault == "late-reply at c2: reply to read of 0 by 40 ms"
    assert bytes.fromhex(first.frames[-1].data) == sealed("02 03 04 00 AE 00 20")  # by an independent CRC
    assert first.frames[-1].meaning == "reply of 2 to read 2 from 0: 174, 32, late"
    assert first.frames[-2].meaning == "request to 1: read 2 from 0"


class NoWrites(Judge):
    """A judge of a user: the controller only reads."""

    about = About("no-writes", "No writes", "the controller only reads", "a command", "bursts", "none")

    def asked(self, event: Asked) -> None:
        self.judged += 1
        if event.request.verb != READ:
            self.fail(event.start, event.line, f"{event.request.verb} to {event.request.address}")


def test_a_judge_of_a_user_is_told_of_what_it_overrides_and_its_word_counts() -> None:
    moved = replace(LATE, faults=(), actions=(Action(SECOND, "c3", "iris", 300),))
    (passed,) = run_pure(HALL, replace(LATE, faults=()), [NoWrites]).verdicts
    (failed,) = run_pure(HALL, moved, [NoWrites]).verdicts
    assert (passed.outcome, failed.outcome, failed.why, failed.failed) == (PASS, FAIL, "write to 3", 1)


def test_the_good_master_passes_on_the_same_case() -> None:
    found = verdict(run_pure(HALL, LATE, judges("attribution")), "attribution")
    assert (found.outcome, found.failed) == (PASS, 0)
    assert found.effects > 0
    assert found.judged > 0


def test_a_run_in_which_the_fault_never_took_effect_is_no_pass() -> None:
    case = Case(1, SECOND, (FaultEvent("late-reply", "c2", 2 * SECOND, 200 * MS, (("by", "40 ms"),)),))
    found = verdict(run_pure(HALL, case, judges("attribution"), TakesAnyReply), "attribution")
    assert (found.outcome, found.why) == (INCONCLUSIVE, "no fault took effect")


def test_without_beliefs_attribution_is_inconclusive() -> None:
    found = verdict(run_pure(HALL, LATE, judges("attribution"), silent=True), "attribution")
    assert (found.outcome, found.why) == (INCONCLUSIVE, "no hook")


@pytest.mark.parametrize("protocol", ["steps", "short", "tagged", "text"])
def test_each_of_the_replies_that_run_together_is_judged_by_its_own_end(protocol: str) -> None:
    """Where no silence ends a frame, a master has a reply with its last byte."""
    ground = run_pure(HALLS["steps"], Case(1, SECOND), [], keep=True).ground
    assert ground is not None
    (line,) = ground.lines.values()
    if protocol != "steps":
        line = replace(line, protocol=find_protocol(protocol))
    assert line.protocol.silence(38400) == 0
    camera = min(line.cameras)
    replies = [line.protocol.encode_reply(Reply(1, READ, key, (30 + key,))) for key in (1, 2)]
    pieces = [b"\x7f\x01" + replies[0], replies[1], b"\x00\x00"]
    data, start = b"".join(pieces), 5 * MS
    burst = (BURST, line.number, camera, start, start + len(data) * line.char, 1, data, 1)
    cut = JoinedReplies(line).cut(burst)
    assert [one[6] for one in cut] == pieces
    assert [(one[4] - one[3]) // line.char for one in cut] == list(map(len, pieces))
    assert (cut[0][3], cut[-1][4]) == (burst[3], burst[4])
    assert JoinedReplies(line).cut((*burst[:6], replies[0], 1)) == ((*burst[:6], replies[0], 1),)


# -- the same live, from a file and on replay -------------------------------------------------------------------


@pytest.mark.parametrize("make", [Master, TakesAnyReply])
def test_verdicts_are_the_same_live_from_a_file_and_in_any_order_of_kinds(make: type[Master], tmp_path: Path) -> None:
    kinds = list(all_judges().values())
    live = run_pure(HALL, LATE, kinds, make, keep=True)
    assert {record[0] for record in live.records} >= {BELIEF, EFFECT}
    assert live.ground is not None
    by_kind: list[Record] = sorted(live.records, key=lambda record: record[0])
    assert tuple(judge_records(live.ground, by_kind, LATE.length, kinds, meant=True)) == live.verdicts
    path = tmp_path / "case.trace"
    writer = TraceWriter(str(path), {"schema": 2})
    writer.write(Batch([], [], list(live.records), [], LATE.length))
    writer.close()
    with open_trace(path) as trace:
        assert tuple(judge_trace(live.ground, trace, kinds, meant=True)) == live.verdicts


def test_the_same_case_gives_the_same_records_twice() -> None:
    first = run_pure(HALL, LATE, judges("attribution"), keep=True)
    assert run_pure(HALL, LATE, judges("attribution"), keep=True).records == first.records


def test_cameras_begin_with_values_that_tell_whose_they_are() -> None:
    result = run_pure(HALL, Case(5, SECOND // 10), judges("attribution"), keep=True)
    told = [record[6] for record in result.records if record[0] == BELIEF and record[5] == "iris"]
    assert len(told) == len(set(told)) == 4
