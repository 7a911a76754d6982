"""No program leaves virtual time unnoticed: real sockets, wall time, time that stands still, sets out of order."""

from __future__ import annotations

import asyncio
import socket
import subprocess
import sys
import textwrap
import threading
import time
import types
import warnings
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from places import TESTS
from virtual_halls import BOX, MS, hall, in_loop

import busim
from busim.foundation.errors import UserError
from busim.runtime.clocks import Refused, WallTime
from busim.runtime.session import Virtual, serial_world

# -- real sockets -------------------------------------------------------------------------------------------


def connect(address: tuple[str, int]) -> None:
    with socket.socket() as one:
        one.settimeout(5)
        one.connect(address)


def send_datagram(address: tuple[str, int]) -> None:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as one:
        one.sendto(b"?", address)


REACHING: dict[str, Callable[[tuple[str, int]], Any]] = {
    "socket.connect": connect,
    "create_connection": lambda address: socket.create_connection(address, timeout=5),
    "connect_ex": lambda address: socket.socket().connect_ex(address),
    "sendto": send_datagram,
    "getaddrinfo": lambda address: socket.getaddrinfo(*address),
    "gethostbyname": lambda address: socket.gethostbyname(address[0]),
}


@pytest.fixture
def real() -> tuple[str, int]:
    """A listener on the real network, at an address that the plan could use."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        yield server.getsockname()  # type: ignore[misc]


@pytest.mark.parametrize("way", REACHING)
@pytest.mark.filterwarnings("ignore::ResourceWarning")
def test_blocking_sockets_are_refused_by_name_inside_a_virtual_world(real: tuple[str, int], way: str) -> None:
    async def main() -> None:
        REACHING[way](real)

    with pytest.raises(Refused, match=r"virtual time has no (blocking sockets|name look-ups)"):
        Virtual(hall()).run(main)
    with serial_world(hall()), pytest.raises(Refused):
        REACHING[way](real)
    connect(real)  # outside the session nothing changed


def test_threads_started_from_a_virtual_world_are_refused_too_and_those_before_are_not(real: tuple[str, int]) -> None:
    said: dict[str, object] = {}
    go, done = threading.Event(), threading.Event()

    def reach(name: str) -> None:
        try:
            connect(real)
            said[name] = "connected"
        except Exception as error:
            said[name] = type(error)

    def before() -> None:
        go.wait(20)
        reach("before")
        done.set()

    def from_a_thread() -> None:
        reach("child")
        grandchild = threading.Thread(target=reach, args=("grandchild",))
        grandchild.start()
        grandchild.join()

    async def main() -> None:
        go.set()
        done.wait(20)
        thread = threading.Thread(target=from_a_thread)
        thread.start()
        thread.join()

    early = threading.Thread(target=before)
    early.start()
    Virtual(hall()).run(main)
    early.join()
    assert said == {"before": "connected", "child": Refused, "grandchild": Refused}


# -- time that stands still ---------------------------------------------------------------------------------


async def spin_on_nothing() -> None:
    while True:
        await asyncio.sleep(0)


async def spin_on_a_refused_port() -> None:
    while True:
        try:
            await asyncio.open_connection("198.51.100.99", 15001)
        except OSError:
            continue


@pytest.mark.parametrize("main", [spin_on_nothing, spin_on_a_refused_port])
def test_time_that_stands_still_is_an_error_that_names_the_task_that_spins(main: Callable[[], Any]) -> None:
    async def beside() -> None:
        waits = asyncio.create_task(asyncio.sleep(3600), name="waits")
        await asyncio.gather(asyncio.create_task(main(), name="spins"), waits)

    with pytest.raises(UserError, match="time stands still") as caught:
        Virtual(hall()).run(beside)
    assert "spins" in str(caught.value)
    assert main.__name__ in str(caught.value)
    assert f"{Path(__file__).name}:" in str(caught.value)
    assert "waits" not in str(caught.value)


def test_callbacks_that_call_themselves_again_are_named() -> None:
    async def main() -> None:
        def again() -> None:
            asyncio.get_running_loop().call_soon(again)

        again()
        await asyncio.sleep(1)

    with pytest.raises(UserError, match=r"time stands still.*callback .*again"):
        in_loop(main)


def test_many_turns_in_which_time_passes_are_no_spinning() -> None:
    async def main() -> None:
        for _ in range(1200):
            for _ in range(100):
                await asyncio.sleep(0)
            await asyncio.sleep(1e-6)

    in_loop(main)


# -- sets of tasks ------------------------------------------------------------------------------------------

SETS = """
import asyncio, sys
sys.path.insert(0, sys.argv[1])
junk = [object() for _ in range(int(sys.argv[2]))]  # moves what follows to other addresses
from virtual_halls import in_loop
said = []
async def wait(name):
    try:
        await asyncio.sleep(1)
    except asyncio.CancelledError:
        said.append(name)
        raise
