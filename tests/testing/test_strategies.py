"""The draws are as named: frames are sound, near-frames are not the frame, schedules and plans run."""

from __future__ import annotations

import pytest
from crccheck.crc import CrcModbus
from fuzzed_halls import SECOND, boxed
from hypothesis import given, settings
from hypothesis import strategies as st

from busim.foundation.errors import UserError
from busim.plan import Plan
from busim.protocols import OTHER
from busim.protocols.sources import find
from busim.testing import strategies
from busim.testing.fuzzing import Case
from busim.testing.fuzzing.case import scheduled
from busim.testing.worlds import VirtualWorld

HALL = boxed()
MODBUS = find("modbus-rtu")


@given(strategies.frames())
def test_frames_have_the_check_that_another_library_computes(frame: bytes) -> None:
    """crccheck's CRC-16/MODBUS, lowest byte first (MODBUS over Serial Line V1.02, 2.5.1.2)."""
    assert CrcModbus.calc(frame[:-2]).to_bytes(2, "little") == frame[-2:]


@given(strategies.frames(replies=False))
def test_requests_are_read_back_as_requests(frame: bytes) -> None:
    request = MODBUS.decode_request(frame)
    assert request is not None
    assert request is not OTHER
    assert MODBUS.encode_request(request) == frame


@given(strategies.near_frames())
def test_near_frames_are_told_from_frames_by_another_library(near: bytes) -> None:
    """crccheck's CRC-16/MODBUS. What it lets through (1 in 65536 of rubbish: theory) may be a frame by chance."""
    if len(near) < 4 or CrcModbus.calc(near[:-2]).to_bytes(2, "little") != near[-2:]:
        assert MODBUS.decode_request(near) is None


@settings(max_examples=15)
@given(strategies.fault_schedules(HALL), strategies.operator_actions(HALL))
def test_schedules_make_worlds_and_moves_are_of_known_controls(faults: tuple, actions: tuple) -> None:  # type: ignore[type-arg]
    with VirtualWorld(scheduled(HALL, Case(1, SECOND, faults, actions))) as world:
        for action in actions:
            world.intend(action.camera, action.control, action.value)
    assert list(faults) == sorted(faults, key=lambda one: one.at)
    assert list(actions) == sorted(actions)


@settings(max_examples=10)
@given(strategies.plans())
def test_drawn_plans_are_sound(plan: Plan) -> None:
    with VirtualWorld(plan) as world:
        assert set(world.addresses) == {"box"}


def test_a_fault_that_there_is_not_is_refused() -> None:
    with pytest.raises(UserError):
        strategies.fault_schedules(HALL, faults=["no such fault"])


@given(st.data())
@settings(max_examples=5)
def test_a_case_is_as_long_as_asked_for(data: st.DataObject) -> None:
    case = data.draw(strategies.cases(HALL, longest="4 s"))
    assert case.length == 4 * SECOND
    assert all(one.at < case.length for one in (*case.faults, *case.actions))
