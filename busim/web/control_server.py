"""The server of the control API: a free port of loopback beside a live session, on its event loop."""

from __future__ import annotations

import asyncio
import contextlib
import secrets
import socket
from collections.abc import AsyncIterator

import uvicorn

from busim.foundation.errors import UserError
from busim.web.control_api import Session, control_app
from busim.web.quiet import QuietServer

_MOST = 64  # requests at once; more are answered with 503


class ControlServer:
    """Binds a port at once, so `url` and `token` are known before the session begins; `serving` serves it. Raises
    UserError without a free port.
    """

    def __init__(self) -> None:
        self.token = secrets.token_urlsafe(24)
        try:
            self._socket = socket.create_server(("127.0.0.1", 0), backlog=128)
        except OSError as error:
            raise UserError("no port for the control API", found=error.strerror or str(error)) from None
        self.url = f"http://127.0.0.1:{self._socket.getsockname()[1]}"

    @property
    def about(self) -> dict[str, str]:
        """Its address and token, JSON-ready."""
        return {"url": self.url, "token": self.token}

    @property
    def variables(self) -> dict[str, str]:
        """The same as environment variables."""
        return {"BUSIM_CONTROL_URL": self.url, "BUSIM_CONTROL_TOKEN": self.token}

    def close(self) -> None:
        """Release the port."""
        self._socket.close()

    @contextlib.asynccontextmanager
    async def serving(self, session: Session) -> AsyncIterator[None]:
        """Serves it inside the context, on the running loop."""
        config = uvicorn.Config(
            control_app(session, self.token), log_config=None, access_log=False, lifespan="off", ws="none",
            limit_concurrency=_MOST, timeout_keep_alive=5, timeout_graceful_shutdown=1, server_header=False,
        )  # fmt: skip
        server = QuietServer(config)
        task = asyncio.ensure_future(server.serve(sockets=[self._socket]))
        try:
            yield
        finally:
            server.should_exit = True
            with contextlib.suppress(asyncio.CancelledError):
                await task
            self.close()
