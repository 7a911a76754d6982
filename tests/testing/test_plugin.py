"""The pytest plug-in: worlds from a plan, assertions with a timeline, fuzz tests; other plug-ins are undisturbed."""

from __future__ import annotations

import re
import subprocess
import sys

import pytest
from places import SCENARIOS
from typer.testing import CliRunner

from busim.cli.app import app
from busim.handbook import page
from busim.plan import starter
from busim.testing.fuzzing import load
from busim.testing.worlds import fuzzed

pytest_plugins = ["pytester"]

PLAN = str(SCENARIOS / "climbing-hall" / "plan.yaml")
CAREFUL = """
import asyncio
import pytest
from busim.testing import fuzz_test

PLAN = {plan!r}
ASKED = {{
    "boulder left": "010300000001840a", "boulder centre": "0203000000018439", "boulder right": "03030000000185e8",
}}


async def controller(hall, seconds=5):
    reader, writer = await asyncio.open_connection(*hall.addresses["boulder box"])
    failed, online = dict.fromkeys(ASKED, 0), {{}}
    while hall.now < seconds * 1_000_000_000:
        for camera, request in ASKED.items():
            request = bytes.fromhex(request)
            writer.write(request)
            try:
                async with asyncio.timeout(0.1):
                    held = b""
                    while True:
                        held += await reader.read(64)
                        at = held.find(request[:2] + b"\\x02")
                        if at >= 0 and len(held) >= at + 7:
                            break
            except TimeoutError:
                failed[camera] += 1
                if failed[camera] == 5 and online.get(camera, True):
                    online[camera] = False
                    hall.believe_offline(camera)
                await asyncio.sleep(0.2)  # what is late comes now
                reader._buffer.clear()
                continue
            failed[camera] = 0
            if not online.get(camera, False):
                online[camera] = True
                hall.believe_online(camera)
            hall.believe(camera, "iris", int.from_bytes(held[at + 3 : at + 5]))
            await asyncio.sleep(0.01)

"""


@pytest.fixture(autouse=True)
def ini(pytester: pytest.Pytester) -> None:
    assert fuzzed.fuzz_test  # loaded before the runs below, none of which could load numpy again in this process
    pytester.makeini("[pytest]\nasyncio_default_fixture_loop_scope = function\naddopts = -p no:schemathesis\n")


def _example(pytester: pytest.Pytester) -> str:
    """The test file of the handbook page, in a newcomer's folder."""
    (text,) = [
        block
        for block in re.findall(r"^```python\n(.*?)^```$", page("pytest"), re.MULTILINE | re.DOTALL)
        if "pytest" in block
    ]
    assert "$ busim new plan hall\n" in page("pytest")
    pytester.path.joinpath("hall.yaml").write_text(starter("hall"))
    return str(text)


def _careful(pytester: pytest.Pytester, tests: str) -> None:
    pytester.makepyfile(CAREFUL.format(plan=PLAN) + tests)


def test_the_newcomers_example_fails_with_a_sentence_and_a_timeline(pytester: pytest.Pytester) -> None:
    pytester.makepyfile(test_hall=_example(pytester))
    result = pytester.runpytest_inprocess("-k", "next_camera")
    result.assert_outcomes(failed=1)
    result.stdout.fnmatch_lines(
        [
            "*after late-reply no value of left camera is attributed to right camera",
            "*but iris of right camera = * is believed at * s:",
            "*left camera sent it as its iris at * s",
            "*!! left camera *late-reply: reply to read of 0 by 92 ms",
            "*<- left camera *reply of 11 to read 1 from 0: *",
            "*-> wall box *request to 12: read 1 from 0",
            "*> * == controller       iris of right camera is *",
        ]
    )


