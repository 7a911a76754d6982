"""The control API: a Starlette application around one session, and its OpenAPI document.

Every action comes from the one list of actions, so a typed line and a request do the same and are recorded alike. No
request may harm the session: an unknown action gets the expected form as its answer, and requests beyond the allowed
rate are refused.
"""

from __future__ import annotations

import asyncio
import hmac
import json
import time
from collections.abc import Awaitable, Callable
from typing import Any, Protocol

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from busim.foundation.errors import UserError
from busim.foundation.version import VERSION
from busim.runtime.actions import ACTIONS, Action
from busim.simulator.faults import all_faults, all_presets
from busim.simulator.world import Switched

SCHEMA = 1
MOST_BYTES = 65536  # of one request
MOST_RATE = 500  # requests per second on average; more are answered with 429
PATIENCE = 0.25  # s until that answer: a client that floods a connection waits, and the session goes on
_BURST = 500

Endpoint = Callable[[Request], Awaitable[Response]]


class Session(Protocol):
    """The controlled session, of `busim.runtime.session`."""

    @property
    def now(self) -> int: ...

    @property
    def faults(self) -> tuple[Switched, ...]: ...

    def do(self, line: str) -> str: ...

    def act(self, action: str, /, **arguments: Any) -> str: ...


class _Bucket:
    """Lets `MOST_RATE` requests per second pass."""

    def __init__(self) -> None:
        self._left = float(_BURST)
        self._at = time.monotonic()

    def take(self) -> bool:
        now = time.monotonic()
        self._left = min(_BURST, self._left + (now - self._at) * MOST_RATE)
        self._at = now
        if self._left < 1:
            return False
        self._left -= 1
        return True


def control_app(session: Session, token: str) -> Starlette:
    """The application that controls one session for the owner of the token."""
    bucket = _Bucket()

    def guarded(endpoint: Endpoint) -> Endpoint:
        async def guard(request: Request) -> Response:
            if not bucket.take():
                await asyncio.sleep(PATIENCE)
                return _refused(
                    429, "too many requests", expected=f"at most {MOST_RATE} a second", mend="wait and repeat"
                )
            given = request.headers.get("authorization", "")
            if not hmac.compare_digest(given.encode(), f"Bearer {token}".encode()):
                return _refused(401, "the token is wrong or missing", expected="the header Authorization: Bearer TOKEN")
            return await endpoint(request)

        return guard

    async def act(request: Request) -> Response:
        body = await _body(request)
        if body is None:
            return _refused(413, "a request too long", expected=f"at most {MOST_BYTES} bytes")
        try:
            said = _done(session, body)
        except UserError as error:
            return _wrong(error)
        return JSONResponse({"schema": SCHEMA, "done": said, "at_ns": session.now})

    async def state(_: Request) -> Response:
        return JSONResponse({
            "schema": SCHEMA, "busim": VERSION, "now_ns": session.now,
            "faults": [
                {
                    "fault": one.fault.name, "at": one.at, "on": one.on, "count": one.count,
                    "first_ns": one.first_at, "last_ns": one.last_at, "values": dict(one.values or {}),
                }
                for one in session.faults
            ],
        })  # fmt: skip

    async def faults(_: Request) -> Response:
        presets = [
            {"name": one.name, "title": one.title, "on": one.on, "faults": [fault.name for fault, _ in one.faults]}
            for one in all_presets().values()
        ]
        declared = [fault.as_json() for fault in all_faults().values()]
        return JSONResponse({"schema": SCHEMA, "faults": declared, "presets": presets})

    async def document(_: Request) -> Response:
        return JSONResponse(openapi())

    return Starlette(
        routes=[
            Route("/openapi.json", document, methods=["GET"]),
            Route("/actions", guarded(act), methods=["POST"]),
            Route("/state", guarded(state), methods=["GET"]),
            Route("/faults", guarded(faults), methods=["GET"]),
        ],
        exception_handlers={HTTPException: _other},
    )


async def _other(_: Request, error: Exception) -> Response:
    status = error.status_code if isinstance(error, HTTPException) else 500
    return _refused(status, "there is no such path", expected="see /openapi.json")


async def _body(request: Request) -> bytes | None:
    """The whole body; None if it is too long."""
    data = bytearray()
    async for chunk in request.stream():
        data += chunk
        if len(data) > MOST_BYTES:
            return None
    return bytes(data)


