"""Searches by serial number and IDs given to serials: the frames, who answers, and when."""

from __future__ import annotations

from typing import Any

import pytest
from crccheck.crc import Crc16Modbus
from hypothesis import given
from hypothesis import strategies as st

from busim.foundation.errors import Defect
from busim.plan.models import load
from busim.protocols import (
    ASSIGN,
    OTHER,
    SEARCH,
    SERIALS,
    ModbusRtu,
    Reply,
    Request,
    assignment,
    find,
    search,
    searches,
    slot_of,
)
from busim.protocols.modbus_reference import build_reply, build_request, parse_reply, parse_request
from busim.simulator.cameras import Camera

RTU = ModbusRtu()
serials = st.integers(0, SERIALS - 1)
ids = st.integers(1, 247)


def asked(low: int, high: int, only: int, slots: int, tenths: int, draw: int) -> dict[str, Any]:
    return {"address": 0, "function": 65, "low": low, "high": high, "only": only, "slots": slots, "tenths": tenths,
            "draw": draw}  # fmt: skip


@given(serials, serials, st.integers(0, 247), st.integers(1, 255), st.integers(0, 65535), st.integers(0, 65535))
def test_a_search_is_encoded_and_decoded_as_the_definition_says(
    low: int, high: int, only: int, slots: int, tenths: int, draw: int
) -> None:
    request = search(RTU, low, high, only=only or None, slots=slots, slot=tenths * 100_000, draw=draw)
    raw = RTU.encode_request(request)
    assert raw == build_request(asked(low, high, only, slots, tenths, draw))
    assert Crc16Modbus.calc(raw) == 0
    assert parse_request(raw) == asked(low, high, only, slots, tenths, draw)
    assert RTU.decode_request(raw) == request._replace(form=65)
    assert RTU.cut_requests(b"\xff" + raw + b"\x00")[0] == [request._replace(form=65)]
    assert RTU.request_bytes(request) == len(raw) == 18


@given(serials, ids, ids)
def test_an_assignment_and_its_answer_are_as_the_definition_says(serial: int, new: int, old: int) -> None:
    request = assignment(RTU, serial, new)
    raw = RTU.encode_request(request)
    assert raw == build_request({"address": 0, "function": 66, "serial": serial, "new_address": new})
    assert RTU.decode_request(raw) == request._replace(form=66)
    answer = RTU.encode_reply(Reply(old, ASSIGN, 0, (serial, new), 0, 66))
    assert answer == build_reply({"address": old, "function": 66, "serial": serial, "new_address": new})
    assert RTU.decode_reply(answer, request) == Reply(old, ASSIGN, 0, (serial, new))
    assert RTU.decode_reply(answer, assignment(RTU, serial ^ 1, new)) is None
    assert len(answer) == RTU.reply_bytes(request) == 9


@given(serials, ids)
def test_an_answer_to_a_search_names_serial_and_id_and_is_no_request_to_who_overhears_it(
    serial: int, address: int
) -> None:
    request = search(RTU)
    answer = RTU.encode_reply(Reply(address, SEARCH, 0, (serial,), 0, 65))
    assert parse_reply(answer) == {"address": address, "function": 65, "serial": serial}
    assert RTU.decode_reply(answer, request) == Reply(address, SEARCH, 0, (serial,))
    assert RTU.decode_request(answer) is OTHER
    assert len(answer) == RTU.reply_bytes(request) == 8


@given(st.lists(st.tuples(serials, ids), min_size=1, max_size=3), st.binary(max_size=5))
def test_answers_of_several_are_found_one_after_the_other_whatever_lies_before(
    found: list[tuple[int, int]], junk: bytes
) -> None:
    finder = RTU.stream_framer()
    request = search(RTU)
    finder.ask(request, RTU.encode_request(request))
    seen = []
    for value in junk + b"".join(RTU.encode_reply(Reply(id, SEARCH, 0, (serial,))) for serial, id in found):
        if (reply := finder.feed(bytes((value,)), 0)) is not None:
            seen.append((reply.values[0], reply.address))
            finder.expect(request)
    assert seen == found


def test_a_search_goes_to_all_or_is_not_encoded() -> None:
    with pytest.raises(Defect):
        RTU.encode_request(search(RTU)._replace(address=4))
    with pytest.raises(Defect):
        RTU.encode_request(search(RTU, 0, SERIALS))


def test_modbus_has_searches_and_declared_protocols_have_none() -> None:
    assert searches(RTU)
    assert not any(searches(find(name)) for name in ("text", "short", "tagged"))


def camera(serial: int = 70_000, bus_id: int = 5, model: str = "zoom-camera") -> Camera:
    return Camera(load(model), "modbus-rtu", bus_id, serial)


def answer(one: Camera, request: Request) -> bytes:
    return RTU.encode_reply(one.serve(request, 0)._replace(address=one.bus_id))


@pytest.mark.parametrize(
    ("low", "high", "only", "answers"),
    [(0, SERIALS - 1, None, True), (70_000, 70_000, None, True), (70_001, SERIALS - 1, None, False),
     (0, 69_999, None, False), (0, SERIALS - 1, 5, True), (0, SERIALS - 1, 6, False)],
)  # fmt: skip
def test_a_camera_answers_a_search_that_its_serial_and_id_lie_in(
    low: int, high: int, only: int | None, answers: bool
) -> None:
    assert bool(answer(camera(), search(RTU, low, high, only=only))) is answers


def test_a_camera_whose_model_cannot_is_silent() -> None:
    one = camera(model="slow-motion-camera")
    assert (answer(one, search(RTU)), answer(one, assignment(RTU, 70_000, 9))) == (b"", b"")
    head = camera(model="pan-tilt-head")  # can be searched for, and takes no ID by its serial
    assert answer(head, search(RTU))
    assert (answer(head, assignment(RTU, 70_000, 9)), head.bus_id) == (b"", 5)


def test_a_camera_that_saves_is_silent_too() -> None:
    one = camera()
    one.serve(Request(5, "save", 0, 0), 0)
    assert answer(one, search(RTU)) == b""


def test_only_the_camera_with_the_serial_takes_the_id_and_only_a_good_one() -> None:
    one, other = camera(), camera(70_001)
    request = assignment(RTU, 70_001, 9)
    assert (answer(one, request), one.bus_id) == (b"", 5)
    assert answer(other, request)
    assert other.bus_id == 9
    assert (answer(other, request._replace(values=(70_001, 248))), other.bus_id) == (b"", 9)


def test_a_camera_waits_for_the_slot_of_its_serial() -> None:
    one = camera()
    one.serve(search(RTU, slots=8, slot=4_000_000, draw=3), 0)
    assert one.waits == slot_of(70_000, 3, 8) * 4_000_000
    one.serve(search(RTU), 0)
    assert one.waits == 0


def test_slots_are_taken_evenly_and_neighbouring_serials_meet_no_oftener_than_chance_has_it() -> None:
    slots, draws = 8, 4000
    counts = [0] * slots
    met = 0
    for draw in range(draws):
        mine, other = slot_of(4301, draw, slots), slot_of(4302, draw, slots)
        counts[mine] += 1
        met += mine == other
    # binomial: mean 500, standard deviation sqrt(4000 * 1/8 * 7/8) = 21; five of these
    assert all(abs(count - draws / slots) < 105 for count in (*counts, met))
