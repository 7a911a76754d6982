"""A late reply: on the wire at the documented time, and accepted by a careless master."""

from __future__ import annotations

from fault_halls import MS, Broken, S

from busim.recording.trace import BURST


def test_the_reply_is_on_the_wire_after_the_turnaround_and_the_lateness() -> None:
    run = Broken("{fault: late-reply, on: rope left, by: 20 ms}", length=S)
    left, box = run.number("rope left"), run.number("wall box")
    bursts = run.of(BURST)
    replies = [number for number, burst in enumerate(bursts) if burst[2] == left]
    assert run.count("late-reply") - len(replies) in (0, 1)  # the last may be on its way
    assert len(replies) > 5
    for number in replies[:5]:
        asked = max(burst[4] for burst in bursts if burst[2] == box and burst[4] < bursts[number][3] - 22 * MS)
        # MODBUS over Serial Line V1.02, 2.5.1.1: a frame is whole 3.5 characters after its last one (1 ms at 38400 Bd)
        assert 23 * MS <= bursts[number][3] - asked <= 25 * MS


def test_later_than_the_time_out_it_is_a_time_out_of_that_camera_and_of_no_other() -> None:
    run = Broken("{fault: late-reply, on: rope left, by: 300 ms}")
    assert run.camera("rope left", "time_outs") > 0
    assert run.camera("rope left", "poll_rate") == 0
    assert run.camera("rope right", "poll_rate") > 10


def test_in_a_row_so_many_replies_are_late_each_time() -> None:
    run = Broken("{fault: late-reply, on: rope left, by: 5 ms, share: 0.05, in_a_row: 3}", length=20 * S)
    assert run.count("late-reply") % 3 == 0
    assert run.count("late-reply") > 6
