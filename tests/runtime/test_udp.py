"""Converters that speak UDP: in fast time, with real clients over real sockets, and in virtual time."""

from __future__ import annotations

import asyncio
import contextlib
import errno
import select
import socket
from collections.abc import Callable, Coroutine, Iterator
from pathlib import Path
from types import TracebackType
from typing import Any

import pytest
from policy_plans import FROM_ONE, FROM_TWO, MS, ONE, TWO, Lane, plan_of
from serving import WITHIN, Served, wait_for
from virtual_halls import in_loop

from busim.foundation.diagnostics import Findings
from busim.foundation.errors import UserError
from busim.plan import read_text
from busim.recording.trace import BURST, EFFECT, open_trace
from busim.runtime.bridge import addresses, bind_all
from busim.runtime.session import Virtual, replay

LAST_ASKER = "{most: 1, when_full: drop-oldest}"
UDP = "transport: udp"


class Peer:
    """A plain socket that sends and takes datagrams."""

    def __init__(self, to: tuple[str, int]) -> None:
        self.to = to
        self.socket = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self.socket.bind(("127.0.0.1", 0))

    def send(self, data: bytes) -> None:
        self.socket.sendto(data, self.to)

    def hear(self, patience: float = WITHIN) -> bytes:
        """The next datagram, or nothing."""
        if not select.select([self.socket], [], [], patience)[0]:
            return b""
        data, sender = self.socket.recvfrom(65536)
        assert sender == self.to
        return data

    def ask(self, request: bytes) -> bytes:
        self.send(request)
        return self.hear()

    def __enter__(self) -> Peer:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.socket.close()


@pytest.fixture
def serve(tmp_path: Path) -> Iterator[Callable[..., Served]]:
    running: list[Served] = []

    def start(clients: str = "4", more: str = "", turnaround: str = "2 ms") -> Served:
        running.append(Served(tmp_path, plan_of(clients, f"{UDP}\n    {more}", turnaround)))
        return running[0]

    yield start
    for served in running:
        served.__exit__(None, None, None)


def same_again(served: Served) -> None:
    served.interrupt()
    assert replay(served.trace).difference is None


# -- two real clients ------------------------------------------------------------------------------------------------


def test_two_clients_of_which_each_gets_every_reply(serve: Callable[..., Served]) -> None:
    served = serve()
    assert served.where["converters"]["box"]["transport"] == "udp"
    with Peer(served.address("box")) as one, Peer(served.address("box")) as two:
        assert one.ask(ONE) == FROM_ONE
        assert two.ask(TWO) == FROM_TWO == one.hear()
    same_again(served)


def test_two_clients_of_which_the_last_to_ask_gets_the_replies(serve: Callable[..., Served]) -> None:
    served = serve(LAST_ASKER)
    with Peer(served.address("box")) as one, Peer(served.address("box")) as two:
        assert one.ask(ONE) == FROM_ONE
        assert two.ask(TWO) == FROM_TWO
        assert one.hear(0.1) == b""
        assert one.ask(ONE) == FROM_ONE
        assert two.hear(0.1) == b""
    same_again(served)


def test_two_clients_whose_requests_are_arbitrated(serve: Callable[..., Served]) -> None:
    served = serve("{sharing: arbitrated}", turnaround="20 ms")
    with Peer(served.address("box")) as one, Peer(served.address("box")) as two:
        for _ in range(3):
            one.send(ONE)
            two.send(TWO)
        assert [one.hear() for _ in range(3)] == [FROM_ONE] * 3
        assert [two.hear() for _ in range(3)] == [FROM_TWO] * 3
        assert one.hear(0.1) == two.hear(0.1) == b""
    same_again(served)


@pytest.mark.parametrize("when_full", ["refuse", "accept-and-ignore"])
def test_one_client_too_many_is_not_heard_until_the_other_is_forgotten(
    serve: Callable[..., Served], when_full: str
) -> None:
    """UDP tells no peer that it is refused, so a refused client looks like an ignored one."""
    served = serve(f"{{most: 1, when_full: {when_full}, idle_close: 400 ms}}")
    with Peer(served.address("box")) as one, Peer(served.address("box")) as two:
        assert one.ask(ONE) == FROM_ONE
        two.send(TWO)
        assert two.hear(0.1) == b""
        wait_for(lambda: "client 1 forgotten" in served.errors())
        assert two.ask(TWO) == FROM_TWO
        assert one.hear(0.05) == b""
    assert served.errors().count("refused") == 1
    same_again(served)


