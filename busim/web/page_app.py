"""The page as a Starlette application around one trace: its files, its data as JSON, and a socket that reports the
progress of the run.

Everything but the page's own files needs the token. The socket pushes no data: it reports that there is more, and the
page requests what it shows. So a browser that stops reading costs nothing, and the socket accepts one short message
only.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import re
from collections.abc import AsyncIterator, Awaitable, Callable
from concurrent.futures import ThreadPoolExecutor
from importlib.resources import files
from typing import Any

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route, WebSocketRoute
from starlette.types import ASGIApp
from starlette.websockets import WebSocket, WebSocketDisconnect

from busim.foundation.errors import BusimError, UserError
from busim.runtime.actions import ACTIONS
from busim.web.camera_picture import Look, look_bytes, look_of
from busim.web.control import Control
from busim.web.guard import Guard, bearer, same
from busim.web.views import MOST_WIDTH, Source

SCHEMA = 1
MOST_WATCHERS = 64  # sockets at once; more are refused
MOST_BYTES = 65536  # of one action
_COUNT = re.compile(r"\d{1,9}")
_EVERY = 0.25  # seconds between two checks of a growing trace
_PATIENCE = 5.0  # seconds for a socket's token, and for a browser to take a message
_MOST_NS = 400 * 86_400 * 10**9
_TYPES = {
    "html": "text/html; charset=utf-8", "css": "text/css; charset=utf-8", "js": "text/javascript; charset=utf-8",
    "svg": "image/svg+xml",
}  # fmt: skip

Answer = Callable[[Source, Request], Any]


def page_files() -> dict[str, tuple[str, bytes]]:
    """The files of the page: path to type and content."""
    found: dict[str, tuple[str, bytes]] = {}
    folder = files("busim.web") / "static"
    for entry in folder.iterdir():
        kind = _TYPES.get(entry.name.rpartition(".")[2])
        if kind is not None:
            path = "/" if entry.name == "page.html" else f"/static/{entry.name}"
            found[path] = kind, entry.read_bytes()
    return found


class Pages:
    """The application: `app`. `hosts`: the Host headers at which it is served."""

    def __init__(self, path: str, token: str, hosts: tuple[str, ...], control: Control | None = None) -> None:
        self.source = Source(path)
        self._control = control
        self._token = token
        self._worker = ThreadPoolExecutor(1, thread_name_prefix="trace")  # a trace belongs to one thread
        self._slow = ThreadPoolExecutor(1, thread_name_prefix="figures")
        self._drawn = ThreadPoolExecutor(1, thread_name_prefix="pictures")
        self._acts = ThreadPoolExecutor(2, thread_name_prefix="actions")
        self._watchers = 0
        self._files = page_files()
        self.app: ASGIApp = Guard(self._starlette(), hosts)

    def _starlette(self) -> Starlette:
        return Starlette(
            routes=[
                *(Route(path, self._file, methods=["GET"]) for path in self._files),
                Route(
                    "/api/about", self._told(lambda source, _: {**source.about(), "acts": self._control is not None})
                ),
                Route("/api/stations", self._told(_stations)),
                Route("/api/look", self._look),
                Route("/api/series", self._told(_series)),
                Route("/api/actions", self._acting, methods=["GET", "POST"]),
                Route("/api/picture", self._told(_picture)),
                Route("/api/overview", self._told(_overview)),
                Route("/api/burst", self._told(_burst)),
                Route("/api/jump", self._told(_jump)),
                Route("/api/figures", self._told(lambda source, _: source.figures(), slow=True)),
                WebSocketRoute("/api/live", self._live),
            ],
            exception_handlers={HTTPException: _refuse_http, Exception: _fail},
            lifespan=self._lifespan,
        )

    @contextlib.asynccontextmanager
    async def _lifespan(self, _: Starlette) -> AsyncIterator[None]:
        self._worker.submit(self.source.prepare)
        self._slow.submit(self.source.expected)  # the first curves need it, and no picture is to wait for it
        yield
        await asyncio.get_running_loop().run_in_executor(self._worker, self.source.close)
        self._worker.shutdown()
        self._slow.shutdown(cancel_futures=True)
        self._acts.shutdown(cancel_futures=True)
        self._drawn.shutdown(cancel_futures=True)

    async def _file(self, request: Request) -> Response:
        kind, content = self._files[request.url.path]
        return Response(content, media_type=kind)

    def _told(self, answer: Answer, *, slow: bool = False) -> Callable[[Request], Awaitable[Response]]:
        """An endpoint that returns the answer of a source, made outside the loop."""

        async def endpoint(request: Request) -> Response:
            if not same(bearer(request.headers), self._token):
                return refused(
                    401, "the token is wrong or missing", mend="open the page by the address that busim printed"
                )
            worker = self._slow if slow else self._worker
            try:
                said = await asyncio.get_running_loop().run_in_executor(worker, answer, self.source, request)
            except UserError as error:
                return refused(
                    400, error.what, field=error.field, found=error.found, expected=error.expected, mend=error.mend
                )
            return JSONResponse({"schema": SCHEMA, **said})

        return endpoint

    async def _look(self, request: Request) -> Response:
        """The picture of a camera and its instruments, as bytes; the sizes stand in a header, as JSON."""
        if not same(bearer(request.headers), self._token):
            return refused(401, "the token is wrong or missing", mend="open the page by the address that busim printed")
        loop = asyncio.get_running_loop()
        try:
            asked = await loop.run_in_executor(self._worker, _camera, self.source, request)
            sizes, data = await loop.run_in_executor(self._drawn, look_bytes, *asked)
        except UserError as error:
            return refused(400, error.what, field=error.field, found=error.found, expected=error.expected)
        return Response(data, media_type="application/octet-stream", headers={"x-busim-sizes": json.dumps(sizes)})

    async def _acting(self, request: Request) -> Response:
        """The list of actions, or one action of the session; returns the session's own words."""
        if not same(bearer(request.headers), self._token):
            return refused(401, "the token is wrong or missing", mend="open the page by the address that busim printed")
        if self._control is None:
            return refused(403, "this page only shows", mend="on a served plan, `--allow-actions` lets a page act")
        if request.method == "GET":
            method, path, body = "GET", "/faults", None
        else:
            method, path, body = "POST", "/actions", await _body(request)
            if body is None:
                return refused(413, "a request too long", expected=f"at most {MOST_BYTES} bytes")
        try:
            loop = asyncio.get_running_loop()
            status, said = await loop.run_in_executor(self._acts, self._control.ask, method, path, body)
        except OSError:
            return refused(502, "the session is gone", mend="serve the plan again")
        if status != 200 or method == "POST":
            return Response(said, status, media_type="application/json")
        return JSONResponse({"schema": SCHEMA, "actions": listed(), **json.loads(said)})

    # -- the socket -------------------------------------------------------------------------------------------

    async def _live(self, socket: WebSocket) -> None:
        if self._watchers >= MOST_WATCHERS:
            await socket.close(1013, "too many watch already")
            return
        self._watchers += 1
        try:
            await socket.accept()
            if await self._may_watch(socket):
                await self._tell(socket)
        except (TimeoutError, WebSocketDisconnect, RuntimeError, OSError):
            with contextlib.suppress(Exception):  # a client that does not read misses this message too
                await asyncio.wait_for(socket.close(1008), 1.0)
        finally:
            self._watchers -= 1

    async def _may_watch(self, socket: WebSocket) -> bool:
        """Its first message must be the token; any other ends the socket."""
        message = await asyncio.wait_for(socket.receive(), _PATIENCE)
        try:
            given = json.loads(message.get("text") or "null")
        except (ValueError, RecursionError):
            given = None
        if isinstance(given, dict) and same(given.get("token"), self._token):
            return True
        await socket.close(1008, "the token is wrong or missing")
        return False

    async def _tell(self, socket: WebSocket) -> None:
        """Report the progress of the run at each change, until the browser leaves or sends anything more."""
        gone = asyncio.ensure_future(socket.receive())
        loop = asyncio.get_running_loop()
        last: dict[str, Any] = {}
        try:
            while not gone.done():
                try:
                    now = await loop.run_in_executor(self._worker, self.source.now)
                except BusimError as error:
                    now = {"error": str(error)}
                if now != last:
                    await asyncio.wait_for(socket.send_json(now), _PATIENCE)
                    last = now
                await asyncio.wait([gone], timeout=None if now.get("complete") else _EVERY)
        finally:
            gone.cancel()
            with contextlib.suppress(Exception, asyncio.CancelledError):
                await gone


