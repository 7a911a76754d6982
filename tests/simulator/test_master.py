"""The good master, as a pure object: its next request, its waits, and its treatment of cameras that do not answer.

The behaviour of a good master is common practice, no source, except where a standard is named.
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise

import pytest
from small_plans import sealed, wall

from busim.installation import MasterPolicy
from busim.protocols import READ, WRITE, Request, find
from busim.recording.trace import EXCHANGE, Record
from busim.simulator.kernel import Kernel
from busim.simulator.masters import COMMAND, DAMAGED, OK, POLL, PROBE, REFUSED, TIME_OUT, Attempt, Master, Target, Task
from busim.simulator.masters.work import Step
from busim.simulator.world import build

MS = 1_000_000
SECOND = 1000 * MS
GAP, DRAIN, CHAR, TIME_LIMIT, DELAY = 2 * MS, 3 * MS, 0, 50 * MS, 10 * MS
RTU = find("modbus-rtu")

Answers = list[tuple[int, bytes]]


def poll(target: Target, every: int = 0, key: int = 0, work: str = "fast") -> Task:
    request = Request(target.address, READ, key, 1)
    return Task(target, POLL, work, request, RTU.encode_request(request), TIME_LIMIT, every)


def move(target: Target, value: int, key: int = 0, tries: int = 3) -> Task:
    request = Request(target.address, WRITE, key, 1, (value,))
    return Task(target, COMMAND, "iris", request, RTU.encode_request(request), TIME_LIMIT, tries=tries)


def step(target: Target, by: int, key: int = 0, tries: int = 3) -> Task:
    task = move(target, by, key, tries)
    task.relative = True
    return task


def good(raw: bytes) -> bytes:
    """What a sound camera answers: a read with 7, a write with its echo."""
    return raw if raw[1] == 6 else sealed(f"{raw[0]:02X} 03 02 00 07")


class Desk:
    """A master and cameras that answer each request as `answers` says: (ns after the request, bytes)."""

    def __init__(self, polls: list[Task], **more: int) -> None:
        self.kernel = Kernel()
        self.attempts: list[Attempt] = []
        self.sent: list[tuple[int, bytes]] = []
        self.dead: set[int] = set()
        self.answers: Callable[[bytes], Answers] = lambda raw: [(DELAY, good(raw))] if raw[0] not in self.dead else []
        timing = {"gap": GAP, "drain": DRAIN, "char": CHAR} | more
        self.master = Master(RTU.stream_framer(), polls, self.attempts.append, **timing)
        self._asked = 0
        self.kernel.at(0, self._wake, 0)

    def _wake(self, asked: int) -> None:
        if asked == self._asked:  # a wake-up that a later one has overtaken is not given: nobody may rely on it
            self._do(self.master.step(self.kernel.now))

    def _do(self, step: Step) -> None:
        raw, wake = step
        if raw is not None:
            self.sent.append((self.kernel.now, raw))
            for after, data in self.answers(raw):
                self.kernel.at(self.kernel.now + after, self._heard, data)
        if wake is not None:
            self._asked += 1
            self.kernel.at(wake, self._wake, self._asked)

    def _heard(self, data: bytes) -> None:
        self._do(self.master.heard(data, self.kernel.now))

    def command(self, at: int, task: Task, *, absolute: bool = True) -> None:
        def give(task: Task) -> None:
            self._do(self.master.command(task, self.kernel.now, absolute=absolute))

        self.kernel.at(at, give, task)

    def until(self, at: int) -> Desk:
        self.kernel.advance(at)
        return self

    @property
    def kinds(self) -> list[str]:
        return [attempt.task.kind for attempt in self.attempts]

    @property
    def values_written(self) -> list[int]:
        return [raw[4] << 8 | raw[5] for _, raw in self.sent if raw[1] == 6]


@pytest.fixture
def one() -> Target:
    return Target("one", 1)


@pytest.fixture
def two() -> Target:
    return Target("two", 2)


# -- what goes first -----------------------------------------------------------------------------------------


def test_polls_go_round_and_leave_the_gap_between_exchanges(one: Target, two: Target) -> None:
    desk = Desk([poll(one), poll(two)]).until(SECOND)
    assert [raw[0] for _, raw in desk.sent[:6]] == [1, 2, 1, 2, 1, 2]
    assert {later - former for (former, _), (later, _) in pairwise(desk.sent)} == {DELAY + GAP}
    assert {attempt.outcome for attempt in desk.attempts} == {OK}
    assert {attempt.values for attempt in desk.attempts} == {(7,)}


def test_a_poll_group_with_a_rate_is_asked_at_that_rate(one: Target) -> None:
    desk = Desk([poll(one, every=100 * MS)]).until(SECOND - 1)
    assert [at for at, _ in desk.sent] == [n * 100 * MS for n in range(10)]


def test_a_poll_that_cannot_keep_its_rate_is_not_made_up_for_later(one: Target, two: Target) -> None:
    """After a second in which the other camera blocked the line, it is asked once and not ten times."""
    desk = Desk([poll(one, every=100 * MS), poll(two, every=10 * SECOND)])
    desk.answers = lambda raw: [(DELAY if raw[0] == 1 else 40 * MS, good(raw))]
    desk.until(SECOND)
    starts = [at for at, raw in desk.sent if raw[0] == 1]
    assert min(later - former for former, later in pairwise(starts)) >= 50 * MS


def test_a_command_goes_before_polls_that_are_due_but_does_not_break_one_off(one: Target, two: Target) -> None:
    desk = Desk([poll(one), poll(two)])
    desk.command(5 * MS, move(one, 9))
    desk.until(SECOND)
    assert desk.kinds[:3] == [POLL, COMMAND, POLL]
    assert desk.sent[1][0] == DELAY + GAP


def test_a_command_to_a_master_at_rest_is_sent_at_once(one: Target) -> None:
    desk = Desk([])
    desk.command(123 * MS, move(one, 9))
    desk.until(SECOND)
    assert [at for at, _ in desk.sent] == [123 * MS]


def test_polls_get_a_turn_among_many_commands(one: Target, two: Target) -> None:
    desk = Desk([poll(one)])
    for value in range(20):
        desk.command(MS, move(two, value), absolute=False)
    desk.until(SECOND)
    assert desk.kinds[:12] == [POLL, *([COMMAND] * 4), POLL, *([COMMAND] * 4), POLL, COMMAND]


def test_as_many_commands_go_before_the_first_poll_of_all(one: Target, two: Target) -> None:
    desk = Desk([poll(one)], starts_at=10 * MS)
    for value in range(6):
        desk.command(MS, move(two, value), absolute=False)
    desk.until(SECOND)
    assert desk.kinds[:6] == [*([COMMAND] * 4), POLL, COMMAND]


def test_how_many_commands_go_before_a_due_poll_can_be_chosen(one: Target, two: Target) -> None:
    desk = Desk([poll(one)], policy=MasterPolicy(commands_in_a_row=2))
    for value in range(6):
        desk.command(MS, move(two, value), absolute=False)
    desk.until(SECOND)
    assert desk.kinds[:7] == [POLL, COMMAND, COMMAND, POLL, COMMAND, COMMAND, POLL]


def test_commands_go_on_when_the_polls_whose_turn_it_is_are_of_an_offline_camera(one: Target, two: Target) -> None:
    """A dead camera's second poll group is set aside when its turn comes, and the turn is not lost."""
    desk = Desk([poll(one), poll(one, every=3 * SECOND, key=9, work="slow")])
    desk.dead = {1}
    desk.until(2900 * MS)
    assert not one.online
    for value in range(10):
        desk.command(2990 * MS + value, move(two, value), absolute=False)
    desk.until(3200 * MS)
    assert desk.values_written == list(range(10))


