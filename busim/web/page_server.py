"""The server of the page: a port of loopback, or of another address on request."""

from __future__ import annotations

import contextlib
import ipaddress
import secrets
import socket

import uvicorn

from busim.foundation.errors import UserError
from busim.web.control import Control
from busim.web.page_app import Pages
from busim.web.quiet import QuietServer

_FILES = 4096  # descriptors: a thousand connections, and room for the page

LOOPBACK = "127.0.0.1"


class PageServer:
    """Binds its port at once, so `address` is known; `serve` serves until `stop`.

    `listen`: an IPv4 address of this machine; `port` 0: of the system's choice. `control`: the session's control API,
    for actions; None: the page only shows. `token`: None for a new one.
    Raises UserError if the port cannot be had, or the trace cannot be read.
    """

    def __init__(
        self,
        path: str,
        *,
        listen: str = LOOPBACK,
        port: int = 0,
        control: Control | None = None,
        token: str | None = None,
    ) -> None:
        self._token = token or secrets.token_urlsafe(24)
        try:
            ipaddress.IPv4Address(listen)
            self._socket = socket.create_server((listen, port), backlog=512)
        except (OSError, ValueError) as error:
            reason = getattr(error, "strerror", None) or str(error)
            raise UserError(
                "the page cannot be served there", found=f"{listen}:{port} ({reason})",
                expected="an IPv4 address of this machine and a free port",
                mend="leave out --port, or name another one",
            ) from None  # fmt: skip
        host, bound = self._socket.getsockname()[:2]
        names = (host, "localhost") if host.startswith("127.") else (host,)
        try:
            self._pages = Pages(path, self._token, tuple(f"{name}:{bound}" for name in names), control)
        except BaseException:
            self._socket.close()
            raise
        self.address = f"http://{host}:{bound}/#{self._token}"
        config = uvicorn.Config(
            self._pages.app, log_config=None, access_log=False, lifespan="on", ws="websockets-sansio",
            ws_max_size=4096, ws_ping_interval=20.0, ws_ping_timeout=20.0, timeout_keep_alive=10,
            timeout_graceful_shutdown=1, server_header=False, h11_max_incomplete_event_size=16384,
        )  # fmt: skip
        self._server = QuietServer(config)

    @property
    def token(self) -> str:
        """The token that a request must have."""
        return self._token

    async def serve(self) -> None:
        """Serve until `stop`."""
        _more_files()
        try:
            await self._server.serve(sockets=[self._socket])
        finally:
            self._socket.close()

    def stop(self) -> None:
        """Let `serve` end."""
        self._server.should_exit = True


def _more_files() -> None:
    """Raise the limit of descriptors: a process can have as many connections as descriptors, and
    1024 are soon used up.
    """
    with contextlib.suppress(ImportError, ValueError, OSError):
        import resource

        soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
        wanted = _FILES if hard == resource.RLIM_INFINITY else min(_FILES, hard)
        if soft != resource.RLIM_INFINITY and soft < wanted:
            resource.setrlimit(resource.RLIMIT_NOFILE, (wanted, hard))
