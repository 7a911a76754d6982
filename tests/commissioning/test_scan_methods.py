"""Scan methods as pure procedures, against a bus of numbers: collisions are garble, or the strongest reply alone."""

from __future__ import annotations

import math
import statistics
from collections.abc import Callable
from itertools import count
from typing import TypeVar

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from busim.commissioning.scan_methods import (
    Answer,
    Found,
    Pace,
    Procedure,
    Question,
    best_slots,
    by_serial,
    duplicates,
    give_ids,
    listen_first,
    most_probes,
    most_slotted,
    probes,
    probes_of,
    rounds,
    scan,
    scan_questions,
    slotted,
    slotted_time,
    spans_of,
)
from busim.protocols import ASSIGN, READ, SEARCH, ModbusRtu, Reply, Request, slot_of
from busim.simulator.kernel import Chance

RTU = ModbusRtu()
PACE = Pace(20_000_000, 30_000_000, 5_000_000)
KEY = 101
GARBLE = b"\x55\xaa\x00"
_Result = TypeVar("_Result")

serials = st.integers(0, 2**32 - 1)
near = st.integers(4300, 4340)  # as they come in one delivery
sites = st.dictionaries(st.one_of(serials, near), st.integers(1, 247), min_size=1, max_size=32)


class Bus:
    """`cameras`: serial to ID. Colliding replies are garbled, or (`clean`) only the first is heard."""

    def __init__(self, cameras: dict[int, int], *, clean: bool = False) -> None:
        self.cameras = dict(cameras)
        self.clean = clean
        self.served = dict.fromkeys(cameras, 0)
        self.questions: list[Question] = []

    def run(self, procedure: Procedure[_Result]) -> _Result:
        try:
            question = next(procedure)
            while True:
                self.questions.append(question)
                question = procedure.send(self.answer(question.request))
        except StopIteration as end:
            return end.value

    @property
    def length(self) -> int:
        return sum(question.length for question in self.questions)

    def answer(self, request: Request | None) -> Answer:
        if request is None:
            return Answer()
        if request.verb == READ:
            here = sorted(serial for serial, id in self.cameras.items() if id == request.address)
            for serial in here:
                self.served[serial] += 1
            return self.heard([[
                Reply(request.address, READ, KEY, (serial & 0xFFFF, self.served[serial])[: request.size])
                for serial in here
            ]])  # fmt: skip
        if request.verb == ASSIGN:
            serial, new = request.values
            if serial not in self.cameras:
                return Answer()
            old, self.cameras[serial] = self.cameras[serial], new
            return Answer((Reply(old, ASSIGN, 0, request.values),))
        low, high, only, slots, _, draw = request.values
        meant = sorted(one for one, id in self.cameras.items() if low <= one <= high and only in (0, id))
        return self.heard([
            [Reply(self.cameras[one], SEARCH, 0, (one,)) for one in meant if slot_of(one, draw, slots) == slot]
            for slot in range(slots)
        ])  # fmt: skip

    def heard(self, slots: list[list[Reply]]) -> Answer:
        sound = [slot[0] for slot in slots if len(slot) == 1 or (slot and self.clean)]
        garbled = any(len(slot) > 1 and not self.clean for slot in slots)
        return Answer(tuple(sound), GARBLE if garbled else b"")


def found(cameras: dict[int, int]) -> tuple[Found, ...]:
    return tuple(Found(id, serial) for serial, id in sorted(cameras.items()))


# -- everything is found ---------------------------------------------------------------------------------------------


@given(sites, st.booleans())
@example({4301: 1, 4302: 1, 4303: 1, 4304: 1}, True)
@example({0: 1, 2**32 - 1: 1}, False)
def test_by_serial_all_are_found_whatever_their_ids_and_however_collisions_decode(
    cameras: dict[int, int], clean: bool
) -> None:
    bus = Bus(cameras, clean=clean)
    result = bus.run(by_serial(RTU, PACE))
    assert (result.found, result.unclear) == (found(cameras), ())
    assert result.questions == len(bus.questions) <= most_probes(len(cameras))
    if not clean:
        assert result.questions == probes_of(cameras, 0, 2**32 - 1)