# -- commands ------------------------------------------------------------------------------------------------


def test_of_absolute_values_for_one_control_that_wait_the_latest_is_sent(one: Target, two: Target) -> None:
    desk = Desk([poll(one)])
    for value in (5, 6, 7):
        desk.command(MS, move(one, value))
    desk.command(2 * MS, move(two, 8))  # the same control of another camera
    desk.command(3 * MS, move(one, 9, key=1))  # another control
    desk.until(SECOND)
    assert desk.values_written == [7, 8, 9]


def test_an_absolute_value_that_is_already_on_its_way_is_not_replaced(one: Target) -> None:
    desk = Desk([])
    desk.command(0, move(one, 5))
    desk.command(MS, move(one, 6))
    desk.until(SECOND)
    assert desk.values_written == [5, 6]


def test_relative_moves_never_merge(one: Target) -> None:
    desk = Desk([poll(one)])
    for _ in range(3):
        desk.command(MS, move(one, 1), absolute=False)
    desk.until(SECOND)
    assert desk.values_written == [1, 1, 1]


def test_the_wait_of_a_replaced_value_counts_from_the_first_move(one: Target) -> None:
    desk = Desk([poll(one)])
    desk.command(MS, move(one, 5))
    desk.command(9 * MS, move(one, 6))
    desk.until(SECOND)
    (attempt,) = (attempt for attempt in desk.attempts if attempt.task.kind == COMMAND)
    assert (attempt.asked, attempt.sent) == (MS, DELAY + GAP)


