"""The form of a saved failure as text. People edit such files, so every place is checked before it is used."""

from __future__ import annotations

import json
import struct
from pathlib import Path
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from busim.foundation.errors import Defect, UserError
from busim.installation import resolve
from busim.plan import Plan
from busim.protocols import STEP, WRITE, BusProtocol, Request
from busim.testing.fuzzing.case import Action, Case

_DAY = 86_400 * 10**9  # ns: no case is longer
_Instant = Annotated[int, Field(ge=0, le=_DAY)]
_Length = Annotated[int, Field(ge=1, le=_DAY)]
_Number = Annotated[int, Field(ge=-(1 << 63), lt=1 << 63)]
_Fault = tuple[str, str, _Instant, _Length, list[tuple[str, str]]]
_Move = tuple[_Instant, str, str, _Number, bool]


class _Part(BaseModel):
    model_config = ConfigDict(strict=True, frozen=True)


class Tested(_Part):
    """What was tested, as `saving.Saved` says."""

    command: list[str] = []
    master: str = ""
    make: str = ""
    intents: bool = False
    function: tuple[str, str] | None = None
    test: tuple[str, str] | None = None


class SavedForm(_Part):
    """A saved failure, version 2. Other keys are for people."""

    busim: str
    judge: str
    why: str
    seed: _Number
    length: _Length
    faults: list[_Fault]
    actions: list[_Move]
    tested: Tested = Tested()
    plan: str
    path: str = Field(alias="plan-path")
    files: dict[str, str] = Field(alias="plan-files")


def read_form(path: Path, entry: dict[str, Any]) -> SavedForm:
    """The places of an entry. Raises UserError for one that is missing or holds something else."""
    try:
        return SavedForm.model_validate_json(json.dumps(entry))
    except ValidationError as error:
        wrong = error.errors(include_url=False)[0]
        place, missing = ".".join(str(one) for one in wrong["loc"]), wrong["type"] == "missing"
        raise UserError(
            f"a saved failure is damaged at `{place}`", file=str(path), field=place,
            found="nothing" if missing else json.dumps(wrong["input"])[:60],
            expected="a value" if missing else wrong["msg"].removeprefix("Input should be "),
            mend="mend this place, or run the campaign again",
        ) from None  # fmt: skip


def check_against_plan(path: Path, plan: Plan, case: Case, master: str) -> None:
    """Raises UserError for a move or a master (empty: any) that the plan does not have. Faults are checked by whoever
    builds the installation.
    """
    masters = [one.name for one in plan.masters if one.through]
    if master and master not in masters:
        raise _unknown(path, "tested.master", "master behind a converter", master, masters)
    lines = resolve(plan).lines
    known = {camera.name: camera.speaks.keys for line in lines for camera in line.cameras}
    protocols = {camera.name: line.speaks for line in lines for camera in line.cameras}
    for number, move in enumerate(case.actions):
        if move.camera not in known:
            raise _unknown(path, f"actions.{number}.1", "camera", move.camera, known)
        if move.control not in known[move.camera]:
            raise _unknown(path, f"actions.{number}.2", "control", move.control, known[move.camera])
        if not _sendable(protocols[move.camera], known[move.camera][move.control], move):
            raise UserError(
                "a move of this saved failure cannot be sent in the protocol of its line", file=str(path),
                field=f"actions.{number}.3", found=f"{'by' if move.step else 'to'} {move.value}",
                expected="a number that the protocol has room for; steps where it has them", mend="mend this move",
            )  # fmt: skip


def _sendable(protocol: BusProtocol, key: int, move: Action) -> bool:
    verb = STEP if move.step else WRITE
    try:
        return bool(protocol.encode_request(Request(protocol.addresses[0], verb, key, 1, (move.value,))))
    except (Defect, ValueError, OverflowError, struct.error):
        return False


def _unknown(path: Path, field: str, what: str, found: str, known: Any) -> UserError:
    return UserError(
        f"the plan of this saved failure has no such {what}", file=str(path), field=field, found=repr(found[:60]),
        expected=", ".join(known), mend="name one of these",
    )  # fmt: skip