@given(sites, st.booleans(), st.integers(1, 40))
@settings(deadline=None)
def test_in_slots_all_are_found_whatever_their_ids_and_however_collisions_decode(
    cameras: dict[int, int], clean: bool, slots: int
) -> None:
    bus = Bus(cameras, clean=clean)
    result = bus.run(slotted(RTU, PACE, slots))
    assert (result.found, result.unclear) == (found(cameras), ())
    assert bus.length <= most_slotted(len(cameras), slots, PACE)


@given(sites)
@settings(deadline=None)
def test_a_scan_finds_every_id_in_use_and_is_never_sure_that_one_camera_is_all(cameras: dict[int, int]) -> None:
    bus = Bus(cameras)
    result = bus.run(scan(range(1, 248), KEY, PACE, counter=KEY + 1))
    ids = set(cameras.values())
    assert {one.bus_id for one in result.found} == {doubt.bus_id for doubt in result.doubts} == ids
    alone = {id for id in ids if list(cameras.values()).count(id) == 1}
    assert {doubt.bus_id for doubt in result.doubts if doubt.sure} == ids - alone
    assert all("may be hidden" in doubt.seen for doubt in result.doubts if not doubt.sure)
    assert result.questions == len(bus.questions) == scan_questions(247, len(ids), 4)


def test_an_empty_line_is_one_silence() -> None:
    assert Bus({}).run(by_serial(RTU, PACE)).questions == 1
    assert Bus({}).run(slotted(RTU, PACE, 8)).questions == 2
    assert Bus({}).run(scan(range(1, 10), KEY, PACE)).found == ()


# -- duplicates ------------------------------------------------------------------------------------------------------


def test_a_collision_that_decodes_cleanly_each_time_is_seen_by_serials_under_that_id_and_not_by_a_scan() -> None:
    cameras = {4301: 7, 4302: 7}
    scanned = Bus(cameras, clean=True).run(scan([7], KEY, PACE, counter=KEY + 1))
    assert [(doubt.sure, doubt.seen) for doubt in scanned.doubts] == [
        (False, "one serial each time: a second camera may be hidden behind it")
    ]
    look = Bus(cameras, clean=True).run(duplicates(7, KEY, PACE, RTU, counter=KEY + 1))
    assert look.several
    assert look.proven
    assert (look.serials, look.seen) == ((4301, 4302), ("2 serial numbers answer under it, each asked alone",))


def test_one_camera_at_an_id_is_proven_to_be_alone() -> None:
    look = Bus({4301: 7, 4302: 8}).run(duplicates(7, KEY, PACE, RTU, counter=KEY + 1))
    assert (look.serials, look.several, look.proven) == ((4301,), False, True)


def test_without_searches_one_serial_proves_nothing() -> None:
    look = Bus({4301: 7, 4302: 7}, clean=True).run(duplicates(7, KEY, PACE, RTU, searches=False))
    assert (look.serials, look.several, look.proven) == ((4301,), False, False)


def reads(id: int, answers: list[Answer]) -> tuple[str, ...]:
    """The result for these answers to reads of one ID."""
    procedure = duplicates(id, KEY, PACE, RTU, counter=KEY + 1, searches=False, checks=len(answers))
    next(procedure)
    try:
        for answer in answers:
            procedure.send(answer)
    except StopIteration as end:
        return end.value.seen
    raise AssertionError("it wants more")


def one(serial: int, served: int) -> Reply:
    return Reply(7, READ, KEY, (serial, served))


@pytest.mark.parametrize(
    ("answers", "seen"),
    [
        ([Answer((one(4301, 1),)), Answer((one(4301, 2),))], ()),
        ([Answer((one(4301, 65535),)), Answer((one(4301, 0),))], ()),
        ([Answer((one(4301, 1), one(4302, 1)))],
         ("two sound replies to one question", "its serial number changes: 4301, 4302")),
        ([Answer((one(4301, 1),)), Answer((one(4302, 2),))], ("its serial number changes: 4301, 4302",)),
        ([Answer((one(4301, 1),)), Answer((), GARBLE)], ("1 of 2 answers garbled",)),
        ([Answer((one(4301, 9),)), Answer((one(4301, 4),))], ("its count of requests does not go on by one",)),
        ([Answer((one(4301, 1),)), Answer()], ("1 of 2 questions not answered",)),
    ],
)  # fmt: skip
def test_what_one_camera_cannot_have_done_is_named(answers: list[Answer], seen: tuple[str, ...]) -> None:
    assert reads(7, answers) == seen