def test_the_newcomers_fuzz_test_is_shrunk_to_one_fault(pytester: pytest.Pytester) -> None:
    pytester.makepyfile(test_hall=_example(pytester))
    result = pytester.runpytest_inprocess("-k", "confuses", "--hypothesis-seed=1")
    result.assert_outcomes(failed=1)
    text = result.stdout.str()
    assert "the controller passes the judge attribution" in text
    saved = pytester.path / "fuzz-failures" / "test_a_late_reply_never_confuses_cameras.json"
    assert f"saved; again: busim replay {saved.relative_to(pytester.path)}" in text
    case = load(saved).case
    assert (len(case.faults), case.actions) == (1, ())
    again = CliRunner().invoke(app, ["replay", str(saved)])
    assert again.exit_code == 1, again.output
    assert again.stdout.startswith("test_a_late_reply_never_confuses_cameras: reproduced 1 of 1 run.")
    assert "late-reply" in again.stdout
    assert "request to 12: read 1 from 0" in again.stdout


def test_a_careful_controller_passes_the_same(pytester: pytest.Pytester) -> None:
    _careful(
        pytester,
        """
        LOOPS = []

        @pytest.mark.busim(PLAN)
        def test_late(busim_virtual):
            busim_virtual.fault("late-reply", "boulder centre", by="92 ms", share=0.2)
            busim_virtual.run(controller, busim_virtual)
            busim_virtual.assert_no_value_of("boulder centre", after="late-reply")
            busim_virtual.assert_judged("attribution", "one-outstanding", every=True)

        @fuzz_test(PLAN, faults=["late-reply", "lost-reply"], judges=["attribution"], cases=10)
        async def test_fuzzed(hall):
            LOOPS.append(asyncio.get_running_loop())
            await controller(hall)

        def test_each_example_had_a_loop_of_its_own():
            assert len(set(LOOPS)) == len(LOOPS) >= 10
            assert all(loop.is_closed() for loop in LOOPS)
        """.replace("\n        ", "\n"),
    )
    pytester.runpytest_inprocess().assert_outcomes(passed=3)


def test_a_camera_without_power_is_reported_offline_or_the_assertion_says_when(pytester: pytest.Pytester) -> None:
    _careful(
        pytester,
        """
        @pytest.fixture
        def dark(busim_virtual):
            async def then_dark(hall):
                running = asyncio.ensure_future(controller(hall))
                await asyncio.sleep(1)
                hall.do("power off boulder-right")
                await running
            busim_virtual.run(then_dark, busim_virtual)
            return busim_virtual

        @pytest.mark.busim(PLAN)
        def test_in_time(dark):
            dark.assert_reported_online("boulder right", within="2 s")
            dark.assert_reported_offline("boulder right", within="3 s")

        @pytest.mark.busim(PLAN)
        def test_too_late(dark):
            dark.assert_reported_offline("boulder right", within="100 ms")

        @pytest.mark.busim(PLAN)
        def test_never(dark):
            dark.assert_reported_offline("boulder left", within="100 ms")

        @pytest.mark.busim(PLAN)
        def test_too_short(dark):
            dark.assert_reported_offline("boulder left", within="60 s")
        """.replace("\n        ", "\n"),
    )
    result = pytester.runpytest_inprocess()
    result.assert_outcomes(passed=1, failed=3)
    result.stdout.fnmatch_lines(
        [
            "*boulder right is reported offline within 100 ms",
            "*but it is reported offline *.* s after 0.* s",
            "*## boulder right    no power",
            "*> * == controller       boulder right is offline",
            "*boulder left is reported offline within 100 ms",
            "*but from 4.* s to 5.* s the controller never said so",
            "*boulder left is reported offline within 60 s",
            "*but the run ended at 5.* s, before *: run it longer",
        ]
    )