async def main():
    loop = asyncio.get_running_loop()
    kept = []
    tasks = []
    for number in range(60):
        kept.append(bytearray(int(sys.argv[2]) * number % 977))
        tasks.append(asyncio.create_task(wait(number), name=f"t{number}"))
    futures = [loop.create_future() for _ in range(30)]
    for one in futures:
        loop.call_later(1, one.set_result, None)
    class Own(asyncio.Future):
        pass
    direct = [asyncio.Future() for _ in range(30)] + [asyncio.futures.Future() for _ in range(30)]
    direct += [Own() for _ in range(30)]
    for one in direct:
        loop.call_later(1, one.set_result, None)
    futures += direct
    gathered = [asyncio.gather(asyncio.sleep(1), asyncio.sleep(0.5)) for _ in range(20)]
    number = {one: place for place, one in enumerate([*tasks, *futures, *gathered])}
    done, _ = await asyncio.wait([*tasks, *futures, *gathered])
    said.extend(number[one] for one in done)
    try:
        async with asyncio.TaskGroup() as group:
            for number in range(60):
                group.create_task(wait(number))
            await asyncio.sleep(0)
            raise ValueError
    except* ValueError:
        pass
in_loop(main)
print(said)
"""


def test_sets_of_tasks_and_futures_iterate_in_the_same_order_in_every_process() -> None:
    said = {
        subprocess.run(
            [sys.executable, "-c", SETS, str(TESTS), str(junk)],
            check=True, capture_output=True, text=True, env={"PYTHONHASHSEED": str(junk)}, timeout=60,
        ).stdout
        for junk in (1, 13, 170, 2222)
    }  # fmt: skip
    assert len(said) == 1
    assert len(said.pop().split(",")) == 60 + 120 + 20 + 60


def test_futures_made_directly_are_asyncio_s_to_every_look_and_its_own_class_is_back_afterwards() -> None:
    own = asyncio.Future

    async def main() -> list[bool]:
        loop = asyncio.get_running_loop()
        made: asyncio.Future[int] = asyncio.Future()
        loop.call_later(1, made.set_result, 3)
        task = asyncio.create_task(asyncio.sleep(0, 4))
        return [
            isinstance(made, own), isinstance(made, asyncio.Future), asyncio.isfuture(made),
            isinstance(loop.create_future(), asyncio.Future), isinstance(task, asyncio.Future),
            issubclass(asyncio.Task, asyncio.Future), not isinstance(3, asyncio.Future),
            await made == 3, await task == 4, await asyncio.wait_for(asyncio.shield(made), 1) == 3,
        ]  # fmt: skip

    assert in_loop(main) == [True] * 10
    assert asyncio.Future is asyncio.futures.Future is own


# -- wall time ----------------------------------------------------------------------------------------------


def module(name: str, text: str) -> types.ModuleType:
    """A controller's module, as after its import."""
    made = types.ModuleType(name)
    made.__file__ = f"{name}.py"
    exec(compile(textwrap.dedent(text), f"{name}.py", "exec"), made.__dict__)
    sys.modules[name] = made
    return made


POLLING = """
    import time
    from time import monotonic as clock, sleep
    import asyncio

    async def main():
        began, named, day = time.monotonic(), clock(), time.time()
        await asyncio.sleep(600)
        sleep(0)
        return time.monotonic() - began, clock() - named, time.time() - day
"""


