"""The wall clock drives a kernel: events in order, inputs between them, lateness measured, failures passed on."""

from __future__ import annotations

import asyncio
import socket
import time
from collections.abc import Callable, Coroutine
from typing import Any

import pytest

from busim.runtime.clocks import Wall, wall_loop
from busim.simulator.kernel import Kernel, PatientKernel

MS = 1_000_000


def run(work: Coroutine[Any, Any, None]) -> None:
    with asyncio.Runner(loop_factory=wall_loop) as runner:
        runner.run(asyncio.wait_for(work, 20))


def noting(kernel: Kernel, notes: list[tuple[Any, int]]) -> Callable[[Any], None]:
    return lambda what: notes.append((what, kernel.now))


def test_events_run_at_their_simulated_instants_and_in_the_order_of_the_kernel() -> None:
    kernel, notes = Kernel(), list[tuple[Any, int]]()
    note = noting(kernel, notes)
    for what, when in (("late", 30 * MS), ("first of two", 10 * MS), ("second of two", 10 * MS), ("early", 1)):
        kernel.at(when, note, what)

    async def work() -> None:
        wall = Wall(kernel, until=40 * MS)
        wall.start()
        await wall.ended

    run(work())
    assert notes == [("early", 1), ("first of two", 10 * MS), ("second of two", 10 * MS), ("late", 30 * MS)]
    assert kernel.now == 40 * MS


@pytest.mark.parametrize("speed", [0.5, 1.0, 10.0])
def test_speed_is_simulated_time_per_wall_time(speed: float) -> None:
    kernel = Kernel()

    async def work() -> float:
        before = time.monotonic()
        wall = Wall(kernel, speed=speed, until=int(100 * MS * speed))
        wall.start()
        await wall.ended
        return time.monotonic() - before

    async def judge() -> None:
        took = await work()
        assert took >= 0.0999
        assert took < 5  # a busy machine may be late, never early

    run(judge())
    assert kernel.now == int(100 * MS * speed)