def listed() -> list[dict[str, Any]]:
    """Every action with its arguments. `asks`: harmful on a real line, so the page asks first."""
    return [
        {
            "name": one.name, "form": one.form, "what": one.what, "asks": one.name != "mark",
            "arguments": [
                {"name": each.name, "kind": each.kind, "what": each.what, "needed": each.needed, "words": each.words}
                for each in one.arguments
            ],
        }
        for one in ACTIONS.values()
    ]  # fmt: skip


async def _body(request: Request) -> bytes | None:
    """The whole body; None if it is too long."""
    data = bytearray()
    async for chunk in request.stream():
        data += chunk
        if len(data) > MOST_BYTES:
            return None
    return bytes(data)


def refused(status: int, what: str, **words: str | None) -> Response:
    """An answer that names the mistake."""
    error = {"what": what, **{name: text for name, text in words.items() if text is not None}}
    return JSONResponse({"schema": SCHEMA, "error": error}, status_code=status)


async def _refuse_http(_: Request, error: Exception) -> Response:
    status = error.status_code if isinstance(error, HTTPException) else 500
    return refused(status, "there is no such path")


async def _fail(_: Request, error: Exception) -> Response:
    return refused(500, f"a bug of busim: {type(error).__name__}", mend="report it with the trace")


def number(request: Request, name: str, low: int, high: int, default: int | None = None) -> int:
    """A whole number of the query. Raises UserError."""
    text = request.query_params.get(name)
    if text is None and default is not None:
        return default
    if text is None or not text.isascii() or not text.isdigit() or len(text) > 18 or not low <= int(text) <= high:
        raise UserError(
            "a whole number out of range", field=name, found=repr((text or "")[:40]), expected=f"{low} to {high}"
        )
    return int(text)


