"""An emulated camera: the parameters that a bus can read and write, and the refusals.

Locks and ranges are common practice, no source; reasons of refusal are the exception codes of MODBUS Application
Protocol V1.1b3, chapter 7.
"""

from __future__ import annotations

import pytest

from busim.foundation.errors import Defect
from busim.plan.models import load
from busim.protocols import ILLEGAL_KEY, ILLEGAL_VALUE, ILLEGAL_VERB, READ, UNKNOWN, WRITE, Reply, Request
from busim.simulator.cameras import Camera

KEYS = load("zoom-camera").keys["modbus-rtu"]
LOCKED = 3  # illegal data value


@pytest.fixture
def camera() -> Camera:
    return Camera(load("zoom-camera"), "modbus-rtu", 5, 4711)


def read(camera: Camera, name: str, size: int = 1) -> Reply:
    return camera.serve(Request(5, READ, KEYS[name], size), 0)


def write(camera: Camera, name: str, *values: int) -> Reply:
    return camera.serve(Request(5, WRITE, KEYS[name], len(values), values), 0)


def test_a_new_camera_has_the_defaults_of_its_model_and_its_own_id_and_serial(camera: Camera) -> None:
    assert read(camera, "iris").values == (500,)
    assert read(camera, "shutter").values == (1,)
    assert read(camera, "bus_id", 2).values == (5, 4711)


def test_a_serial_of_more_than_16_bits_shows_its_low_16() -> None:
    long = Camera(load("zoom-camera"), "modbus-rtu", 5, 0x12345)
    assert read(long, "serial").values == (0x2345,)


def test_a_written_value_is_read_back_and_told_as_a_change(camera: Camera) -> None:
    assert write(camera, "iris", 321).refused == 0
    assert camera.changes == [("iris", 321)]
    assert read(camera, "iris").values == (321,)
    assert camera.changes == []  # reading changes nothing


def test_writing_the_value_that_is_there_is_accepted_and_no_change(camera: Camera) -> None:
    assert write(camera, "iris", 500).refused == 0
    assert camera.changes == []


def test_with_automatic_exposure_on_an_iris_write_is_refused_as_locked(camera: Camera) -> None:
    """Common practice, no source."""
    write(camera, "auto_exposure", 1)
    for name in ("iris", "gain", "shutter"):
        before = camera.values[name]
        assert write(camera, name, 1).refused == LOCKED
        assert camera.values[name] == before
        assert camera.locked(name) == "automatic exposure sets iris, gain and shutter itself"
    assert write(camera, "red_gain", 1).refused == 0
    assert read(camera, "iris").refused == 0  # reading is never locked


def test_with_automatic_white_balance_on_the_colour_gains_are_locked(camera: Camera) -> None:
    """Common practice, no source."""
    write(camera, "auto_white", 1)
    assert write(camera, "red_gain", 1).refused == LOCKED
    assert write(camera, "blue_gain", 1).refused == LOCKED
    assert write(camera, "iris", 1).refused == 0


def test_a_lock_opens_when_the_automatic_is_off_again(camera: Camera) -> None:
    write(camera, "auto_exposure", 1)
    write(camera, "auto_exposure", 0)
    assert write(camera, "iris", 1).refused == 0
    assert camera.locked("iris") == ""


@pytest.mark.parametrize(
    ("name", "low", "high"), [("iris", 0, 1000), ("gain", 0, 72), ("shutter", 0, 5), ("tally", 0, 2)]
)
def test_the_ends_of_a_range_are_accepted_and_the_next_values_are_not(
    camera: Camera, name: str, low: int, high: int
) -> None:
    assert write(camera, name, low).refused == 0
    assert write(camera, name, high).refused == 0
    assert write(camera, name, high + 1).refused == ILLEGAL_VALUE
    assert write(camera, name, 65535).refused == ILLEGAL_VALUE
    assert camera.values[name] == high


def test_a_switch_is_on_or_off(camera: Camera) -> None:
    assert write(camera, "auto_white", 1).refused == 0
    assert write(camera, "auto_white", 2).refused == ILLEGAL_VALUE


@pytest.mark.parametrize("name", ["bus_id", "serial", "requests", "temperature"])
def test_a_reading_is_never_written(camera: Camera, name: str) -> None:
    before = camera.values[name]
    assert write(camera, name, before).refused == ILLEGAL_KEY
    if name != "requests":
        assert camera.values[name] == before