def test_a_command_without_an_answer_is_repeated_as_often_as_it_may_and_no_more(one: Target) -> None:
    desk = Desk([])
    desk.dead = {1}
    desk.command(0, move(one, 5, tries=3))
    desk.until(SECOND)
    assert [attempt.number for attempt in desk.attempts] == [1, 2, 3]
    assert {attempt.outcome for attempt in desk.attempts} == {TIME_OUT}
    assert {attempt.asked for attempt in desk.attempts} == {0}


def test_a_step_whose_answer_is_lost_is_not_repeated(one: Target) -> None:
    """It may have been carried out: twice carried out it has twice the effect."""
    desk = Desk([])
    desk.dead = {1}
    desk.command(0, step(one, 5, tries=3), absolute=False)
    desk.until(SECOND)
    assert desk.values_written == [5]


def test_a_value_does_not_overtake_a_step_of_the_same_camera(one: Target, two: Target) -> None:
    """To 5, one more, to 9: it ends at 9 and not at 10. A step of another camera blocks neither."""
    desk = Desk([poll(one)])
    desk.command(MS, move(one, 5))
    desk.command(MS + 1, step(one, 1), absolute=False)
    desk.command(MS + 2, move(one, 8))
    desk.command(MS + 3, step(two, 1), absolute=False)
    desk.command(MS + 4, move(one, 9))
    desk.until(SECOND)
    assert desk.values_written == [5, 1, 9, 1]


def test_a_repeated_command_goes_before_those_that_wait(one: Target, two: Target) -> None:
    desk = Desk([])
    answers = iter([[], *([[(DELAY, None)]] * 5)])
    desk.answers = lambda raw: [(after, good(raw)) for after, _ in next(answers)]
    desk.command(0, move(one, 5))
    desk.command(MS, move(two, 6))
    desk.until(SECOND)
    assert desk.values_written == [5, 5, 6]


def test_the_newest_of_values_for_one_control_stands_at_the_end_even_after_a_repeat(one: Target) -> None:
    desk = Desk([])
    answers = iter([[], *([[(DELAY, None)]] * 5)])
    desk.answers = lambda raw: [(after, good(raw)) for after, _ in next(answers)]
    desk.command(0, move(one, 5))
    desk.command(MS, move(one, 6))
    desk.command(2 * MS, move(one, 7))
    desk.until(SECOND)
    assert desk.values_written == [5, 5, 7]


def test_a_poll_without_an_answer_is_not_repeated_before_the_others_had_their_turn(one: Target, two: Target) -> None:
    desk = Desk([poll(one), poll(two)])
    desk.dead = {1}
    desk.until(500 * MS)
    assert [raw[0] for _, raw in desk.sent[:4]] == [1, 2, 1, 2]
    assert {attempt.number for attempt in desk.attempts} == {1}


def test_a_refusal_is_an_answer_and_not_repeated(one: Target) -> None:
    desk = Desk([])
    desk.answers = lambda _: [(DELAY, sealed("01 86 03"))]
    desk.command(0, move(one, 5))
    desk.until(SECOND)
    assert [attempt.outcome for attempt in desk.attempts] == [REFUSED]


# -- waiting -------------------------------------------------------------------------------------------------