def _picture(source: Source, request: Request) -> dict[str, Any]:
    since = number(request, "since", 0, _MOST_NS)
    until = number(request, "until", 1, _MOST_NS)
    if until <= since:
        raise UserError("the picture ends before it begins", field="until", found=str(until), expected=f"above {since}")
    width = number(request, "width", 50, MOST_WIDTH, 1200)
    return source.picture(number(request, "line", 1, 10**6), since, until, width)


def _overview(source: Source, request: Request) -> dict[str, Any]:
    return source.overview(number(request, "line", 1, 10**6), number(request, "width", 50, MOST_WIDTH, 800))


def _burst(source: Source, request: Request) -> dict[str, Any]:
    line, driver = number(request, "line", 1, 10**6), number(request, "driver", 0, 10**6)
    return source.decoded(line, driver, number(request, "start", 0, _MOST_NS))


def _jump(source: Source, request: Request) -> dict[str, Any]:
    back = request.query_params.get("back", "0") == "1"
    what = request.query_params.get("what", "anything")
    return source.jump(number(request, "line", 1, 10**6), what, number(request, "at", 0, _MOST_NS), back=back)


def _stations(source: Source, request: Request) -> dict[str, Any]:
    return source.stations(number(request, "line", 1, 10**6), number(request, "at", 0, _MOST_NS))


def _series(source: Source, request: Request) -> dict[str, Any]:
    since, until = number(request, "since", 0, _MOST_NS), number(request, "until", 1, _MOST_NS)
    return source.series(number(request, "line", 1, 10**6), since, max(until, since + 1))


def _camera(source: Source, request: Request) -> tuple[Look, int, int, int]:
    """The look of a camera with the values that `set` tries (`iris=300,gain=6`); the size of the picture; the time."""
    at = number(request, "at", 0, _MOST_NS)
    parameters, counts = source.counts(number(request, "line", 1, 10**6), number(request, "camera", 1, 10**6), at)
    for part in filter(None, request.query_params.get("set", "")[:2000].split(",")):
        name, _, value = part.partition("=")
        if not _COUNT.fullmatch(value):
            raise UserError("no value to try", field="set", found=repr(part[:40]), expected="NAME=NUMBER,NAME=NUMBER")
        counts[name] = int(value)
    width = number(request, "width", 32, 960, 480)
    return look_of(parameters, counts), width, width * 9 // 16, at