def test_what_enters_is_applied_at_the_present_after_every_event_that_was_due() -> None:
    kernel, notes = Kernel(), list[tuple[Any, int]]()
    note = noting(kernel, notes)
    for n in range(200):
        kernel.at(n * MS // 10, note, "event")

    async def work() -> None:
        wall = Wall(kernel, until=20 * MS)
        wall.start()
        while not wall.ended.done():
            wall.enter(note, "input")
            await asyncio.sleep(0)

    run(work())
    assert [at for _, at in notes] == sorted(at for _, at in notes)
    assert sum(what == "event" for what, _ in notes) == 200
    assert any(what == "input" for what, _ in notes)


def test_what_enters_arms_the_clock_for_what_it_brings_about() -> None:
    kernel, notes = Kernel(), list[tuple[Any, int]]()
    note = noting(kernel, notes)

    async def work() -> None:
        wall = Wall(kernel)
        wall.start()  # nothing is scheduled, so no timer is armed
        heard = asyncio.get_running_loop().create_future()
        wall.enter(lambda: kernel.at(kernel.now + 5 * MS, heard.set_result, "brought about"))
        note(await heard)
        wall.stop()

    run(work())
    assert notes[0][0] == "brought about"


def test_a_wake_with_an_event_due_is_told_with_its_lateness() -> None:
    kernel = Kernel()
    told: list[tuple[int, int]] = []
    instants = [100 * MS + n * 5 * MS for n in range(5)]
    for at in instants:
        kernel.at(at, lambda _: None)

    async def work() -> None:
        wall = Wall(kernel, until=130 * MS, late=lambda at, ns: told.append((at, ns)))
        wall.start()
        await wall.ended

    run(work())
    assert told[0][0] == instants[0]
    assert [at for at, _ in told] == sorted({at for at, _ in told} & set(instants))  # a late wake serves several
    assert all(ns >= 0 for _, ns in told)


def test_what_nobody_outside_can_see_waits_until_somebody_could() -> None:
    """Events that show are on time; those that lead to one may wait, and still come in order."""
    kernel = PatientKernel(near=4 * MS, far=50 * MS, heard=70 * MS)
    notes, wakes = list[tuple[Any, int]](), list[int | None]()
    note = noting(kernel, notes)
    kernel.at(100 * MS, note, "inside")
    kernel.at_near(101 * MS, note, "leads to one that shows")
    kernel.at_shown(120 * MS, note, "shows")
    kernel.at(130 * MS, note, "inside, the last")
    while (wake := kernel.wake_by()) is not None:
        wakes.append(wake)
        kernel.advance(wake)
    assert wakes == [105 * MS, 120 * MS, 180 * MS]
    assert [at for _, at in notes] == [100 * MS, 101 * MS, 120 * MS, 130 * MS]


def test_what_only_cameras_hear_waits_for_their_answer_until_there_is_a_fault() -> None:
    """A camera answers 20 ms after it has heard at the earliest; with a fault something may show before."""
    kernel = PatientKernel(near=4 * MS, far=50 * MS, heard=70 * MS)
    kernel.at_heard(100 * MS, lambda _: None)
    assert kernel.wake_by() == 170 * MS
    kernel.at(110 * MS, lambda _: None)
    assert kernel.wake_by() == 160 * MS
    kernel.hasten()
    assert kernel.wake_by() == 150 * MS


def test_a_wall_clock_that_waits_wakes_at_these_instants_or_for_several_of_them_late() -> None:
    kernel, notes, told = PatientKernel(near=4 * MS, far=50 * MS, heard=70 * MS), list[tuple[Any, int]](), list[int]()
    note = noting(kernel, notes)
    kernel.at(100 * MS, note)
    kernel.at_shown(120 * MS, note)
    kernel.at(130 * MS, note)

    async def work() -> None:
        wall = Wall(kernel, until=300 * MS, late=lambda at, _: told.append(at))
        wall.start()
        await wall.ended

    run(work())
    assert told[-1] == 180 * MS
    assert told == sorted(set(told) & {120 * MS, 180 * MS})
    assert [at for _, at in notes] == [100 * MS, 120 * MS, 130 * MS]


def test_an_event_that_shows_at_this_very_instant_is_not_taken_for_one_that_has_run() -> None:
    kernel = PatientKernel(near=4 * MS, far=50 * MS, heard=70 * MS)
    kernel.advance(MS)
    kernel.at_shown(MS, lambda _: None)
    kernel.at(MS, lambda _: None)
    assert kernel.wake_by() == MS
    kernel.advance(MS)
    assert kernel.wake_by() is None


def test_a_machine_that_does_not_keep_up_is_told_of_once_and_simulated_times_stay_exact() -> None:
    kernel, notes, told = Kernel(), list[int](), list[int]()

    def heavy(n: int) -> None:
        notes.append(kernel.now)
        end = time.monotonic() + 0.004
        while time.monotonic() < end:
            pass
        kernel.at(kernel.now + MS, heavy, n + 1)

    kernel.at(MS, heavy, 0)

    async def work() -> None:
        wall = Wall(kernel, until=120 * MS, behind=told.append)
        wall.start()
        turns = 0
        while not wall.ended.done():
            turns += 1
            await asyncio.sleep(0)
        assert turns > 4  # signals and sockets got their turn

    run(work())
    assert notes == [n * MS for n in range(1, 121)]
    assert len(told) == 1
    assert told[0] > 250 * MS


def test_an_event_that_fails_ends_the_run_with_its_exception() -> None:
    kernel = Kernel()

    def fail(_: object) -> None:
        raise ValueError("broken part")

    kernel.at(MS, fail)

    async def work() -> None:
        wall = Wall(kernel)
        wall.start()
        with pytest.raises(ValueError, match="broken part"):
            await wall.ended
        assert wall.enter(lambda: "too late") is None

    run(work())


def test_stopping_brings_the_kernel_to_the_present() -> None:
    kernel = Kernel()

    async def work() -> None:
        wall = Wall(kernel)
        wall.start()
        await asyncio.sleep(0.01)
        wall.stop()
        assert wall.ended.done()

    run(work())
    assert kernel.now >= 10 * MS


def test_the_loop_wakes_for_sockets_beyond_the_numbers_that_select_takes() -> None:
    resource = pytest.importorskip("resource")
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    if hard != resource.RLIM_INFINITY and hard < 1300:
        pytest.skip("this system grants too few open files")
    resource.setrlimit(resource.RLIMIT_NOFILE, (max(soft, 1300), hard))
    pairs = []
    early = asyncio.Runner(loop_factory=wall_loop)
    early.get_loop()
    try:
        while not pairs or pairs[-1][0].fileno() <= 1050:
            pairs.append(socket.socketpair())
        here, there = pairs[-1]
        here.setblocking(False)

        async def work() -> None:
            there.send(b"x")
            assert await asyncio.get_running_loop().sock_recv(here, 1) == b"x"
            await asyncio.sleep(0.001)

        early.run(work())
        run(work())  # a loop that is itself made late
    finally:
        early.close()
        for pair in pairs:
            for each in pair:
                each.close()
        resource.setrlimit(resource.RLIMIT_NOFILE, (soft, hard))
