"""The time of one exchange: against the MODBUS standard, and part by part against the emulated line."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from busim.physics.exchange import BEST, MEAN, PARTS, WORST, drain, exchange, packing, runs, time_out
from busim.simulator.converters import Packer

# 19200 Bd, 8E1: characters of 11 bits, t3.5 of 38.5 bits (MODBUS over Serial Line V1.02, p. 13).
CHARACTER = 11e9 / 19200
T35 = 38.5e9 / 19200
READ_3 = {
    "request": 8, "reply": 11, "character": CHARACTER, "answer_character": CHARACTER, "silence": T35,
    "turnaround_low": 0, "turnaround_high": 0, "pause": T35,
}  # fmt: skip
BEHIND = READ_3 | {
    "turnaround_low": 2e6, "turnaround_high": 6e6, "tail": CHARACTER / 22, "packing_idle": 4e6, "latency_low": 1e6,
    "latency_high": 3e6, "distance": 100.0, "lead": 5e3, "answer_lead": 7e3,
}  # fmt: skip


def test_reading_3_registers_at_19200_bd_takes_14_896_ms() -> None:
    """8 + 11 characters and twice t3.5: 67.1 /s. Derived from MODBUS over Serial Line V1.02, p. 13, and V1.1b3, 6.3."""
    one = exchange(**READ_3)
    assert one.mean + one.pause == pytest.approx(14.896e6, abs=1e3)
    assert 1e9 / (one.mean + one.pause) == pytest.approx(67.1, abs=0.05)


def test_the_parts_of_an_exchange_add_up_to_it() -> None:
    one = exchange(**BEHIND)
    for estimate in (BEST, MEAN, WORST):
        parts = one.parts(estimate)
        assert list(parts) == list(PARTS)
        assert sum(parts.values()) == pytest.approx(getattr(one, estimate) + one.pause)
        assert one.read(estimate) + one.delivery(estimate) == pytest.approx(getattr(one, estimate))


def test_the_mean_lies_in_the_middle_and_the_variance_is_that_of_even_draws() -> None:
    """Three independent even draws: a turnaround of 4 ms width and two passages of 2 ms. Variance width^2 / 12."""
    one = exchange(**BEHIND)
    assert one.mean == pytest.approx((one.best + one.worst) / 2)
    assert one.variance == pytest.approx((4e6**2 + 2 * 2e6**2) / 12)


@given(st.lists(st.integers(1200, 250_000), min_size=2, max_size=5), st.integers(5, 255))
def test_arrays_give_what_numbers_give(bauds: list[int], reply: int) -> None:
    characters = 11e9 / np.array(bauds)
    varied = {"character": characters, "answer_character": characters, "reply": reply, "tail": characters / 22}
    many = exchange(**(BEHIND | varied))
    for number, character in enumerate(characters.tolist()):
        terms = {"character": character, "answer_character": character, "reply": reply, "tail": character / 22}
        one = exchange(**(BEHIND | terms))
        for field in one._fields:
            whole = np.broadcast_to(getattr(many, field), len(bauds))
            assert whole[number] == pytest.approx(getattr(one, field))


# -- packing -------------------------------------------------------------------------------------------------


@given(st.integers(0, 3_000_000), st.integers(0, 20), st.integers(1, 40))
def test_packing_waits_as_long_as_a_converter_does(idle: int, length: int, characters: int) -> None:
    """The budget's formula against the converter, which gets one reply character by character."""
    character = 1_000_000
    packer = Packer(idle, length, character)
    sent = []
    for number in range(characters):
        at = number * character
        due = packer.due
        if due is not None and due < at:
            sent.append((due, packer.elapsed(due)))
        sent += [(at, packet) for packet in packer.feed(b"x", at)]
    if packer.due is not None:
        sent.append((packer.due, packer.elapsed(packer.due)))
    waited = sent[-1][0] - (characters - 1) * character
    if idle != character:  # a tie that both ends of the simulation may decide either way
        assert packing(idle, length, characters, character) == waited


def test_packing_takes_arrays() -> None:
    lengths = np.array([0.0, 11.0, 4.0, 1.0])
    assert packing(4e6, lengths, 11.0, CHARACTER).tolist() == [4e6, 0.0, 4e6, 0.0]


# -- what a master works out ---------------------------------------------------------------------------------


@given(st.sets(st.integers(0, 300)), st.integers(1, 125))
def test_runs_read_every_key_once_and_no_other(keys: set[int], longest: int) -> None:
    found = runs(keys, longest)
    assert [key for first, count in found for key in range(first, first + count)] == sorted(keys)
    assert all(1 <= count <= longest for _, count in found)
    for (first, count), (following, _) in pairwise(found):
        assert following > first + count or count == longest


def test_a_time_out_covers_the_slowest_answer_with_a_quarter_and_3_ms_to_spare() -> None:
    """Our own choice, no outside value."""
    assert time_out(10, 2, 6, 4, 1) == (10 + 2 + 6 + 4 + 2) * 5 // 4 + 3_000_000
    assert isinstance(time_out(10, 2, 6, 4, 1), int)
    assert drain(2, 4, 1) == 7
