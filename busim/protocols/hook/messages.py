"""The messages of the hook, and their lines.

A line is one JSON object with the version of this form, so a program in any language can read it with its standard
library, and a shell with a pattern. Unknown keys are ignored: a program may say more than busim needs. Known keys are
checked to the type, since a misread value would silently falsify a figure.
"""

from __future__ import annotations

import json
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Any, NamedTuple, NoReturn

from busim.foundation.errors import UserError
from busim.foundation.yaml_source import suggestion

VERSION = 1
VALUE, ONLINE, OFFLINE, DIAGNOSIS = BELIEFS = ("value", "online", "offline", "diagnosis")
_LONGEST_TEXT = 200
_LARGEST = 2**63 - 1  # the range of a trace

Known = Mapping[str, Collection[str]]  # name of a camera -> its parameters


@dataclass(frozen=True, slots=True)
class Intent:
    """An operator wants `parameter` of `camera` to be `value`, an integer as carried on the wire.

    `at`: simulated ns; `panel`: the panel of the move, "" if a test or program made it. `step`: a change by `value`
    steps instead.
    """

    at: int
    camera: str
    parameter: str
    value: int
    panel: str = ""
    step: bool = False


class Belief(NamedTuple):
    """A belief of a controller. `kind`: value, online, offline or diagnosis.

    `camera` is "" only in a diagnosis of no single camera; `parameter` and `value` (as carried on the wire) belong to a
    value, `text` to a diagnosis.
    """

    kind: str
    camera: str
    parameter: str = ""
    value: int = 0
    text: str = ""


def intent_line(intent: Intent) -> bytes:
    """The line that a controller reads, with its line feed."""
    message: dict[str, Any] = {
        "v": VERSION, "intent": "step" if intent.step else "set", "at": intent.at, "camera": intent.camera,
        "parameter": intent.parameter, "value": intent.value,
    }  # fmt: skip
    if intent.panel:
        message["panel"] = intent.panel
    return json.dumps(message).encode() + b"\n"


def read_belief(line: bytes, known: Known) -> Belief:
    """The belief in a line. Raises UserError for any other bytes."""
    message = _object(line)
    version = message.get("v")
    if type(version) is not int or version != VERSION:
        _refuse("not a version of the hook that is known here", message, "v", str(VERSION))
    kind = message.get("belief")
    if not isinstance(kind, str) or kind not in BELIEFS:
        _refuse("no such belief", message, "belief", "one of " + ", ".join(BELIEFS))
    if kind == DIAGNOSIS:
        camera = _text(message, "camera", "a camera of the plan, or no such key") if "camera" in message else ""
        belief = Belief(kind, camera, text=_text(message, "text", "a text"))
    elif kind == VALUE:
        value = message.get("value")
        if type(value) is not int:
            _refuse("no value", message, "value", "an integer, as carried on the wire")
        camera, parameter = _text(message, "camera", "a camera"), _text(message, "parameter", "a parameter")
        belief = Belief(kind, camera, parameter, value)
    else:
        belief = Belief(kind, _text(message, "camera", "a camera of the plan"))
    return checked(belief, known)


def checked(belief: Belief, known: Known) -> Belief:
    """The belief, its text cut to 200 printable characters. Raises UserError for unknown names."""
    if belief.kind not in BELIEFS:
        _refuse("no such belief", {"belief": belief.kind}, "belief", "one of " + ", ".join(BELIEFS))
    parameters = known.get(belief.camera)
    if parameters is None and not (belief.kind == DIAGNOSIS and not belief.camera):
        _unknown("the plan has no camera of this name", "camera", belief.camera, known)
    if belief.kind == VALUE and parameters is not None:
        if belief.parameter not in parameters:
            _unknown("this camera has no such parameter", "parameter", belief.parameter, parameters)
        if type(belief.value) is not int or not -_LARGEST <= belief.value <= _LARGEST:
            _refuse("a value out of range", {"value": belief.value}, "value", "an integer of 64 bits")
    text = "".join(char if char.isprintable() else "?" for char in belief.text[:_LONGEST_TEXT])
    return Belief(belief.kind, belief.camera, belief.parameter, belief.value, text)


def _object(line: bytes) -> dict[str, Any]:
    try:
        message = json.loads(line.decode())
    except (ValueError, RecursionError):  # not UTF-8, not JSON, endless digits, endless nesting
        message = None
    if not isinstance(message, dict):
        raise UserError(
            "not a line of the hook",
            found=repr(line[:60].decode(errors="replace")),
            expected="one JSON object",
            mend="write beliefs alone to standard output, and everything else to standard error",
        )
    return message


def _text(message: dict[str, Any], key: str, expected: str) -> str:
    text = message.get(key)
    if not isinstance(text, str) or not text:
        _refuse(f"no {key}", message, key, expected)
    return text


def _refuse(what: str, message: Mapping[str, Any], key: str, expected: str) -> NoReturn:
    found = ascii(message[key])[:60] if key in message else "nothing"
    raise UserError(what, field=key, found=found, expected=expected, mend="`busim explain hook` has the form of a line")


def _unknown(what: str, key: str, name: str, known: Collection[str]) -> NoReturn:
    raise UserError(
        what, field=key, found=ascii(name[:60]), expected="one of " + ", ".join(list(known)[:12]),
        mend=suggestion(name, known, "write it as in the plan"),
    )  # fmt: skip