def test_a_converter_that_has_its_controller_s_address_talks_to_that_alone(
    serve: Callable[..., Served],
) -> None:
    controller = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    controller.bind(("127.51.100.5", 0))
    controller.settimeout(WITHIN)
    served = serve('{greeting: "68 69"}', f"dials: 198.51.100.5:{controller.getsockname()[1]}")
    with Peer(served.address("box")) as other:
        data, box = controller.recvfrom(100)
        assert (data, box) == (b"hi", served.address("box"))
        other.send(TWO)
        controller.sendto(ONE, box)
        assert controller.recv(100) == FROM_ONE
        assert other.hear(0.1) == b""
    same_again(served)
    controller.close()


def test_a_flood_is_more_than_the_line_carries_and_the_rest_is_lost_and_told(serve: Callable[..., Served]) -> None:
    served = serve(more="packing: {idle: 1 ms}")
    with Peer(served.address("box")) as peer:
        for _ in range(4):
            peer.send(b"\x55" * 60_000)
        peer.send(b"")
        wait_for(lambda: "from 127.0.0.1" in served.errors())
        assert peer.hear(0.2) == b""
    same_again(served)
    with open_trace(served.trace) as trace:
        lost = [record for record in trace.records(EFFECT) if record[3] == "overrun"]
    assert len(lost) >= 2


def test_a_reboot_forgets_everybody_and_who_asks_again_is_served_again(serve: Callable[..., Served]) -> None:
    served = serve(more="reboots: [{at: 6 s, down: 300 ms}]")
    with Peer(served.address("box")) as one, Peer(served.address("box")) as two:
        assert one.ask(ONE) == FROM_ONE
        wait_for(lambda: "client 1 forgotten" in served.errors())
        two.send(TWO)
        assert two.hear(0.05) == b""

        def again() -> bool:
            two.send(TWO)
            return two.hear(0.2) == FROM_TWO

        wait_for(again)
    same_again(served)


@pytest.mark.parametrize("when_down", ["refuse", "hang"])
def test_while_the_box_is_down_its_port_is_unreachable_or_silent_as_the_plan_says(
    serve: Callable[..., Served], when_down: str
) -> None:
    """Linux tells a connected socket of ICMP's port unreachable by ECONNREFUSED (udp(7)). It stays down to the end."""
    served = serve(more=f"when_down: {when_down}\n    reboots: [{{at: 2 s, down: 1 h}}]")
    with Peer(served.address("box")) as one:
        one.socket.connect(served.address("box"))
        wait_for(lambda: "box: reboots" in served.errors())

        def refused() -> bool:
            try:
                one.socket.send(TWO)
                one.socket.recv(100, socket.MSG_DONTWAIT)
            except ConnectionRefusedError:
                return True
            except BlockingIOError:
                pass
            return False

        if when_down == "refuse":
            wait_for(refused)
        else:
            assert not any(refused() or one.hear(0.01) for _ in range(20))
    same_again(served)


@pytest.mark.parametrize("when_down", ["refuse", "hang"])
def test_a_box_that_was_down_is_asked_again_at_the_same_port(serve: Callable[..., Served], when_down: str) -> None:
    served = serve(more=f"when_down: {when_down}\n    reboots: [{{at: 2 s, down: 300 ms}}]")
    with Peer(served.address("box")) as one:
        one.socket.connect(served.address("box"))
        wait_for(lambda: "box: is back" in served.errors())
        assert "box: reboots" in served.errors()

        def again() -> bool:
            with contextlib.suppress(ConnectionRefusedError):
                one.socket.send(ONE)
                return one.hear(0.2) == FROM_ONE
            return False

        wait_for(again)
    same_again(served)


# -- in fast time ----------------------------------------------------------------------------------------------------


def test_a_box_keeps_8_kb_of_datagrams_for_the_line_and_loses_the_next_one() -> None:
    lane = Lane("4", UDP)
    lane.open(1)
    for _ in range(8):
        lane.box.chunk(1, b"\x55" * 1024)
    lane.box.chunk(1, b"\x55")
    lane.go(5_000)
    assert [record[4] for record in lane.records if record[0] == EFFECT and record[3] == "overrun"] == [
        "1 bytes lost: the line is too slow"
    ]
    assert sum(len(record[6]) for record in lane.records if record[0] == BURST) == 8192


def test_a_client_is_forgotten_by_its_own_silence_whatever_goes_to_it() -> None:
    lane = Lane("{idle_close: 10 s, idle_way: ignore}", UDP)
    lane.open(1)
    lane.open(2)
    for at in range(1, 15):
        lane.box.chunk(1, ONE)
        lane.go(1000 * at)
    assert lane.dropped == [(2, False)]
    assert "client 2 was idle: forgotten" in lane.effects()


def test_where_the_plan_does_not_say_a_peer_is_forgotten_after_a_minute() -> None:
    assert [
        read_text(plan_of(clients, more)).converters[0].clients.idle_close // 10**9
        for clients, more in (
            ("4", UDP), ("4", ""), ("{idle_close: 0}", UDP), ("4", f"{UDP}\n    dials: 198.51.100.5:4000"),
        )
    ] == [60, 0, 0, 0]  # fmt: skip


