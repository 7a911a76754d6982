"""Connections in memory behave like asyncio's on real sockets: each scenario runs on both and must read the same.

The other side of the comparison is the standard library's own loop over the loopback device.
"""

from __future__ import annotations

import asyncio
import errno
from collections.abc import Callable, Coroutine
from typing import Any

import pytest
from virtual_halls import in_loop

Story = Callable[[], Coroutine[Any, Any, list[Any]]]


class Teller(asyncio.Protocol):
    """Notes what happens to it, under a name. `keep` is what it answers an end of file with."""

    def __init__(self, name: str, log: list[Any], keep: bool = False) -> None:
        self.name, self.log, self.keep = name, log, keep
        self.heard = b""
        loop = asyncio.get_running_loop()
        self.made: asyncio.Future[asyncio.Transport] = loop.create_future()
        self.lost: asyncio.Future[None] = loop.create_future()
        self.ended: asyncio.Future[None] = loop.create_future()

    def connection_made(self, transport: Any) -> None:
        self.transport = transport
        self.log.append(f"{self.name} made")
        self.made.set_result(transport)

    def data_received(self, data: bytes) -> None:
        self.heard += data

    def eof_received(self) -> bool:
        self.log.append(f"{self.name} end of file after {len(self.heard)}")
        if not self.ended.done():
            self.ended.set_result(None)
        return self.keep

    def connection_lost(self, error: Exception | None) -> None:
        self.log.append(f"{self.name} lost {type(error).__name__}")
        self.lost.set_result(None)


async def pair(keep: bool = False) -> tuple[list[Any], Teller, Teller, asyncio.AbstractServer]:
    """A client and the end that serves it."""
    log: list[Any] = []
    loop = asyncio.get_running_loop()
    theirs = Teller("server", log, keep)
    server = await loop.create_server(lambda: theirs, "127.0.0.1", 0)
    _, client = await loop.create_connection(lambda: Teller("client", log, keep), *server.sockets[0].getsockname())
    await theirs.made
    log.sort()  # the system decides which end hears first of a new connection
    return log, client, theirs, server


async def the_client_closes() -> list[Any]:
    log, client, server, listening = await pair()
    client.transport.write(b"good")
    client.transport.writelines([b"b", b"ye"])
    client.transport.close()
    client.transport.write(b"too late")
    await server.lost
    await client.lost
    listening.close()
    await listening.wait_closed()
    return [sorted(log), server.heard, client.transport.is_closing(), server.transport.is_closing()]


async def the_server_closes() -> list[Any]:
    log, client, server, listening = await pair()
    server.transport.write(b"bye")
    server.transport.close()
    await client.lost
    await server.lost
    listening.close()
    return [sorted(log), client.heard]


async def one_half_closes() -> list[Any]:
    log, client, server, listening = await pair(keep=True)
    client.transport.write(b"question")
    client.transport.write_eof()
    await server.ended
    with pytest.raises(RuntimeError):
        client.transport.write(b"more")
    server.transport.write(b"answer")
    server.transport.close()
    await client.ended
    client.transport.close()
    await client.lost
    listening.close()
    return [log, server.heard, client.heard, client.transport.can_write_eof()]


async def the_client_aborts() -> list[Any]:
    log, client, server, listening = await pair()
    client.transport.abort()
    client.transport.abort()
    await server.lost
    await client.lost
    listening.close()
    return [sorted(log)]


async def somebody_closes_on_unread_bytes() -> list[Any]:
    log, client, server, listening = await pair()
    server.transport.pause_reading()
    client.transport.write(b"x" * 1000)
    await asyncio.sleep(0.05)  # the loopback device takes time; in memory the data are there
    server.transport.abort()
    await client.lost
    listening.close()
    return [sorted(log), server.transport.is_reading()]


async def somebody_writes_to_who_has_gone() -> list[Any]:
    log, client, server, listening = await pair(keep=True)
    server.transport.close()
    await client.ended
    for _ in range(5):
        client.transport.write(b"x" * 10)
        await asyncio.sleep(0.02)
    await client.lost
    listening.close()
    return [log[2:4], client.transport.is_closing()]


