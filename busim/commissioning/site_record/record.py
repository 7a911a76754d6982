"""The record as lines of JSON: one entry a line, each on the disk before the next step, so a break loses at most one.

The last entry signs all before it by their SHA-256. That shows a slip, such as an edit or a lost line; whoever wants to
deceive can sign anew. Instants are UTC in ISO 8601.
"""

from __future__ import annotations

import hashlib
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, TypeAdapter, ValidationError

from busim.foundation.errors import UserError

SCHEMA = 1
_MARK = '{"kind":"begun","record":'  # identifies a file as a record
_Text = Annotated[str, Field(max_length=4000)]
_Name = Annotated[str, Field(max_length=300)]
_Id = Annotated[int, Field(ge=0, le=2**31)]


class _Entry(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)


class Begun(_Entry):
    """The head. `digest`: of the plan, as `busim sheet` prints it; `script`: --yes, so nobody confirmed anything."""

    kind: Literal["begun"] = "begun"
    record: Literal[1] = 1
    plan: _Name
    digest: _Name
    line: _Name
    target: _Name
    who: _Name
    at: _Name
    script: bool = False
    version: _Name = ""


class StepEntry(_Entry):
    """A step. `number`: from 1; `what`: as an instruction; `outcome`: ok, failed or skipped; `seen`: what was received.

    `why`, `mend`: of a failure; `asked`: each question to the person, with the answer; `bus_id`: where its camera
    answers after it, None: the step has none; `by_hand`: its ID is set by switches.
    """

    kind: Literal["step"] = "step"
    number: Annotated[int, Field(ge=1, le=10**6)]
    do: _Name
    camera: _Name = ""
    what: _Text
    outcome: Annotated[str, Field(pattern="^(ok|failed|skipped)$")]
    seen: _Text = ""
    why: _Text = ""
    mend: _Text = ""
    asked: Annotated[tuple[tuple[_Text, _Name], ...], Field(max_length=10_000, strict=False)] = ()
    bus_id: _Id | None = None
    by_hand: bool = False
    who: _Name
    at: _Name


class Note(_Entry):
    """Something between the steps: interrupted, stopped by an error, or begun again."""

    kind: Literal["note"] = "note"
    text: _Text
    who: _Name
    at: _Name


class Signed(_Entry):
    """The signature. `sha256`: of all lines before it."""

    kind: Literal["signed"] = "signed"
    who: _Name
    at: _Name
    text: _Text = ""
    sha256: _Name


Entry = Annotated[Begun | StepEntry | Note | Signed, Field(discriminator="kind")]
_READ: TypeAdapter[Begun | StepEntry | Note | Signed] = TypeAdapter(Entry)


class SiteRecord:
    """A record. `steps`: every try in order; `notes`; `signed`: None unless the signature is the last entry; `sound`:
    the signed lines are as they were signed; `whole`: bytes up to the last whole line, which a break may have cut.
    """

    def __init__(self, begun: Begun) -> None:
        self.begun = begun
        self.steps: list[StepEntry] = []
        self.notes: list[Note] = []
        self.signed: Signed | None = None
        self.sound = True
        self.whole = 0

    @property
    def latest(self) -> dict[int, StepEntry]:
        """The last try of each step, by its number."""
        return {one.number: one for one in self.steps}


def as_line(entry: Begun | StepEntry | Note | Signed) -> str:
    """An entry as a line of the file."""
    return entry.model_dump_json() + "\n"


def seal(text: str) -> str:
    """What a signature says of the lines before it."""
    return hashlib.sha256(text.encode()).hexdigest()


def is_record(text: str) -> bool:
    """Whether a file that begins with this text is a record."""
    return text.startswith(_MARK)


def read_record(text: str, name: str) -> SiteRecord:
    """The record in `text`, from a file `name`. Raises UserError with the line that is wrong.

    A last line without its end, as a power cut leaves it, is passed over.
    """
    if not is_record(text):
        raise UserError(
            "this is no record of a commissioning", file=name, line=1, found=repr(text[:40]),
            expected="a file of busim rehearse --port --record", mend="name another file",
        )  # fmt: skip
    record: SiteRecord | None = None
    before = 0
    for number, line in enumerate(text.split("\n")[:-1], 1):
        entry = _entry(line, number, name)
        if isinstance(entry, Begun) is (record is not None):
            raise _wrong(name, number, line, "the head once, in the first line")
        if isinstance(entry, Begun):
            record = SiteRecord(entry)
        assert record is not None
        record.signed = None
        if isinstance(entry, StepEntry):
            record.steps.append(entry)
        elif isinstance(entry, Note):
            record.notes.append(entry)
        elif isinstance(entry, Signed):
            record.signed = entry
            record.sound = entry.sha256 == seal(text[:before])
        before += len(line) + 1
        record.whole = len(text[:before].encode())
    if record is None:
        raise _wrong(name, 1, text, "a whole first line")
    return record


def _entry(line: str, number: int, name: str) -> Begun | StepEntry | Note | Signed:
    try:
        return _READ.validate_json(line)
    except ValidationError as error:
        first = error.errors()[0]
        where = ".".join(map(str, first["loc"]))
        raise _wrong(name, number, line, f"an entry of a record ({where}: {first['msg']})"[:200]) from None


def _wrong(name: str, number: int, line: str, expected: str) -> UserError:
    return UserError(
        "the record is damaged", file=name, line=number, found=repr(line[:60]), expected=expected,
        mend="do not edit a record; take a copy from before, or begin a new one",
    )  # fmt: skip