def test_com_port_control_needs_a_connection() -> None:
    with pytest.raises(Findings) as caught:
        read_text(plan_of("4", f"{UDP}\n    rfc2217: applies"))
    (finding,) = caught.value.findings
    assert finding.field == "converters[0]"
    assert "COM port control needs a connection" in finding.what


def test_an_address_in_use_is_told_with_how_to_find_who_has_it() -> None:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as taken:
        taken.bind(("127.51.100.44", 0))
        plan = read_text(plan_of("4", UDP).replace("15001", str(taken.getsockname()[1])))
        with pytest.raises(UserError, match="in use") as caught:
            bind_all(addresses(plan.converters), {"box"})
    assert "ss -lunp" in (caught.value.mend or "")
    assert "-iUDP:" in (caught.value.mend or "")


# -- in virtual time -------------------------------------------------------------------------------------------------


class Taker(asyncio.DatagramProtocol):
    """Keeps datagrams and errors."""

    def __init__(self) -> None:
        self.heard: asyncio.Queue[tuple[bytes, tuple[str, int]]] = asyncio.Queue()
        self.errors: list[type[Exception]] = []
        self.lost: asyncio.Future[None] = asyncio.get_running_loop().create_future()

    def datagram_received(self, data: bytes, addr: Any) -> None:
        self.heard.put_nowait((data, addr))

    def error_received(self, exc: Exception) -> None:
        self.errors.append(type(exc))

    def connection_lost(self, exc: Exception | None) -> None:
        self.lost.set_result(None)


async def taker(**addresses: Any) -> tuple[Any, Taker]:
    return await asyncio.get_running_loop().create_datagram_endpoint(Taker, **addresses)


def test_two_asyncio_programs_share_a_converter_in_virtual_time_and_are_replayed(tmp_path: Path) -> None:
    got: list[list[tuple[bytes, Any]]] = []

    async def main() -> None:
        planned, one = await taker(remote_addr=("198.51.100.44", 15001))
        served, two = await taker(local_addr=("0.0.0.0", 0))
        planned.sendto(ONE)
        await asyncio.sleep(0.1)
        served.sendto(TWO, ("127.51.100.44", 15001))
        await asyncio.sleep(0.1)
        got.extend([one.heard.get_nowait() for _ in range(each.heard.qsize())] for each in (one,))
        got.extend([two.heard.get_nowait() for _ in range(each.heard.qsize())] for each in (two,))
        await asyncio.sleep(65)  # both are forgotten
        planned.sendto(TWO)
        got.append([await one.heard.get()])
        served.close()
        await two.lost

    trace = tmp_path / "udp.trace"
    session = Virtual(read_text(plan_of("4", UDP)), trace=trace)
    session.run(main)
    here, there = ("198.51.100.44", 15001), ("127.51.100.44", 15001)
    assert got == [[(FROM_ONE, here), (FROM_TWO, here)], [(FROM_TWO, there)], [(FROM_TWO, here)]]
    assert replay(trace).difference is None


def test_a_controller_that_takes_datagrams_is_found_by_its_converter_in_virtual_time(tmp_path: Path) -> None:
    heard: list[tuple[bytes, Any]] = []

    async def main() -> None:
        transport, here = await taker(local_addr=("198.51.100.5", 4000))
        transport.sendto(ONE, ("198.51.100.44", 15001))
        heard.append(await here.heard.get())
        await asyncio.sleep(10)  # the box reboots meanwhile, and accepts its controller again by itself
        transport.sendto(TWO, ("198.51.100.44", 15001))
        heard.append(await here.heard.get())

    more = f"{UDP}\n    dials: 198.51.100.5:4000\n    reboots: [{{at: 2 s, down: 3 s}}]"
    Virtual(read_text(plan_of("4", more)), trace=tmp_path / "udp.trace").run(main)
    assert heard == [(FROM_ONE, ("198.51.100.44", 15001)), (FROM_TWO, ("198.51.100.44", 15001))]
    assert replay(tmp_path / "udp.trace").difference is None


def test_what_is_longer_than_a_frame_of_the_network_goes_in_several_datagrams() -> None:
    """1472 bytes: 1500 of an Ethernet frame (RFC 894) less the headers of IPv4 and UDP (RFC 791, RFC 768)."""
    sizes: list[int] = []

    async def main() -> None:
        one, here = await taker(remote_addr=("198.51.100.44", 15001))
        other, _ = await taker(remote_addr=("203.0.113.44", 15001))
        one.sendto(b"\x00")
        await asyncio.sleep(1)
        other.sendto(bytes(2000))
        while sum(sizes) < 2000:
            sizes.append(len((await here.heard.get())[0]))

    second = "  - {name: other box, endpoint: 203.0.113.44:15001, transport: udp}\ncameras:"
    text = plan_of("4", f"{UDP}\n    packing: {{idle: 100 ms}}").replace("cameras:", second, 1)
    Virtual(read_text(text.replace("{converter: box}", "{converter: box}, {converter: other box}"))).run(main)
    assert sizes == [1472, 528]


