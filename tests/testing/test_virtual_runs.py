"""Campaigns of asyncio controllers in virtual time: defects found, cases reduced, the same with any worker."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from fuzzed_halls import MS, SECOND, boxed, two_walls
from typer.testing import CliRunner

from busim.cli.app import app
from busim.foundation.errors import UserError
from busim.runtime.sweep_workers import cluster
from busim.testing.fuzzing import (
    STAYS_UP,
    Action,
    Case,
    FaultEvent,
    PureRun,
    VirtualRun,
    Workers,
    fuzz,
    space_of,
)
from busim.testing.fuzzing.staying import stays_up
from busim.testing.judge_catalogue import all_judges
from busim.testing.judging import FAIL, PASS, Bench, Verdict, ground_of

HALL = boxed("at: 9000 s, down: 1 s")
# It takes the first bytes for the answer to its last request. MODBUS Application Protocol V1.1b3, 6.3.
NAIVE = """
import asyncio
READ = {1: "010300000001840a", 2: "0203000000018439", 3: "03030000000185e8"}
RUNS = []
async def controller(hall):
    RUNS.append(1)
    assert len(RUNS) == 1, "a case before left something"
    reader, writer = await asyncio.open_connection(*hall.addresses["box"])
    while True:
        for camera, request in READ.items():
            writer.write(bytes.fromhex(request))
            try:
                reply = await asyncio.wait_for(reader.read(64), 0.1)
            except TimeoutError:
                continue
            hall.believe(f"c{camera}", "iris", int.from_bytes(reply[3:5]))
            await asyncio.sleep(0.05)
"""
RAISES = NAIVE.replace("            hall.believe", "            assert reply[0] == camera\n            hall.believe")
LATE = Case(1, 3 * SECOND, (FaultEvent("late-reply", "c2", SECOND, 2 * SECOND, (("by", "92 ms"), ("share", "0.5"))),))

# It reconnects with pauses that grow to 5 s, as link-hygiene allows, and has its moves from the hook.
PATIENT = """
import asyncio
READ = [bytes.fromhex(one) for one in ("010300000001840a", "0203000000018439", "03030000000185e8", "040300000001845f")]
async def controller(hall):
    moves = []
    async def listen():
        async for intent in hall.intents():
            moves.append(intent)
    listening = asyncio.ensure_future(listen())
    pause = 0.5
    while True:
        try:
            reader, writer = await asyncio.open_connection(*hall.addresses["box"])
            while True:
                for request in READ:
                    if moves:
                        writer.write(frame(moves.pop(0)))
                        assert len(await asyncio.wait_for(reader.readexactly(8), 0.3)) == 8
                        await asyncio.sleep(0.01)
                    writer.write(request)
                    assert len(await asyncio.wait_for(reader.readexactly(7), 0.3)) == 7
                    pause = 0.5
                    for _ in range(0 if moves else 10):
                        await asyncio.sleep(0.005)
                        if moves:
                            break
                    await asyncio.sleep(0.005)
        except (OSError, TimeoutError, asyncio.IncompleteReadError):
            await asyncio.sleep(pause)
            pause = min(5, 2 * pause)
def frame(intent):
    body = bytes((int(intent.camera[1]), 6, 0, 0)) + intent.value.to_bytes(2)
    crc = 0xFFFF
    for byte in body:
        crc ^= byte
        for _ in range(8):
            crc = crc >> 1 ^ (0xA001 if crc & 1 else 0)
    return body + crc.to_bytes(2, "little")
"""

# It takes what comes without a pause for one frame, as a receiver of MODBUS does, and gives a camera up for 2 s.
STRICT = """
import asyncio
READ = [bytes.fromhex(one) for one in ("010300000001840a", "0203000000018439", "03030000000185e8", "040300000001845f")]
async def controller(hall):
    reader, writer = await asyncio.open_connection(*hall.addresses["box"])
    loop = asyncio.get_running_loop()
    failed, rests = [0] * 4, [0.0] * 4
    while True:
        for number, request in enumerate(READ):
            await asyncio.sleep(0.01)
            if loop.time() < rests[number]:
                continue
            writer.write(request)
            heard = b""
            try:
                heard = await asyncio.wait_for(reader.read(64), 0.1)
                while True:
                    heard += await asyncio.wait_for(reader.read(64), 0.01)
            except TimeoutError:
                pass
            failed[number] = 0 if len(heard) == 7 else failed[number] + 1
            if failed[number] == 3:
                failed[number], rests[number] = 0, loop.time() + 2