def test_two_cameras_with_one_serial_and_different_ids_are_unclear_and_named() -> None:
    class Twins(Bus):
        def heard(self, slots: list[list[Reply]]) -> Answer:
            return Answer((), GARBLE) if any(slots) else Answer()

    result = Twins({4301: 1}).run(by_serial(RTU, PACE))
    assert [serial for serial, _ in result.unclear] == [4301]


# -- IDs ---------------------------------------------------------------------------------------------------------------


def test_all_on_one_id_are_given_theirs_one_after_the_other() -> None:
    bus = Bus({4301: 1, 4302: 1, 4303: 1})
    given_ = bus.run(give_ids(RTU, PACE, [(4301, 11), (4302, 12), (4303, 13), (9999, 14)]))
    assert [one.done for one in given_] == [True, True, True, False]
    assert "did not answer" in given_[3].seen
    assert bus.cameras == {4301: 11, 4302: 12, 4303: 13}


def test_listening_sends_nothing() -> None:
    bus = Bus({1: 1})
    assert bus.run(listen_first(5)).safe
    assert bus.questions == [Question(None, 5)]


# -- what it takes -----------------------------------------------------------------------------------------------------


def drawn(number: int, seed: int) -> dict[int, int]:
    stream = Chance(seed).stream("site")
    cameras: dict[int, int] = {}
    while len(cameras) < number:
        cameras[stream.between(0, 2**32 - 1)] = 1
    return cameras


def mean_length(number: int, procedure: Callable[[], Procedure[object]], times: int) -> tuple[float, float]:
    """Mean ns over drawn serials, and its standard error."""
    lengths = []
    for seed in range(times):
        bus = Bus(drawn(number, seed))
        bus.run(procedure())
        lengths.append(bus.length)
    return statistics.fmean(lengths), statistics.stdev(lengths) / math.sqrt(times)


@pytest.mark.parametrize("number", [2, 5, 16])
def test_halving_takes_the_computed_mean_for_serials_anywhere(number: int) -> None:
    mean, error = mean_length(number, lambda: by_serial(RTU, PACE), 400)
    computed = probes(number) * PACE.probe
    assert abs(mean - computed) < 5 * error
    assert mean == pytest.approx(computed, rel=0.04)


@pytest.mark.parametrize(("number", "slots"), [(2, 4), (5, 8), (16, 32)])
def test_slots_take_the_computed_mean_for_serials_anywhere(number: int, slots: int) -> None:
    mean, error = mean_length(number, lambda: slotted(RTU, PACE, slots), 400)
    computed = slotted_time(number, slots, PACE)
    assert abs(mean - computed) < 5 * error + 0.01 * computed
    assert mean == pytest.approx(computed, rel=0.04)


def test_halving_without_the_two_silences_is_the_tree_algorithm_of_the_textbooks() -> None:
    # Capetanakis 1979; Bertsekas and Gallager, Data Networks, 4.3 (from memory): 2.885 questions a packet, 2 / ln 2
    number = 200
    without = probes(number) - 2 * number  # each camera costs two silences more
    assert without / number == pytest.approx(2 / math.log(2), rel=0.005)


def test_as_many_slots_as_cameras_bring_one_in_e_of_them_alone_a_round() -> None:
    # slotted ALOHA carries at most 1/e (any text on computer networks; from memory); 1 camera of 1 slot is done at once
    from busim.commissioning.scan_methods.computed import alone

    number = 100
    chances = alone(number, number)
    assert sum(chances) == pytest.approx(1)
    assert sum(s * chance for s, chance in zip(count(), chances, strict=False)) / number == pytest.approx(
        1 / math.e, rel=0.01
    )
    assert rounds(1, 1) == (1.0, 0.0)


def test_birthdays_make_the_chance_of_a_round_without_garble() -> None:
    # the birthday problem (any text on probability): 23 people, 365 days, no two alike: 0.4927
    from busim.commissioning.scan_methods.computed import alone

    assert alone(23, 365)[23] == pytest.approx(0.4927, abs=5e-5)


def test_neighbours_have_no_span_between_them() -> None:
    assert spans_of([4301, 4302, 4303]) == 2
    assert spans_of([]) == 1
    assert spans_of([0, 2**32 - 1]) == 1


def test_more_cameras_want_more_slots() -> None:
    assert best_slots(2, PACE) < best_slots(8, PACE) < best_slots(32, PACE)
