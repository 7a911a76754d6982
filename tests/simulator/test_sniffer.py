"""Exchanges of outside clients, read at their converter: request, duration and outcome."""

from __future__ import annotations

import pytest
from policy_plans import MS, ONE, TWO, Lane

from busim.recording.figures import Fold
from busim.recording.trace import EXCHANGE

ANSWERED = 18 * MS  # an exchange on this line takes less


def exchanges(lane: Lane) -> list[tuple[int, str, int]]:
    """Bus ID, outcome and ns from sent to ended of each."""
    return [(record[4], record[12], record[10] - record[9]) for record in lane.records if record[0] == EXCHANGE]


@pytest.mark.parametrize("half", range(1, len(ONE)))
def test_an_exchange_of_a_client_that_died_in_mid_request_is_not_charged_to_the_next(half: int) -> None:
    """A client sends half a request and leaves; the next client's exchange begins with its own first byte."""
    lane = Lane()
    lane.open(1)
    lane.open(2)
    lane.box.chunk(1, ONE[:half])
    lane.go(5)
    lane.box.close(1)
    lane.go(500)
    lane.box.chunk(2, TWO)
    lane.go(2000)
    ((bus_id, outcome, took),) = exchanges(lane)
    assert (bus_id, outcome) == (2, "ok")
    assert took < ANSWERED


def test_a_request_in_two_chunks_begins_with_the_first_of_them() -> None:
    """Two clients, arbitration off: 3 bytes, 200 us later the rest, without the silence that would cut them."""
    lane = Lane()
    lane.open(1)
    lane.box.chunk(1, ONE[:3])
    lane.world.kernel.advance(200_000)
    lane.box.chunk(1, ONE[3:])
    lane.go(100)
    (record,) = (record for record in lane.records if record[0] == EXCHANGE)
    assert (record[9], record[12]) == (500_000, "ok")


@pytest.mark.parametrize("later", [0, 1, 2])
def test_requests_that_run_together_are_named_so(later: int) -> None:
    """Two frames with less than 3.5 characters between them are one bad frame (MODBUS over Serial Line V1.02, p. 13).

    A request takes 2.3 ms here and the silence 1.75 ms.
    """
    lane = Lane()
    lane.open(1)
    lane.open(2)
    lane.box.chunk(1, ONE)
    lane.go(later)
    lane.box.chunk(2, TWO)
    lane.go(3000)
    lane.box.chunk(1, ONE)
    lane.go(5000)
    lane.box.chunk(1, ONE)
    lane.go(8000)
    assert [each[:2] for each in exchanges(lane)] == [(1, "ran-together"), (2, "ran-together"), (1, "ok"), (1, "ok")]
    fold = Fold()
    for record in lane.records:
        fold.take(record)
    figures = fold.line(1, 8000 * MS)
    assert [figures[name].value for name in ("ran_together", "time_outs", "damaged", "collisions")] == [2, 0, 0, 0]


def test_a_request_that_follows_half_of_another_at_once_ran_together_with_it() -> None:
    lane = Lane()
    lane.open(1)
    lane.open(2)
    lane.box.chunk(1, ONE[:4])
    lane.box.close(1)
    lane.box.chunk(2, TWO)
    lane.go(2000)
    lane.box.chunk(2, TWO)
    lane.go(4000)
    assert [each[:2] for each in exchanges(lane)] == [(2, "ran-together"), (2, "ok")]


def test_silence_of_a_camera_that_is_not_there_is_a_time_out_and_arbitrated_requests_never_run_together() -> None:
    lane = Lane("{sharing: arbitrated, arbitration_time_out: 50 ms}")
    lane.open(1)
    lane.open(2)
    lane.box.chunk(1, ONE)
    lane.box.chunk(2, TWO + TWO)
    lane.go(1000)
    lane.world.wiring.power("top", False)
    lane.box.chunk(1, ONE)
    lane.box.chunk(2, TWO)
    lane.go(3000)
    lane.box.chunk(1, ONE)
    lane.go(4000)
    assert [each[:2] for each in exchanges(lane)] == [
        (1, "ok"), (2, "ok"), (2, "ok"), (1, "ok"), (2, "time-out"), (1, "ok"),
    ]  # fmt: skip
