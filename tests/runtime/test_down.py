"""A box that is down refuses connections or does not answer them, as its plan says."""

from __future__ import annotations

import asyncio
import socket
from pathlib import Path

import pytest
from serving import Client, Served, wait_for, wall
from virtual_halls import BOX, hall

from busim.plan import change
from busim.runtime.session import Virtual

# -- virtual time -------------------------------------------------------------------------------------------


async def connect(at: float) -> tuple[str, float]:
    """The outcome of a connection that begins at this second, and its instant (s)."""
    loop = asyncio.get_running_loop()
    await asyncio.sleep(at - loop.time())
    try:
        _, writer = await asyncio.open_connection(*BOX)
    except OSError as error:
        return type(error).__name__, round(loop.time(), 6)
    writer.close()
    return "connected", round(loop.time(), 6)


@pytest.mark.parametrize(
    ("how", "down", "came"),
    [
        ("refuse", "8 s", ("ConnectionRefusedError", 11.01)),
        ("hang", "8 s", ("connected", 18.01)),  # repeated at 12, 14 and 18 s and 5 ms: RFC 6298 doubles the pause
        ("hang", "300 s", ("TimeoutError", 138.005)),  # 127 s later
    ],
)
def test_a_box_that_is_down_refuses_or_does_not_answer(how: str, down: str, came: tuple[str, float]) -> None:
    plan = change(
        hall(latency="5 ms"), {"converters[0].reboots": f"[{{at: 10 s, down: {down}}}]", "converters[0].when_down": how}
    )
    news: list[str] = []

    async def main() -> list[tuple[str, float]]:
        outcomes = await asyncio.gather(connect(1), connect(11))
        await asyncio.sleep(300)
        return outcomes

    assert Virtual(plan, news=news.append).run(main) == [("connected", 1.01), came]
    assert [text for text in news if "client" not in text] == ["wall box: reboots", "wall box: is back"]


def test_connecting_takes_the_way_there_and_back() -> None:
    assert Virtual(hall(latency="30 ms")).run(connect, 2.0) == ("connected", 2.06)


# -- wall time ----------------------------------------------------------------------------------------------


def outcome(address: tuple[str, int], patience: float) -> str:
    with socket.socket() as one:
        one.settimeout(patience)
        try:
            one.connect(address)
        except OSError as error:
            return type(error).__name__
        return "connected"


@pytest.mark.parametrize(("how", "came"), [("refuse", "ConnectionRefusedError"), ("hang", "TimeoutError")])
def test_so_it_is_in_wall_time_and_it_serves_again_afterwards(tmp_path: Path, how: str, came: str) -> None:
    text = wall().replace("clients: 3}", f"clients: 3, when_down: {how}, reboots: [{{at: 1 s, down: 4 s}}]}}")
    with Served(tmp_path, text) as served:
        wait_for(lambda: "wall box: reboots" in served.errors())
        assert outcome(served.address(), 1.0) == came
        wait_for(lambda: "wall box: is back" in served.errors())
        wait_for(lambda: outcome(served.address(), 5.0) == "connected")
        with Client(served.address()) as client:
            client.socket.getpeername()
        served.interrupt()
    assert "accept" not in served.errors()