def test_each_module_that_looks_at_the_wall_clock_is_told_so_once_and_where() -> None:
    first, second = module("first_polling", POLLING), module("second_polling", POLLING)
    session = Virtual(hall())
    with warnings.catch_warnings(record=True) as every:
        warnings.simplefilter("always")
        with session:
            session.run(first.main)
            session.run(second.main)
            session.run(first.main)
    caught = [one for one in every if one.category is not ResourceWarning]  # that may come of another test's garbage
    told = [(one.filename, one.lineno, one.category) for one in caught]
    assert told == [("first_polling.py", 7, WallTime), ("second_polling.py", 7, WallTime)]
    assert "first_polling calls time.monotonic() in virtual time" in str(caught[0].message)
    assert time.monotonic.__class__ is len.__class__  # every patch is undone


def test_who_calls_it_by_a_name_of_its_own_is_told_too() -> None:
    lone = module("lone_sleeper", "from time import sleep as rest\nasync def main():\n    rest(0)\n")
    with pytest.warns(WallTime, match=r"lone_sleeper calls time\.sleep\(\)"):
        Virtual(hall()).run(lone.main)
    assert isinstance(lone.rest, types.BuiltinFunctionType)  # the original is restored


@pytest.mark.parametrize("stand_in", [("time",), ("stood_polling",)])
@pytest.mark.filterwarnings("error::busim.runtime.clocks.WallTime")
def test_a_stand_in_gives_modules_simulated_time(stand_in: tuple[str, ...]) -> None:
    stood = module("stood_polling", POLLING)
    assert Virtual(hall(), stand_in=stand_in).run(stood.main) == (600.0, 600.0, 600.0)


def test_a_stand_in_s_sleep_lets_simulated_time_pass_and_the_line_go_on() -> None:
    blocking = module(
        "blocking_sleeper",
        """
        import asyncio, time

        async def main(box):
            reader, writer = await asyncio.open_connection(*box)
            writer.write(bytes.fromhex("010300640001c5d5"))  # MODBUS: read holding register 100 of camera 1
            time.sleep(0.5)
            began = asyncio.get_running_loop().time()
            await reader.readexactly(7)
            return began, asyncio.get_running_loop().time()
        """,
    )
    began, ended = Virtual(hall(), stand_in=("time",)).run(blocking.main, BOX)
    assert began == ended
    assert 0.5 <= ended < 0.51


def test_a_stand_in_that_is_only_looked_at_does_not_hang() -> None:
    busy = module("busy_waiter", "import time\nasync def main():\n    while time.monotonic() < 5:\n        pass\n")
    with pytest.raises(UserError, match=r"only looks at the clock.*busy_waiter\.py:3"):
        Virtual(hall(), stand_in=("time",)).run(busy.main)


def test_a_sleep_beyond_the_end_of_a_session_ends_there() -> None:
    long = module("long_sleeper", "import time\nasync def main():\n    time.sleep(3600)\n")
    session = Virtual(hall(), stand_in=("time",), until=2000 * MS)
    with pytest.raises(UserError, match="had not ended after 2 simulated seconds"):
        session.run(long.main)
    assert session.now == 2000 * MS


def test_another_thread_keeps_wall_time_while_a_world_runs() -> None:
    started = time.monotonic()
    seen: list[float] = []
    go, done = threading.Event(), threading.Event()
    other = module("other_thread", "import time\ndef look():\n    return time.monotonic()\n")

    def before() -> None:
        go.wait(20)
        seen.append(other.look())
        done.set()

    async def main() -> None:
        go.set()
        done.wait(20)

    thread = threading.Thread(target=before)
    thread.start()
    Virtual(hall(), stand_in=("time",)).run(main)
    thread.join()
    assert started <= seen[0] < started + 60


def test_a_serial_world_has_stand_ins_too() -> None:
    blocking = module("serial_blocker", "import time\ndef rest():\n    time.sleep(2)\n    return time.time()\n")
    with busim.serial_world(hall(), stand_in=("serial_blocker",)) as world:
        assert blocking.rest() == 2.0
        assert world.now == 2000 * MS
