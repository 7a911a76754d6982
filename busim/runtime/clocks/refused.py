"""Features that a loop in virtual time lacks, refused by name with the alternative.

Real sockets, threads and look-ups take wall time, which a jumping clock cannot follow: their answers would come at
another simulated instant in every run. So they are refused at the call, and do not hang.
"""

from __future__ import annotations

from typing import Any, NoReturn

from busim.foundation.errors import UserError

_SOCKETS = "connect with loop.create_connection or asyncio.open_connection to an endpoint of the plan, or to a server "
_SOCKETS += "opened with asyncio.start_server in the same loop; for real sockets use wall time (busim.Live)"
_THREADS = "do the work in a coroutine, or use wall time (busim.Live)"
_PROCESSES = "start it outside and use wall time (busim.Live, `busim serve`)"
_SIGNALS = "leave signals to asyncio.Runner: Ctrl-C cancels the main task"
_STREAMS = "use TCP: connections to the plan's endpoints and asyncio.start_server work in memory"


class Refused(UserError, NotImplementedError):
    """A feature that virtual time lacks. As with loops of other systems, NotImplementedError catches it too."""


def refuse(what: str, mend: str = _SOCKETS) -> NoReturn:
    """Raise it."""
    raise Refused(f"virtual time has no {what}", mend=mend)


class Refusals:
    """The methods of a loop that are refused."""

    def add_reader(self, *_: Any) -> None:
        refuse("real sockets (loop.add_reader)")

    def remove_reader(self, *_: Any) -> bool:
        return False

    def add_writer(self, *_: Any) -> None:
        refuse("real sockets (loop.add_writer)")

    def remove_writer(self, *_: Any) -> bool:
        return False

    async def sock_recv(self, *_: Any) -> Any:
        refuse("real sockets (loop.sock_recv)")

    async def sock_recv_into(self, *_: Any) -> Any:
        refuse("real sockets (loop.sock_recv_into)")

    async def sock_recvfrom(self, *_: Any) -> Any:
        refuse("real sockets (loop.sock_recvfrom)")

    async def sock_recvfrom_into(self, *_: Any) -> Any:
        refuse("real sockets (loop.sock_recvfrom_into)")

    async def sock_sendall(self, *_: Any) -> Any:
        refuse("real sockets (loop.sock_sendall)")

    async def sock_sendto(self, *_: Any) -> Any:
        refuse("real sockets (loop.sock_sendto)")

    async def sock_connect(self, *_: Any) -> Any:
        refuse("real sockets (loop.sock_connect)")

    async def sock_accept(self, *_: Any) -> Any:
        refuse("real sockets (loop.sock_accept)")

    async def sock_sendfile(self, *_: Any, **__: Any) -> Any:
        refuse("real sockets (loop.sock_sendfile)")

    async def sendfile(self, *_: Any, **__: Any) -> Any:
        refuse("sendfile (loop.sendfile)", "read the file and write its bytes to the transport")

    async def start_tls(self, *_: Any, **__: Any) -> Any:
        refuse("TLS (loop.start_tls)", "connect without it: the line behind a converter is not encrypted either")

    async def connect_accepted_socket(self, *_: Any, **__: Any) -> Any:
        refuse("real sockets (loop.connect_accepted_socket)")

    async def create_unix_connection(self, *_: Any, **__: Any) -> Any:
        refuse("Unix sockets (loop.create_unix_connection)", _STREAMS)

    async def create_unix_server(self, *_: Any, **__: Any) -> Any:
        refuse("Unix sockets (loop.create_unix_server)", _STREAMS)

    async def connect_read_pipe(self, *_: Any) -> Any:
        refuse("pipes (loop.connect_read_pipe)", _STREAMS)

    async def connect_write_pipe(self, *_: Any) -> Any:
        refuse("pipes (loop.connect_write_pipe)", _STREAMS)

    async def subprocess_exec(self, *_: Any, **__: Any) -> Any:
        refuse("other processes (loop.subprocess_exec)", _PROCESSES)

    async def subprocess_shell(self, *_: Any, **__: Any) -> Any:
        refuse("other processes (loop.subprocess_shell)", _PROCESSES)

    def run_in_executor(self, *_: Any) -> Any:
        refuse("threads (loop.run_in_executor, asyncio.to_thread)", _THREADS)

    def set_default_executor(self, *_: Any) -> None:
        refuse("threads (loop.set_default_executor)", _THREADS)

    def add_signal_handler(self, *_: Any) -> None:
        refuse("signal handlers (loop.add_signal_handler)", _SIGNALS)

    def remove_signal_handler(self, *_: Any) -> bool:
        return False

    async def getnameinfo(self, *_: Any) -> Any:
        refuse("name look-ups (loop.getnameinfo)", "use addresses")
