"""The addresses of converters for a program: as JSON, as environment variables, and in the arguments of a command."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from typing import Any

from busim.foundation.errors import UserError
from busim.foundation.yaml_source import nearest

SCHEMA = 1
_PLACE = re.compile(r"(\{)?\{([^{}]+)\.(\w+)\}(?(1)\})")

_KEYS = ("host", "port", "pty")

Endpoints = Mapping[str, Mapping[str, Any]]  # converter -> host, port, pty, transport, dials, as far as it has them


def endpoints_json(endpoints: Endpoints, control: Mapping[str, str] | None = None) -> str:
    """`{"schema": 1, "converters": {"boulder box": {"host": "127.51.100.44", "port": 40001}}}`; `control`, if given, is
    the address of the control API.
    """
    return json.dumps({"schema": SCHEMA, "converters": endpoints, **({} if control is None else {"control": control})})


def variables(endpoints: Endpoints) -> tuple[dict[str, str], list[str]]:
    """Environment variables for all converters, and the names that got none, because another has the same variable.

    `BUSIM_ENDPOINTS` is the JSON; `boulder box` has `BUSIM_BOULDER_BOX_HOST`, `..._PORT` and, as a serial port,
    `..._PTY`: each run of characters other than A-Z and 0-9 becomes one underscore.
    """
    names: dict[str, list[str]] = {}
    for name in endpoints:
        names.setdefault(re.sub("[^A-Z0-9]+", "_", name.upper()).strip("_"), []).append(name)
    found = {"BUSIM_ENDPOINTS": endpoints_json(endpoints)}
    unnamed = []
    for short, alike in names.items():
        if len(alike) > 1 or not short:
            unnamed += alike
            continue
        for key in _KEYS:
            if key in endpoints[alike[0]]:
                found[f"BUSIM_{short}_{key.upper()}"] = str(endpoints[alike[0]][key])
    return found, unnamed


def fill(arguments: Sequence[str], endpoints: Endpoints) -> list[str]:
    """Replace `{boulder box.host}` and the like by hosts and ports; doubled braces `{{boulder box.host}}` stay as one
    pair.

    A name may have underscores for its spaces, so it needs no quotes. Other braces stay. Raises UserError for an
    unknown name, and for a `pty` if there is none.
    """
    known = {name.replace(" ", "_"): name for name in endpoints} | {name: name for name in endpoints}

    def value(match: re.Match[str]) -> str:
        double, name, key = match.groups()
        if name not in known and key not in _KEYS:
            return match[0]
        if double:
            return match[0][1:-1]
        if name not in known:
            meant = nearest(name, endpoints)
            raise UserError(
                "the plan has no converter of this name", field="command", found=match[0][:80],
                expected="one of " + ", ".join(endpoints),
                mend=f"did you mean {{{meant}.{key}}}?" if meant else "double braces that are to stay",
            )  # fmt: skip
        if key not in endpoints[known[name]]:
            raise UserError(
                f"converter {known[name]!r} has no {key[:40]}", field="command", found=match[0][:80],
                expected="one of " + ", ".join(endpoints[known[name]]),
                mend="serve it so: --pty FOLDER" if key == "pty" else f"write for example {{{name}.port}}",
            )  # fmt: skip
        return str(endpoints[known[name]][key])

    return [_PLACE.sub(value, argument) for argument in arguments]