"""


def run_of(source: str, function: str = "controller", judge: str = "attribution") -> VirtualRun:
    return VirtualRun(HALL, (all_judges()[judge],), "control.py", function, source, "desk")


def verdicts(source: str, case: Case = LATE) -> dict[str, Verdict]:
    return {one.judge: one for one in run_of(source)(case).verdicts}


def test_a_naive_controller_fails_its_judge_and_nothing_of_one_case_reaches_the_next() -> None:
    first, second = verdicts(NAIVE), verdicts(NAIVE)
    assert first == second
    assert (first["attribution"].outcome, first[STAYS_UP].outcome) == (FAIL, PASS)
    assert first["attribution"].evidence[0].fault.startswith("late-reply at c2: ")
    assert verdicts(NAIVE, Case(1, 3 * SECOND))["attribution"].outcome == PASS


@pytest.mark.parametrize("judge", ["recovery", "command-latency", "link-hygiene"])
@pytest.mark.parametrize("length", [8, 24])
def test_a_converter_that_is_down_for_long_is_no_fault_of_the_controller(judge: str, length: int) -> None:
    actions = tuple(Action(at * 100 * MS, "c2", "iris", at) for at in range(25, length * 10 - 5, 17))
    case = Case(1, length * SECOND, (FaultEvent("converter-reboot", "box", 2 * SECOND, 50 * MS),), actions)
    found = {one.judge: one for one in run_of(PATIENT, judge=judge)(case).verdicts}
    assert found[STAYS_UP].outcome == PASS
    assert found[judge].outcome != FAIL, found[judge].why


@pytest.mark.parametrize("seed", [1, 6, 11])
def test_a_reply_among_noise_may_be_dropped(seed: int) -> None:
    case = Case(seed, 12 * SECOND, (FaultEvent("idle-noise", "wall", 4 * SECOND, 7 * SECOND, (("rate", "20 /s"),)),))
    found = {one.judge: one for one in run_of(STRICT, judge="recovery")(case).verdicts}
    assert (found["recovery"].outcome, found["recovery"].why) == (PASS, f"held on {found['recovery'].judged} occasions")


def test_the_frames_before_the_end_of_a_controller_are_those_of_all_lines_in_their_order() -> None:
    bench = Bench(ground_of(two_walls(), PureRun(two_walls(), ()).kept(Case(1, SECOND)).names, "desk"), ())
    bench.take_all(PureRun(two_walls(), ()).kept(Case(1, SECOND)).records)
    bench.finish(SECOND)
    (evidence,) = stays_up((SECOND, "ended"), 1, 1, bench).evidence
    ends = [frame.end for frame in evidence.frames]
    assert ends == sorted(ends)
    assert {frame.driver for frame in evidence.frames} >= {"box", "cellar"}


def test_a_controller_that_raises_because_of_a_fault_does_not_stay_up() -> None:
    up = verdicts(RAISES)[STAYS_UP]
    assert (up.outcome, "the controller raised AssertionError" in up.why) == (FAIL, True), up.why
    assert up.evidence[0].fault.startswith("late-reply at c2: ")
    assert up.evidence[0].frames


@pytest.mark.parametrize(
    ("body", "outcome", "said"),
    [
        ("return", "fail", "the controller returned"),
        ("import asyncio; await asyncio.sleep(100)", "inconclusive", "never connected"),
        (
            "import asyncio; await asyncio.open_connection(*hall.addresses['box']); await asyncio.sleep(100)",
            "inconclusive",
            "connected and sent no request",
        ),
    ],
)
def test_a_controller_that_does_not_work_is_told_of(body: str, outcome: str, said: str) -> None:
    up = verdicts(f"async def controller(hall):\n    {body}\n")[STAYS_UP]
    assert (up.outcome, said in up.why) == (outcome, True), up.why


@pytest.mark.parametrize(
    ("source", "said"),
    [("def controller(hall): pass", "no such asyncio function"), ("if", "not Python"), ("1 / 0", "cannot be executed")],
)
def test_a_file_without_the_controller_is_a_mistake_of_the_user(source: str, said: str) -> None:
    with pytest.raises(UserError, match=said):
        run_of(source)(Case(1, SECOND))


def test_a_cluster_finds_what_one_process_finds() -> None:
    distributed = pytest.importorskip("distributed")
    run, space = run_of(NAIVE), space_of(HALL, "desk", ["late-reply"])
    with Workers(run, 1, lambda _: None) as alone:
        here = fuzz(alone.one, space, seed=2, cases=6, over=alone.several, tries=4)
    local = distributed.LocalCluster(n_workers=2, threads_per_worker=1, processes=False, dashboard_address=None)
    with (
        local,
        cluster(local.scheduler_address) as executor,
        Workers(run, 2, lambda _: None, executor) as workers,
    ):
        there = fuzz(workers.one, space, seed=2, cases=6, over=workers.several, tries=4)
    assert here.failures
    assert (there.failures, there.reached, there.kept) == (here.failures, here.reached, here.kept)


def test_the_command_saves_what_it_finds_and_shows_it_again(tmp_path: Path) -> None:
    plan, program, saved = tmp_path / "plan.yaml", tmp_path / "control.py", tmp_path / "failures"
    plan.write_text(HALL.source)
    program.write_text(RAISES)
    options = ["--fault", "late-reply", "--cases", "6", "--jobs", "1", "--for", "3s", "--save", str(saved), "--json"]
    done = CliRunner().invoke(app, ["fuzz", str(plan), "--asyncio", f"{program}:controller", "--tries", "4", *options])
    assert done.exit_code == 1, done.output
    assert STAYS_UP in {one["judge"] for one in json.loads(done.stdout)["failures"]}
    again = CliRunner().invoke(app, ["replay", str(saved / "stays-up.json")])
    assert (again.exit_code, again.stdout.startswith("stays-up: reproduced 1 of 1 run.")) == (1, True), again.output
    played = CliRunner().invoke(app, ["replay", str(saved / "stays-up.busim")])
    assert played.stdout.endswith("identical\n"), played.output
    program.write_text(NAIVE)
    mended = CliRunner().invoke(app, ["replay", str(saved / "stays-up.json")])
    assert (mended.exit_code, mended.stdout.startswith("stays-up: reproduced 0 of 1 run.")) == (0, True), mended.output
