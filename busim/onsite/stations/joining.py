"""Bytes between a real port and a served converter, until told to stop; a port that vanishes is awaited.

The session records what comes through the converter, so it replays without the port. While the port is away its
connection is closed: the emulated line goes on, and bytes for the port are lost, as on site.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import signal
import socket
import sys
import threading
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager

from busim.foundation.errors import UserError
from busim.onsite.stations.real_ports import RealPort
from busim.onsite.targets import Link, open_target
from busim.runtime.bridge import Address

_AGAIN = 0.2  # seconds between two attempts to open a port that is away
_MOST = 4096


def join(
    opened: Callable[[], Link], address: tuple[str, int], stop: threading.Event, news: Callable[[str], None]
) -> None:
    """Carry bytes until `stop` is set or the session ends. `opened` opens the port; `news` gets what happens to it."""
    away = ""
    while not stop.is_set():
        try:
            link = opened()
        except UserError as error:
            if not away:
                news(f"waiting: {error}")
            away = str(error)
            stop.wait(_AGAIN)
            continue
        with link:
            news(f"{link.name} is {'back' if away else 'joined'}")
            for note in link.notes:
                news(note)
            try:
                with socket.create_connection(address) as connection:
                    connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
                    ended = _Carrying(link, connection, stop).run()
            except OSError:
                return  # the session is over
        if ended is None:
            return
        away = str(ended)
        news(f"gone: {away}")


class _Carrying:
    """One connection between a port and a converter."""

    def __init__(self, link: Link, connection: socket.socket, stop: threading.Event) -> None:
        self._link, self._connection, self._stop = link, connection, stop
        self._over = threading.Event()
        self._error: UserError | None = None

    def run(self) -> UserError | None:
        """Carry both ways until one side ends: the port's error, or None if the session or the user ended it."""
        down = threading.Thread(target=self._to_port, daemon=True)
        down.start()
        try:
            while not self._stop.is_set() and not self._over.is_set():
                packet = self._link.take()
                if packet is not None:
                    self._connection.sendall(packet.data)
        except UserError as error:
            self._error = error
        except OSError:
            pass
        with contextlib.suppress(OSError):
            self._connection.shutdown(socket.SHUT_RDWR)
        down.join()
        return self._error

    def _to_port(self) -> None:
        try:
            while data := self._connection.recv(_MOST):
                self._link.send(data)
        except UserError as error:
            self._error = error
        except OSError:
            pass
        self._over.set()


@contextmanager
def joined(ports: Sequence[RealPort], addresses: Mapping[str, Address], *, direction: str) -> Iterator[None]:
    """Each real port joined to its converter, in a process of its own, so that the session's clock keeps its pace."""
    spawned = multiprocessing.get_context("spawn")
    processes = [
        spawned.Process(
            target=_process,
            args=(port, (addresses[port.converter].host, addresses[port.converter].port), direction),
            daemon=True,
        )
        for port in ports
    ]
    for process in processes:
        process.start()
    try:
        yield
    finally:
        for process in processes:
            process.terminate()
        for process in processes:
            process.join()


def _process(port: RealPort, address: tuple[str, int], direction: str) -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C ends the session, and that ends this

    def news(text: str) -> None:
        sys.stderr.write(f"{port.converter}: {text}\n")
        sys.stderr.flush()

    join(
        lambda: open_target(port.target, port.baud, port.format, direction=direction), address, threading.Event(), news
    )