async def a_reader_is_slow() -> list[Any]:
    log, client, server, listening = await pair()
    pauses: list[str] = []
    client.pause_writing = lambda: pauses.append("pause")  # type: ignore[method-assign]
    client.resume_writing = lambda: pauses.append("resume")  # type: ignore[method-assign]
    server.transport.pause_reading()
    client.transport.set_write_buffer_limits(1000, 100)
    client.transport.write(bytes(30_000_000))  # more than two systems keep
    waiting = client.transport.get_write_buffer_size() > 1000
    client.transport.close()
    heard = len(server.heard)
    server.transport.resume_reading()
    await server.lost
    await client.lost
    listening.close()
    return [sorted(log), pauses, waiting, heard, len(server.heard), client.transport.get_write_buffer_limits()]


async def nobody_serves() -> list[Any]:
    loop = asyncio.get_running_loop()
    server = await loop.create_server(asyncio.Protocol, "127.0.0.1", 0)
    address = server.sockets[0].getsockname()
    server.close()
    await server.wait_closed()
    try:
        await loop.create_connection(asyncio.Protocol, *address)
    except ConnectionRefusedError as error:
        return [error.errno, server.is_serving(), server.sockets]
    return []


async def an_address_is_in_use() -> list[Any]:
    loop = asyncio.get_running_loop()
    async with await loop.create_server(asyncio.Protocol, "127.0.0.1", 0) as server:
        try:
            await loop.create_server(asyncio.Protocol, *server.sockets[0].getsockname())
        except OSError as error:
            return [error.errno == errno.EADDRINUSE, server.is_serving()]
    return []


async def a_server_does_not_serve_yet() -> list[Any]:
    async def hello(_: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writer.write(b"hello\n")
        await writer.drain()
        writer.close()
        await writer.wait_closed()

    server = await asyncio.start_server(hello, "127.0.0.1", 0, start_serving=False)
    before = server.is_serving()
    address = server.sockets[0].getsockname()
    serving = asyncio.create_task(server.serve_forever())
    await asyncio.sleep(0.01)
    reader, writer = await asyncio.open_connection(*address)
    line = await reader.readline()
    rest = await reader.read()
    writer.close()
    await writer.wait_closed()
    serving.cancel()
    with pytest.raises(asyncio.CancelledError):
        await serving
    return [before, line, rest, server.is_serving()]


async def who_is_there_is_told() -> list[Any]:
    _, client, server, listening = await pair()
    one, other = client.transport, server.transport
    told = [
        one.get_extra_info("peername") == other.get_extra_info("sockname"),
        one.get_extra_info("sockname") == other.get_extra_info("peername"),
        one.get_extra_info("peername")[0],
        one.get_extra_info("socket").getpeername() == one.get_extra_info("peername"),
        one.get_extra_info("sslcontext"),
        one.get_protocol() is client,
    ]
    one.close()
    await client.lost
    await server.lost
    listening.close()
    return told


async def a_protocol_fails() -> list[Any]:
    blamed: list[str] = []
    loop = asyncio.get_running_loop()
    loop.set_exception_handler(lambda _, what: blamed.append(type(what.get("exception")).__name__))
    log, client, server, listening = await pair()

    def fail(_: bytes) -> None:
        raise LookupError("its own")

    client.data_received = fail  # type: ignore[method-assign]
    server.transport.write(b"x")
    await client.lost
    await server.lost
    listening.close()
    return [sorted(log), blamed]


async def a_stream_is_read_line_by_line() -> list[Any]:
    async def echo(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        while line := await reader.readline():
            writer.write(line.upper())
            await writer.drain()
        writer.close()

    async with await asyncio.start_server(echo, "127.0.0.1", 0) as server:
        reader, writer = await asyncio.open_connection(*server.sockets[0].getsockname())
        heard = []
        for line in (b"left\n", b"right\n"):
            writer.write(line)
            heard.append(await reader.readline())
        writer.write_eof()
        heard.append(await reader.read())
        writer.close()
        await writer.wait_closed()
        return heard


STORIES: list[Story] = [
    the_client_closes, the_server_closes, one_half_closes, the_client_aborts, somebody_closes_on_unread_bytes,
    somebody_writes_to_who_has_gone, a_reader_is_slow, nobody_serves, an_address_is_in_use,
    a_server_does_not_serve_yet, who_is_there_is_told, a_protocol_fails, a_stream_is_read_line_by_line,
]  # fmt: skip


@pytest.mark.parametrize("story", STORIES, ids=lambda story: story.__name__)
def test_a_story_is_the_same_in_memory_and_on_sockets(story: Story) -> None:
    on_sockets = asyncio.run(asyncio.wait_for(story(), 20))
    assert on_sockets  # it came to its end
    assert in_loop(story) == on_sockets