def _done(session: Session, body: bytes) -> str:
    """Carry out a body. Raises UserError."""
    expected = '{"line": "power off NAME"} or {"action": "power", "arguments": {"camera": "NAME", "switch": "off"}}'
    try:
        given = json.loads(body, parse_constant=_no_number)
    except (ValueError, RecursionError):
        raise UserError("no JSON", expected=expected) from None
    if isinstance(given, dict) and given.keys() == {"line"} and isinstance(given["line"], str):
        return session.do(given["line"][:1000])
    if isinstance(given, dict) and "action" in given and given.keys() <= {"action", "arguments"}:
        action, arguments = given["action"], given.get("arguments", {})
        if isinstance(action, str) and isinstance(arguments, dict):
            return session.act(action, **arguments)
    raise UserError("no action", expected=expected, mend="see /openapi.json")


def _no_number(text: str) -> None:
    raise ValueError(f"{text} is no JSON")


def _refused(status: int, what: str, **words: str | None) -> Response:
    error = {"what": what, **{name: text for name, text in words.items() if text is not None}}
    return JSONResponse({"schema": SCHEMA, "error": error}, status_code=status)


def _wrong(error: UserError) -> Response:
    return _refused(
        400, error.what, field=error.field, found=error.found, expected=error.expected, mend=error.mend
    )  # fmt: skip


# -- the document ------------------------------------------------------------------------------------------------


def openapi() -> dict[str, Any]:
    """The OpenAPI 3.1 document."""
    answers = {
        "200": _answer("done", "#/components/schemas/Done"),
        **{
            status: _answer(text, "#/components/schemas/Refused")
            for status, text in (("400", "it cannot be done"), ("401", "wrong token"), ("413", "too long"),
                                 ("429", "too many"))
        },
    }  # fmt: skip
    bodies = [_line(), *map(_action, ACTIONS.values())]
    plain = {"200": {"description": "as JSON", "content": {"application/json": {"schema": {"type": "object"}}}}}
    plain["401"] = _answer("wrong token", "#/components/schemas/Refused")
    plain["429"] = _answer("too many", "#/components/schemas/Refused")
    return {
        "openapi": "3.1.0",
        "info": {
            "title": "busim control", "version": VERSION,
            "description": "What can be done to a running session. Each action is recorded and replayed.",
        },
        "security": [{"token": []}],
        "paths": {
            "/actions": {
                "post": {
                    "operationId": "act", "summary": "Do something to the session, now",
                    "requestBody": {
                        "required": True,
                        "content": {"application/json": {"schema": {"oneOf": bodies}}},
                    },
                    "responses": answers,
                }
            },
            "/state": {"get": {"operationId": "state", "summary": "The instant, and the faults that have been on",
                               "responses": plain}},
            "/faults": {"get": {"operationId": "faults", "summary": "Every fault and preset", "responses": plain}},
        },
        "components": {
            "securitySchemes": {"token": {"type": "http", "scheme": "bearer"}},
            "schemas": {
                "Done": {
                    "type": "object", "required": ["schema", "done", "at_ns"],
                    "properties": {"schema": {"const": SCHEMA}, "done": {"type": "string"},
                                   "at_ns": {"type": "integer"}},
                },
                "Refused": {
                    "type": "object", "required": ["schema", "error"],
                    "properties": {"schema": {"const": SCHEMA}, "error": {"type": "object", "required": ["what"]}},
                },
            },
        },
    }  # fmt: skip


def _answer(text: str, schema: str) -> dict[str, Any]:
    return {"description": text, "content": {"application/json": {"schema": {"$ref": schema}}}}


def _line() -> dict[str, Any]:
    return {
        "type": "object", "required": ["line"], "additionalProperties": False, "title": "a line",
        "properties": {"line": {"type": "string", "description": "as it is typed into `busim serve`"}},
    }  # fmt: skip


def _action(action: Action) -> dict[str, Any]:
    return {
        "type": "object", "title": action.name, "description": action.what, "required": ["action", "arguments"],
        "additionalProperties": False,
        "properties": {
            "action": {"const": action.name},
            "arguments": {
                "type": "object", "additionalProperties": False,
                "required": [argument.name for argument in action.arguments if argument.needed],
                "properties": {argument.name: argument.schema() for argument in action.arguments},
            },
        },
    }  # fmt: skip