def test_several_values_are_written_together(camera: Camera) -> None:
    assert write(camera, "red_gain", 1, 2, 3, 4).refused == 0
    assert read(camera, "red_gain", 4).values == (1, 2, 3, 4)
    assert camera.values["master_black"] == 3
    assert write(camera, "red_gain", 1, 9, 3, 9).refused == 0
    assert camera.changes == [("blue_gain", 9), ("red_black", 9)]


def test_of_several_values_all_are_written_or_none(camera: Camera) -> None:
    before = dict(camera.values)
    assert write(camera, "iris", 1, 73).refused == ILLEGAL_VALUE  # gain ends at 72
    assert write(camera, "test_picture", 1, 1).refused == ILLEGAL_KEY  # there is nothing behind it
    write(camera, "auto_white", 1)
    assert write(camera, "auto_exposure", 1, 1, 7).refused == LOCKED  # red_gain
    assert camera.changes == []
    before |= {"auto_white": 1, "requests": 4}
    assert camera.values == before


def test_a_lock_that_a_write_itself_closes_holds_for_the_values_behind_it(camera: Camera) -> None:
    """Registers are written in their order: automatic white balance on, then a colour gain."""
    assert write(camera, "auto_white", 1, 7).refused == LOCKED
    assert camera.values["auto_white"] == 0
    write(camera, "auto_white", 1)
    assert write(camera, "auto_white", 0, 7).refused == 0
    assert camera.values["red_gain"] == 7


def test_neighbouring_registers_are_read_in_one_request(camera: Camera) -> None:
    whole = read(camera, "iris", 15).values
    assert whole == tuple(
        camera.values[name] for name, key in sorted(KEYS.items(), key=lambda item: item[1]) if key < 15
    )
    for first in range(15):
        for size in range(1, 16 - first):
            assert camera.serve(Request(5, READ, first, size), 0).values == whole[first : first + size]


@pytest.mark.parametrize(
    ("key", "size"), [(15, 1), (99, 1), (104, 1), (14, 2), (0, 16), (102, 3), (65535, 1), (0, 125)]
)
def test_a_span_with_an_unknown_register_in_it_is_refused_whole(camera: Camera, key: int, size: int) -> None:
    assert camera.serve(Request(5, READ, key, size), 0).refused == ILLEGAL_KEY
    assert camera.serve(Request(5, WRITE, key, size, (0,) * size), 0).refused == ILLEGAL_KEY


def test_a_forbidden_size_is_refused(camera: Camera) -> None:
    assert camera.serve(Request(5, READ, 0, 0), 0).refused == ILLEGAL_VALUE
    assert camera.serve(Request(5, WRITE, 0, 0), 0).refused == ILLEGAL_VALUE


def test_what_the_protocol_does_not_know_is_refused_and_answered_in_its_form(camera: Camera) -> None:
    reply = camera.serve(Request(5, UNKNOWN, 0, 0, (), 43), 0)
    assert (reply.refused, reply.form) == (ILLEGAL_VERB, 43)


def test_a_refused_request_is_no_change(camera: Camera) -> None:
    write(camera, "iris", 1)
    write(camera, "iris", 5000)
    assert camera.changes == []


def test_the_count_of_requests_moves_on_with_every_request_good_or_not(camera: Camera) -> None:
    assert read(camera, "requests").values == (1,)
    write(camera, "iris", 1)
    write(camera, "iris", 5000)
    camera.serve(Request(5, READ, 999, 1), 0)
    camera.serve(Request(5, UNKNOWN, 0, 0, (), 7), 0)
    assert read(camera, "requests").values == (6,)


def test_the_count_of_requests_goes_round_after_16_bits(camera: Camera) -> None:
    camera.values["requests"] = 65535
    assert read(camera, "requests").values == (0,)


def test_asking_for_ever_new_spans_does_not_fill_the_memory(camera: Camera) -> None:
    for key in range(5000):
        camera.serve(Request(5, READ, key, 2), 0)
    assert read(camera, "iris", 2).values == (500, 0)
    assert len(camera._spans) <= 1024


def test_a_model_without_keys_for_a_protocol_is_a_defect_here() -> None:
    """The caller has checked the plan before it builds a camera."""
    with pytest.raises(Defect):
        Camera(load("zoom-camera"), "no such protocol", 1, 1)
