"""Every fault of the catalogue finds something: a naive master fails its judge by it, and the good one passes.

Two judges look at the installation and not at the master: there every master fails with the fault, and none without.
What concerns commissioning is shown by a search that believes what it hears, beside one that asks again.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest
from fault_guests import Guest
from fault_halls import S
from fault_halls import hall as fault_hall
from faulted_masters import AT, MASTERS, PLANS, SHOWN, boxed, master_of, with_faults
from fuzzed_halls import MOVES, MS, STEPS, hall

from busim.commissioning.bus_scan import SCAN, SERIALS, scan_bus
from busim.plan import Plan, read_text
from busim.protocols import CHANGE_ID, SAVE, WRITE, Request, find
from busim.recording.trace import EFFECT, EXCHANGE, Record
from busim.runtime.session import Run
from busim.simulator.faults import all_faults
from busim.simulator.kernel import Chance
from busim.simulator.masters import Master, Task
from busim.testing.fuzzing import Action, Case, Result, run_pure
from busim.testing.fuzzing.drawing import Drawing, space_of
from busim.testing.fuzzing.linked import Link
from busim.testing.judge_catalogue import all_judges
from busim.testing.judging import FAIL, PASS, ground_of, judge_records

FF = tuple(Action(1500 * MS + n * 70 * MS, f"c{1 + n % 4}", "iris", 255) for n in range(8))
FOUND_AT_THE_BOX = {"telnet-escapes": "", "eaten-bytes": "eats: '03', way: to-line"}  # by transparency
FOUND_AT_THE_ADDRESS = {"duplicate-id", "discards-saves", "unapplied-settings"}  # by the address plan
FOUND_IN_A_SEARCH = {"serial-byte-order", "bad-search-reply"}
FOUND_ELSEWHERE = {"ignored-port-control", "busy-after-broadcast"}  # below, by what a client or a master does


def test_every_fault_finds_something() -> None:
    groups = [set(SHOWN), set(FOUND_AT_THE_BOX), FOUND_AT_THE_ADDRESS, FOUND_IN_A_SEARCH, FOUND_ELSEWHERE]
    assert set().union(*groups) == set(all_faults())
    assert sum(map(len, groups)) == len(all_faults()), "one row each"


def count(result: Result, fault: str) -> int:
    return sum(1 for record in result.records if record[0] == EFFECT and record[3] == fault)


@pytest.mark.parametrize("fault", SHOWN)
def test_a_naive_master_is_found_by_the_fault_and_the_good_one_passes(fault: str) -> None:
    shown = SHOWN[fault]
    on = all_faults()[fault].on
    place = shown.hall or ("boxed" if on == "converter" else "rates")
    more = f", {shown.more}" if shown.more else ""
    entry = f"{{fault: {fault}, on: {AT[on]}, at: {shown.at} ms, for: {shown.length} ms{more}}}"
    plan, case = with_faults(place, [entry, *shown.beside]), Case(7, shown.run * MS, (), shown.moves)
    judge = all_judges()[shown.judge]
    link = {"link": Link} if place.startswith("boxed") else {}
    good = run_pure(plan, case, [judge], keep=True, **link)
    naive = run_pure(plan, case, [judge], keep=True, **(link | master_of(shown.naive)))
    assert count(good, fault) > 0 or shown.spares_the_good
    assert count(naive, fault) > 0
    assert (good.verdicts[0].outcome, naive.verdicts[0].outcome) == (PASS, FAIL), good.verdicts[0].why
    assert naive.verdicts[0].evidence[0].at >= shown.at * MS, "it fails before the fault begins"


@pytest.mark.parametrize("how", ["busy", "target-failed"])
def test_a_gateway_refuses_in_a_protocol_whose_codes_have_one_digit(how: str) -> None:
    entry = f"{{fault: busy-gateway, on: box, at: 1 s, how: {how}, share: 1}}"
    plan = read_text(f"{boxed('steps').source}\nfaults:\n  - {entry}\n", files={"./steps.yaml": STEPS})
    result = run_pure(plan, Case(7, 3000 * MS), [], keep=True, link=Link)
    assert count(result, "busy-gateway") > 0
    assert any(record[0] == EXCHANGE and record[12] == "refused" for record in result.records)


@pytest.mark.parametrize("fault", all_faults())
def test_a_campaign_draws_the_fault_with_values_within_its_bounds_and_runs_it(fault: str) -> None:
    plan = PLANS["boxed"]
    space = space_of(plan, kinds=[fault])
    drawn = Drawing(space, Chance(1).stream("drawn", fault)).fresh()
    assert {one.kind for one in drawn.faults} == {fault}
    run_pure(plan, replace(drawn, length=4000 * MS), [], link=Link)


@pytest.mark.parametrize("fault", FOUND_AT_THE_BOX)
@pytest.mark.parametrize("make", [Master, MASTERS["first-bytes-are-mine"]])
def test_a_box_that_is_not_transparent_is_found_whoever_asks(fault: str, make: type[Master]) -> None:
    judge, case = all_judges()["transparency"], Case(7, 4000 * MS, (), FF)
    more = FOUND_AT_THE_BOX[fault]
    broken = with_faults("boxed", [f"{{fault: {fault}, on: box, at: 1 s{', ' + more if more else ''}}}"])
    for plan, outcome in ((PLANS["boxed"], PASS), (broken, FAIL)):
        found = run_pure(plan, case, [judge], make, keep=True, link=Link)
        assert found.verdicts[0].outcome == outcome, found.verdicts[0].why
    assert count(found, fault) > 0


def twin(run: Run) -> None:
    """Nothing has to be done: the fault alone makes two of one."""


def readdressed(run: Run) -> None:
    """A new camera with the bus ID of another gets its planned ID, saves, and has one power cycle."""
    run.do(f"unit c2 {run.world.cameras['c1'].camera.bus_id} 99")
    run.do("power on c2")
    run.do("dial c2 38400 8N1")
    run.advance(10 * S)
    port = run.world.cameras["c2"]
    port.asked(Request(1, CHANGE_ID, 0, 0, (2,)), 10 * S)
    port.camera.serve(Request(2, SAVE, 0, 0), 10 * S)
    run.do("power off c2")
    run.do("power on c2")
    run.do("dial c2 38400 8N1")


@pytest.mark.parametrize(
    ("fault", "done"), [("duplicate-id", twin), ("discards-saves", readdressed), ("unapplied-settings", readdressed)]
)
def test_an_address_that_is_not_as_planned_is_found_whoever_asks(fault: str, done: Callable[[Run], None]) -> None:
    def verdict(plan: Plan) -> tuple[str, int]:
        records: list[Record] = []
        run = Run(plan, 1, also=records.append)
        done(run)
        run.advance(40 * S)
        run.finish()
        ground = ground_of(plan, run.world.names, "desk")
        (found,) = judge_records(ground, records, 40 * S, [all_judges()["address-plan"]])
        return found.outcome, sum(1 for record in records if record[0] == EFFECT and record[3] == fault)

    plan = hall(desk="starts_at: 20 s")  # when the cameras have their addresses
    assert verdict(plan) == (PASS, 0)
    outcome, effects = verdict(read_text(f"{plan.source}\nfaults:\n  - {{fault: {fault}, on: c2}}\n"))
    assert outcome == FAIL
    assert effects > 0


@pytest.mark.parametrize(
    ("fault", "more"), [("serial-byte-order", "order: little"), ("bad-search-reply", "how: hides-others, others: 2")]
)
def test_a_search_that_asks_again_tells_what_one_that_believes_does_not(fault: str, more: str) -> None:
    """The naive engineer takes serial numbers as they come; a careful one asks each bus ID as well."""

    def agree(plan: Plan) -> bool:
        """Whether a search and a question to each bus ID find the same cameras (a reading has 16 bits)."""
        searched, asked = (scan_bus(plan, stopped=["controller"], way=way) for way in (SERIALS, SCAN))
        serials = [[(row.serial or 0) & 0xFFFF for row in one.rows] for one in (searched, asked)]
        return asked.ok and serials[0] == serials[1]

    plan = fault_hall(f"{{fault: {fault}, on: rope left, {more}}}")
    naive = scan_bus(plan, stopped=["controller"], way=SERIALS)
    assert {row.serial for row in naive.rows} != {11, 12, 13}
    assert agree(fault_hall())
    assert not agree(plan)


def test_a_client_that_believes_the_box_is_set_and_one_that_tries_a_frame_is_not_deceived() -> None:
    """RFC 2217 SET-BAUDRATE 9600 is answered with 9600 (code 101); the line has 38400 Bd still, as a reply shows."""
    text = fault_hall("{fault: ignored-port-control, on: wall box}").source
    guest = Guest(read_text(text.replace("latency: 1 ms,", "latency: 1 ms, rfc2217: applies,")))
    guest.wait(MS)
    guest.connect()
    guest.ask(bytes.fromhex("FF FB 2C"))
    answer = guest.ask(bytes.fromhex("FF FA 2C 01 00 00 25 80 FF F0"))
    naive = answer == bytes.fromhex("FF FA 2C 65 00 00 25 80 FF F0")
    good = not guest.ask()  # at 9600 Bd no camera of this line could answer; one does
    assert (naive, good) == (True, False)
    assert guest.count("ignored-port-control") > 0


class Broadcasting(Master):
    """Commands go to all cameras, and the next request waits for `pause` ns (V1.02, 2.4.1: 100 to 200 ms)."""

    pause = 150 * MS

    def _sends(self, task: Task) -> bytes:
        if task.request.verb != WRITE:
            return super()._sends(task)
        self._until = self._sent + self.pause
        self._finder.expect(task.request)
        return find("modbus-rtu").encode_request(task.request._replace(address=0))


class BroadcastingInHaste(Broadcasting):
    pause = 4 * MS


def test_a_master_that_does_not_pause_after_a_broadcast_loses_the_next_request() -> None:
    judge = all_judges()["fairness"]
    plan = with_faults("restless", ["{fault: busy-after-broadcast, on: every camera, at: 1 s, length: 100 ms}"])
    case = Case(7, 4000 * MS, (), MOVES[:3])
    found = [run_pure(plan, case, [judge], make, keep=True) for make in (Broadcasting, BroadcastingInHaste)]
    assert [count(one, "busy-after-broadcast") > 0 for one in found] == [False, True]