# -- datagrams in memory behave as on sockets ------------------------------------------------------------------------


async def two_talk() -> list[Any]:
    one, first = await taker(local_addr=("127.0.0.1", 0))
    other, second = await taker(remote_addr=one.get_extra_info("sockname"))
    other.sendto(b"question")
    data, sender = await first.heard.get()
    told = [data, sender == other.get_extra_info("sockname")]
    one.sendto(b"answer", sender)
    one.sendto(b"more", sender)
    told += [(await second.heard.get())[0], (await second.heard.get())[0]]
    one.close()
    other.abort()
    await first.lost
    await second.lost
    return [*told, one.is_closing(), other.is_closing()]


async def a_stranger_is_not_heard_by_who_is_tied_to_a_peer() -> list[Any]:
    one, _ = await taker(local_addr=("127.0.0.1", 0))
    tied, second = await taker(remote_addr=one.get_extra_info("sockname"))
    stranger, _ = await taker(local_addr=("127.0.0.1", 0))
    stranger.sendto(b"from a stranger", tied.get_extra_info("sockname"))
    one.sendto(b"from its peer", tied.get_extra_info("sockname"))
    data, _ = await second.heard.get()
    for each in (one, tied, stranger):
        each.close()
    return [data, second.heard.qsize()]


async def nobody_is_there() -> list[Any]:
    gone, _ = await taker(local_addr=("127.0.0.1", 0))
    where = gone.get_extra_info("sockname")
    gone.close()
    await asyncio.sleep(0.01)
    tied, of_tied = await taker(remote_addr=where)
    free, of_free = await taker(local_addr=("127.0.0.1", 0))
    tied.sendto(b"lost")
    free.sendto(b"lost", where)
    await asyncio.sleep(0.05)
    tied.close()
    free.close()
    return [of_tied.errors, of_free.errors]


async def what_cannot_be_sent_is_told() -> list[Any]:
    one, here = await taker(local_addr=("127.0.0.1", 0))
    tied, _ = await taker(remote_addr=one.get_extra_info("sockname"))
    one.sendto(bytes(65508), tied.get_extra_info("sockname"))  # one more than an IPv4 datagram carries
    told: list[Any] = []
    for what, to in ((b"x", ("127.0.0.1", 1)), ("text", None)):
        try:
            tied.sendto(what, to)
        except (TypeError, ValueError) as error:
            told.append(type(error))
    one.close()
    tied.close()
    one.sendto(b"late", ("127.0.0.1", 1))
    return [*told, here.errors]


async def who_names_nobody_is_at_an_end() -> list[Any]:
    asyncio.get_running_loop().set_exception_handler(lambda *_: None)
    one, here = await taker(local_addr=("127.0.0.1", 0))
    one.sendto(b"to nobody")
    await here.lost
    return [one.is_closing()]


async def an_address_is_in_use() -> list[Any]:
    one, _ = await taker(local_addr=("127.0.0.1", 0))
    try:
        await taker(local_addr=one.get_extra_info("sockname"))
    except OSError as error:
        found: Any = error.errno
    one.close()
    return [found, found == errno.EADDRINUSE]


async def neither_end_is_named() -> list[Any]:
    try:
        await taker()
    except ValueError as error:
        return [str(error)]
    return []


STORIES: list[Callable[[], Coroutine[Any, Any, list[Any]]]] = [
    two_talk, a_stranger_is_not_heard_by_who_is_tied_to_a_peer, nobody_is_there, what_cannot_be_sent_is_told,
    who_names_nobody_is_at_an_end, an_address_is_in_use, neither_end_is_named,
]  # fmt: skip


@pytest.mark.parametrize("story", STORIES, ids=lambda story: story.__name__)
def test_a_story_is_the_same_in_memory_and_on_sockets(story: Callable[[], Coroutine[Any, Any, list[Any]]]) -> None:
    on_sockets = asyncio.run(asyncio.wait_for(story(), 20))
    assert on_sockets  # it came to its end
    assert in_loop(story) == on_sockets


def test_a_datagram_goes_to_the_line_as_it_came() -> None:
    lane = Lane("4", UDP)
    lane.open(1)
    lane.box.chunk(1, b"\x01\x02")
    lane.box.chunk(1, b"")
    lane.go(100 * MS // MS)
    assert [record[6] for record in lane.records if record[0] == BURST] == [b"\x01\x02"]