def test_a_time_out_lasts_as_the_task_says_and_the_line_gets_its_quiet_after_it(one: Target) -> None:
    desk = Desk([poll(one)])
    desk.dead = {1}
    desk.until(110 * MS)
    assert [at for at, _ in desk.sent] == [0, TIME_LIMIT + DRAIN, 2 * (TIME_LIMIT + DRAIN)]
    assert desk.attempts[0][3:6] == (0, TIME_LIMIT, TIME_LIMIT + DRAIN)


@pytest.mark.parametrize("pieces", [1, 2, 7])
@pytest.mark.parametrize("junk", ["", "00", "FF FF 01", "01 03 02", "02 03 02 00 07 FC 46"])
def test_junk_before_a_reply_does_not_end_the_wait(one: Target, junk: str, pieces: int) -> None:
    """Among the junk: a sound reply of another device (MODBUS over Serial Line V1.02, p. 9-10)."""
    desk = Desk([poll(one)])

    def answers(raw: bytes) -> Answers:
        data = bytes.fromhex(junk) + good(raw)
        step = -(-len(data) // pieces)
        return [(DELAY + n, data[n : n + step]) for n in range(0, len(data), step)]

    desk.answers = answers
    desk.until(DELAY + 100)
    assert [(attempt.outcome, attempt.values) for attempt in desk.attempts] == [(OK, (7,))]


def test_a_reply_with_the_wrong_id_alone_is_no_answer(one: Target) -> None:
    """V1.02, p. 9-10."""
    desk = Desk([poll(one)])
    desk.answers = lambda _: [(DELAY, sealed("02 03 02 00 07"))]
    desk.until(TIME_LIMIT + MS)
    assert [attempt.outcome for attempt in desk.attempts] == [DAMAGED]


def test_silence_and_rubbish_are_told_apart(one: Target) -> None:
    silent, noisy = Desk([poll(one)]), Desk([poll(Target("one", 1))])
    silent.answers = lambda _: []
    noisy.answers = lambda _: [(DELAY, b"\x01\x03\x02\x00")]
    assert silent.until(TIME_LIMIT).attempts[0].outcome == TIME_OUT
    assert noisy.until(TIME_LIMIT).attempts[0].outcome == DAMAGED


def test_characters_with_errors_are_not_trusted(one: Target) -> None:
    desk = Desk([poll(one)])
    desk.answers = lambda _: []
    desk.until(DELAY)
    desk.master.heard(good(desk.sent[0][1]), DELAY, flagged=True)
    desk.until(TIME_LIMIT)
    assert [attempt.outcome for attempt in desk.attempts] == [DAMAGED]


def test_after_silence_alone_the_line_is_drained_and_no_longer(one: Target, two: Target) -> None:
    """Two characters of quiet show that a burst is over; here nobody has begun one, right after the start."""
    soon = poll(one)
    soon.time_out = 2 * MS
    desk = Desk([soon, poll(two)], char=40 * MS)
    desk.dead = {1}
    assert [at for at, _ in desk.until(30 * MS).sent][:2] == [0, soon.time_out + DRAIN]


def test_quiet_counts_from_the_end_of_a_character_that_ends_just_after_the_time_out(one: Target) -> None:
    """A character is known at the middle of its stop bit, so the wait may end before that bit does."""
    master = Master(RTU.stream_framer(), [poll(one)], [].append, gap=GAP, drain=DRAIN, char=CHAR)
    _, time_out = master.step(0)
    assert time_out == TIME_LIMIT
    ends = TIME_LIMIT + 8_000
    master.heard(b"U", ends)
    assert master.step(TIME_LIMIT) == (None, ends + DRAIN)


@pytest.mark.parametrize("late", [MS, 2 * MS, DRAIN - 1])
def test_a_late_reply_is_not_taken_for_the_next_answer(one: Target, late: int) -> None:
    """It comes while the line is drained; the next request waits until the line has been quiet, and gets its own."""
    desk = Desk([poll(one)])
    replies = iter([[(TIME_LIMIT + late, sealed("01 03 02 00 63"))], [(DELAY, sealed("01 03 02 00 07"))]])
    desk.answers = lambda _: next(replies, [])
    desk.until(2 * TIME_LIMIT)
    assert desk.sent[1][0] == TIME_LIMIT + late + DRAIN
    assert [(attempt.outcome, attempt.values) for attempt in desk.attempts] == [(TIME_OUT, ()), (OK, (7,))]


def test_a_line_that_is_never_quiet_is_asked_again_all_the_same(one: Target) -> None:
    """Draining ends after a quarter of a second."""
    desk = Desk([poll(one)])
    desk.answers = lambda _: [(n * 2 * MS, b"\x55") for n in range(1, 400)]
    desk.until(700 * MS)
    assert [at for at, _ in desk.sent] == [0, TIME_LIMIT + 250 * MS, 2 * (TIME_LIMIT + 250 * MS)]


def test_a_computed_time_out_covers_the_slowest_answer_and_not_much_more() -> None:
    """Wire, silence and the longest turnaround of the plan, a quarter on top and 3 ms."""
    for turnaround, slowest in (("0", 0), ("2..8 ms", 8 * MS), ("40 ms", 40 * MS)):
        alive: list[Record] = []
        dead: list[Record] = []
        for records, absent in ((alive, ()), (dead, (1,))):
            world = build(wall(turnaround=turnaround, absent=absent), 1, records.append)
            world.start()
            world.kernel.advance(5 * SECOND)
        longest = max(record[10] - record[9] for record in alive if record[0] == EXCHANGE)
        given_up = {record[10] - record[9] for record in dead if record[0] == EXCHANGE}
        assert {record[12] for record in alive if record[0] == EXCHANGE} == {"ok"}
        assert len(given_up) == 1
        assert longest + 3 * MS < given_up.pop() < 1.3 * (longest + slowest // 10) + 4 * MS


# -- offline and back ----------------------------------------------------------------------------------------


def test_a_camera_is_offline_after_three_failures_and_a_second(one: Target) -> None:
    desk = Desk([poll(one)])
    desk.dead = {1}
    desk.until(SECOND)
    assert len(desk.attempts) > 3  # three failures alone do not do: a short disturbance is not a dead camera
    assert one.online
    desk.until(SECOND + TIME_LIMIT)
    assert not one.online


def test_a_camera_asked_once_a_second_is_offline_after_the_third_failure(one: Target) -> None:
    desk = Desk([poll(one, every=SECOND)])
    desk.dead = {1}
    desk.until(2 * SECOND)
    assert one.online
    desk.until(2 * SECOND + TIME_LIMIT)
    assert not one.online
    assert len(desk.attempts) == 3


def test_one_answer_in_between_starts_the_count_again(one: Target) -> None:
    desk = Desk([poll(one)])
    count = iter(range(10**6))
    desk.answers = lambda raw: [(DELAY, good(raw))] if next(count) % 3 == 2 else []
    desk.until(5 * SECOND)
    assert one.online
    assert PROBE not in desk.kinds


def test_an_offline_camera_is_probed_at_growing_pauses_up_to_five_seconds(one: Target) -> None:
    desk = Desk([poll(one)])
    desk.dead = {1}
    desk.until(60 * SECOND)
    probes = [attempt for attempt in desk.attempts if attempt.task.kind == PROBE]
    pauses = [later.sent - former.ended for former, later in pairwise(probes)]
    assert pauses[:4] == [SECOND, 2 * SECOND, 4 * SECOND, 5 * SECOND]
    assert set(pauses[3:]) == {5 * SECOND}
    last_poll = max(attempt.ended for attempt in desk.attempts if attempt.task.kind == POLL)
    assert probes[0].sent - last_poll == 500 * MS


def test_a_camera_with_two_groups_is_probed_by_one_request_only(one: Target) -> None:
    desk = Desk([poll(one), poll(one, key=9, work="slow")])
    desk.dead = {1}
    desk.until(30 * SECOND)
    probes = [attempt.sent for attempt in desk.attempts if attempt.task.kind == PROBE]
    assert min(later - former for former, later in pairwise(probes)) >= SECOND


def test_a_camera_that_answers_its_probe_is_polled_again_in_all_its_groups(one: Target) -> None:
    desk = Desk([poll(one), poll(one, every=SECOND, key=9, work="slow")])
    desk.dead = {1}
    desk.until(8 * SECOND)
    assert not one.online
    desk.dead = set()
    desk.until(14 * SECOND)
    assert one.online
    back = next(attempt for attempt in desk.attempts if attempt.outcome == OK)
    assert back.task.kind == PROBE
    after = [attempt.task.work for attempt in desk.attempts if attempt.sent > back.sent]
    assert set(after[:2]) == {"fast", "slow"}
    assert len([work for work in after if work == "slow"]) <= 7


def test_a_camera_may_come_and_go(one: Target, two: Target) -> None:
    """Three times dead and back: afterwards each poll is asked as at first, none twice and none lost."""
    polls = [poll(one), poll(one, every=200 * MS, key=9, work="slow"), poll(two)]
    desk = Desk(polls)
    for time in range(3):
        desk.dead = {1}
        desk.until((20 * time + 10) * SECOND)
        desk.dead = set()
        desk.until((20 * time + 20) * SECOND)
    last = [attempt for attempt in desk.attempts if attempt.sent > 59 * SECOND]
    count = {
        work: sum(a.task.work == work and a.task.target is one for a in last) for work in ("fast", "slow", "probe")
    }
    assert count["slow"] == 5
    assert count["probe"] == 0
    assert abs(count["fast"] - sum(attempt.task.target is two for attempt in last)) <= 1


def test_a_camera_that_a_command_brings_back_is_not_probed_on(one: Target) -> None:
    desk = Desk([poll(one)])
    desk.dead = {1}
    desk.until(5 * SECOND)
    assert not one.online
    desk.dead = set()
    desk.command(5 * SECOND + MS, move(one, 3))
    desk.until(5 * SECOND + 100 * MS)
    assert one.online
    desk.dead = {1}
    desk.until(40 * SECOND)
    probes = [attempt.sent for attempt in desk.attempts if attempt.task.kind == PROBE and attempt.sent > 10 * SECOND]
    pauses = [later - former for former, later in pairwise(probes)]
    assert pauses == sorted(pauses)  # one chain of probes: two would come at shorter pauses in between
    assert pauses[0] >= SECOND


def test_however_often_commands_bring_a_camera_back_it_is_probed_once_in_a_pause(one: Target) -> None:
    """Each time a command brings it back, the probe that waits is off; else each time leaves one chain more."""
    desk = Desk([poll(one)])
    at = 0
    for _ in range(4):
        desk.dead = {1}
        desk.until(at + 3 * SECOND)
        assert not one.online
        desk.dead = set()
        desk.command(at + 3 * SECOND, move(one, 3))
        at += 3100 * MS
        desk.until(at)
        assert one.online
    desk.dead = {1}
    desk.until(at + 40 * SECOND)
    probes = [attempt for attempt in desk.attempts if attempt.task.kind == PROBE and attempt.sent > at]
    pauses = [later.sent - former.ended for former, later in pairwise(probes)]
    assert pauses == [SECOND, 2 * SECOND, 4 * SECOND, *([5 * SECOND] * (len(pauses) - 3))]


def test_a_probe_never_repeats_a_write(one: Target) -> None:
    """Moves to a dead camera that has no polls fail; when it is back, only what is asked from then on is written."""
    desk = Desk([])
    desk.dead = {1}
    for number, value in enumerate((10, 20, 30, 40)):
        desk.command(number * 400 * MS, move(one, value, tries=3))
    desk.until(3 * SECOND)
    assert not one.online
    desk.dead = set()
    desk.command(3 * SECOND, move(one, 99))
    desk.until(20 * SECOND)
    assert PROBE not in desk.kinds
    assert [value for at, value in zip((at for at, _ in desk.sent), desk.values_written, strict=True)
            if at >= 3 * SECOND] == [99]  # fmt: skip
    assert one.online


def test_a_camera_that_commands_lost_is_probed_by_its_own_poll(one: Target, two: Target) -> None:
    desk = Desk([poll(one, 20 * SECOND, key=3), poll(two, 20 * SECOND, key=4)])
    desk.until(SECOND)
    desk.dead = {2}
    for number in range(4):
        desk.command(SECOND + number * 600 * MS, move(two, 10, tries=1))
    desk.until(15 * SECOND)
    probes = {attempt.task.request for attempt in desk.attempts if attempt.task.kind == PROBE}
    assert probes == {Request(2, READ, 4, 1)}


def test_a_camera_without_polls_is_probed_by_the_read_that_it_was_given(one: Target) -> None:
    request = Request(1, READ, 5, 1)
    one.probe = Task(one, PROBE, "probe", request, RTU.encode_request(request), TIME_LIMIT)
    desk = Desk([])
    desk.dead = {1}
    for number in range(3):
        desk.command(number * 600 * MS, move(one, 10, tries=1))
    desk.until(8 * SECOND)
    assert not one.online
    desk.dead = set()
    desk.until(20 * SECOND)
    assert one.online
    probes = [attempt for attempt in desk.attempts if attempt.task.kind == PROBE]
    assert {attempt.task.request for attempt in probes} == {request}
    assert [attempt.outcome for attempt in probes][-1:] == [OK]
    assert desk.attempts[-1] is probes[-1]  # with nothing to poll it is left alone once it is back


def test_a_master_of_a_plan_probes_a_camera_it_never_polls_by_reading() -> None:
    """A dead camera is moved only; when it is up again, a read finds it, and its iris is what was acknowledged last."""
    records: list[Record] = []
    world = build(wall(values=""), 1, records.append)
    world.start()
    camera = world.cameras["c1"]
    world.wiring.power("c1", False)
    move_to = world.moves["desk", "c1"]
    for number, value in enumerate((10, 20, 30, 40)):
        world.kernel.advance(number * 400 * MS)
        move_to("iris", value, False)
    world.kernel.advance(3 * SECOND)
    world.wiring.power("c1", True)
    world.kernel.advance(20 * SECOND)
    exchanges = [record for record in records if record[0] == EXCHANGE]
    assert [record[12] for record in exchanges if record[5] == "probe"][-1] == "ok"
    assert camera.camera.values["iris"] not in {10, 20, 30, 40}
    move_to("iris", 99, False)
    world.kernel.advance(40 * SECOND)
    assert camera.camera.values["iris"] == 99


def test_a_command_to_an_offline_camera_is_tried_once(one: Target) -> None:
    desk = Desk([poll(one)])
    desk.dead = {1}
    desk.command(5 * SECOND, move(one, 3))
    desk.until(10 * SECOND)
    assert len([attempt for attempt in desk.attempts if attempt.task.kind == COMMAND]) == 1


def test_one_dead_camera_of_eight_leaves_the_others_four_fifths_of_their_rate() -> None:
    """Ten seconds after it died; common practice, no source."""
    rates = {}
    for absent in ((), (3,)):
        records: list[Record] = []
        world = build(wall(cameras=8, baud="38400 Bd", turnaround="2..6 ms", absent=absent), 1, records.append)
        world.start()
        world.kernel.advance(20 * SECOND)
        late = [record for record in records if record[0] == EXCHANGE and record[9] >= 10 * SECOND]
        rates[absent] = {
            name.name: sum(record[3] == name.row and record[12] == "ok" for record in late)
            for name in world.names
            if name.kind == "camera" and name.name != "c3"
        }
    assert len(rates[()]) == 7
    for name, rate in rates[3,].items():
        assert rate >= 0.8 * rates[()][name]


@pytest.mark.parametrize("late", [b"", sealed("02 03 04 00 07 00 07"), b"\x00", b"\x01\x06"], ids=str)
@pytest.mark.parametrize("size", [1, 3, 8, 64])
def test_its_own_echo_is_no_acknowledgement_even_behind_bytes_that_were_under_way(
    late: bytes, size: int, one: Target
) -> None:
    """MODBUS Application Protocol V1.1b3, 6.6: the reply to a write repeats the request byte for byte."""
    for replies, outcome in (0, "time-out"), (1, "ok"):
        desk = Desk([], echo=True)

        def answers(raw: bytes, replies: int = replies) -> Answers:
            came = late + raw + raw * replies
            return [(1 + n, came[n : n + size]) for n in range(0, len(came), size)]

        desk.answers = answers
        desk.command(MS, move(one, 9, tries=1))
        (attempt,) = desk.until(500 * MS).attempts
        assert (attempt.outcome == "ok") == (outcome == "ok"), (replies, attempt.outcome)