def test_an_assertion_with_nothing_to_look_at_fails(pytester: pytest.Pytester) -> None:
    _careful(
        pytester,
        """
        @pytest.mark.busim(PLAN)
        def test_without_the_fault(busim_virtual):
            busim_virtual.run(controller, busim_virtual, 1)
            busim_virtual.assert_no_value_of("boulder centre", after="late-reply")

        @pytest.mark.busim(PLAN)
        def test_without_beliefs(busim_virtual):
            busim_virtual.assert_no_value_of("boulder centre", attributed_to="rope left")

        @pytest.mark.busim(PLAN)
        def test_another_failure(busim_virtual):
            busim_virtual.run(controller, busim_virtual, 1)
            assert busim_virtual.now < 0

        def test_without_a_plan(busim_virtual):
            pass

        @pytest.mark.busim("nowhere.yaml")
        def test_with_a_plan_that_is_not_there(busim_virtual):
            pass
        """.replace("\n        ", "\n"),
    )
    result = pytester.runpytest_inprocess()
    result.assert_outcomes(failed=3, errors=2)
    assert "reader.py" not in result.stdout.str(), "a missing plan needs no traceback"
    result.stdout.fnmatch_lines(
        [
            '*this test needs a plan: mark it with @pytest.mark.busim("plan.yaml")',
            "*nowhere.yaml: error [[]unreadable[]] the file cannot be read",
            "*but late-reply never took effect",
            "*but the controller told no value of rope left at all: no hook, or no poll",
            "*busim: the exchange*",
            "*== controller       iris of boulder right is *",
        ]
    )


def test_a_served_world_stands_beside_asyncio_anyio_and_xdist(pytester: pytest.Pytester) -> None:
    pytester.makepyfile(
        f"""
import asyncio, socket
import anyio, pytest

pytestmark = pytest.mark.busim({PLAN!r})
READ = bytes.fromhex("010300000001840a")


@pytest.fixture
def anyio_backend():
    return "asyncio"


def believed(world, reply):
    world.believe("boulder left", "iris", int.from_bytes(reply[3:5]))
    world.assert_no_value_of("boulder centre", attributed_to="boulder left")
    with pytest.raises(AssertionError, match="no value of boulder left is attributed to another camera"):
        world.believe("boulder centre", "iris", int.from_bytes(reply[3:5]))
        world.assert_no_value_of("boulder left")


def test_sockets(busim_served):
    with socket.create_connection(busim_served.addresses["boulder box"], timeout=5) as line:
        line.sendall(READ)
        believed(busim_served, line.recv(7, socket.MSG_WAITALL))


@pytest.mark.asyncio
async def test_asyncio(busim_served):
    reader, writer = await asyncio.open_connection(*busim_served.addresses["boulder box"])
    writer.write(READ)
    believed(busim_served, await asyncio.wait_for(reader.readexactly(7), 5))
    writer.close()


@pytest.mark.anyio
async def test_anyio(busim_served):
    async with await anyio.connect_tcp(*busim_served.addresses["boulder box"]) as stream:
        await stream.send(READ)
        with anyio.fail_after(5):
            reply = b""
            while len(reply) < 7:
                reply += await stream.receive()
        believed(busim_served, reply)


@pytest.mark.asyncio
async def test_virtual_time_within_a_loop_says_what_to_do(busim_virtual):
    with pytest.raises(Exception, match="virtual time cannot begin inside a running event loop"):
        busim_virtual.run(asyncio.sleep, 1)
"""
    )
    pytester.runpytest_subprocess("-n", "1").assert_outcomes(passed=4)
    pytester.runpytest_inprocess("-o", "asyncio_mode=auto", "-k", "sockets or test_asyncio").assert_outcomes(
        passed=2, deselected=2
    )


def test_the_plug_in_loads_nothing_until_a_test_asks_for_a_world() -> None:
    program = (
        "import sys, pytest; before = set(sys.modules); import busim.testing.pytest_plugin\n"
        "print(*sorted(set(sys.modules) - before))"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    loaded = {"busim", "busim.foundation", "busim.foundation.version", "busim.testing", "busim.testing.pytest_plugin"}
    assert set(done.stdout.split()) <= loaded
