"""The shape of a protocol declaration, version 1, as pydantic models: its keys, their contents and defaults.

Rules about one place are here; rules about two (a field that a template names, an impossible length) are in checks.py.
"""

from typing import Annotated, Any, Literal

from pydantic import Field, PlainValidator, WithJsonSchema

from busim.foundation.errors import UserError
from busim.foundation.schema import Shape, Word, has, refusal
from busim.foundation.units import parse_time
from busim.foundation.yaml_source import Real
from busim.protocols.declared.declaration import LONGEST_FRAME, MOST_VALUES, Quiet

_LONGEST_TEMPLATE = 400
_LONGEST_QUIET = 60 * 10**9
_MOST_CHARACTERS = 1000.0


def _quiet(value: Any) -> Quiet:
    """`3.5 characters`, or a time."""
    text = value.text if isinstance(value, Real) else value
    problem = UserError(
        "not a length of quiet",
        expected=f"a number of characters up to {_MOST_CHARACTERS:.0f}, or a time up to 60 s",
        mend="write for example 3.5 characters, or 2 ms",
    )
    if text == 0 and not isinstance(text, bool):
        return Quiet(0.0, 0)
    if not isinstance(text, str) or len(text) > 40:
        raise refusal(problem)
    number, _, word = text.partition(" ")
    if word.strip() in ("characters", "character"):
        if not number.replace(".", "", 1).isdecimal() or float(number) > _MOST_CHARACTERS:
            raise refusal(problem)
        return Quiet(float(number), 0)
    try:
        time = parse_time(text)
    except UserError:
        raise refusal(problem) from None
    if time > _LONGEST_QUIET:
        raise refusal(problem)
    return Quiet(0.0, time)


def _template(value: Any) -> str:
    if not isinstance(value, (str, int)) or isinstance(value, bool):
        raise refusal(UserError("not a template", expected="text in quotes", mend='write for example "R{key}"'))
    if isinstance(value, int):  # `request: 03` without its quotes
        raise refusal(
            UserError("a number where a template is wanted", expected="text in quotes", mend="put it in quotes")
        )
    if len(value) > _LONGEST_TEMPLATE:
        raise refusal(UserError("a template that is too long", expected=f"at most {_LONGEST_TEMPLATE} characters"))
    return value


Silence = Annotated[
    Quiet,
    PlainValidator(_quiet),
    WithJsonSchema({"type": ["string", "number"], "examples": ["3.5 characters", "2 ms", "0"]}),
]
Template = Annotated[str, PlainValidator(_template), WithJsonSchema({"type": "string", "maxLength": _LONGEST_TEMPLATE})]
Count = Annotated[int, Field(ge=0, le=65535)]
Number = Annotated[int, Field(ge=-(2**31), le=2**31)]


class EscapeShape(Shape):
    """How a byte that means something to the framing is carried inside a frame."""

    byte: Template = has("the byte that announces an escaped one", "7D")
    xor: Annotated[int, Field(ge=1, le=255)] | None = has("the byte combined with the escaped one", 0x20, None)
    replaced: Annotated[dict[str, Template], Field(max_length=8)] = has(
        "or: byte to its image after the announcing byte, both in hex", {"C0": "DC", "DB": "DD"}, {}
    )


class FramingShape(Shape):
    """How frames are cut from a stream of characters."""

    kind: Literal["marks", "fixed", "length", "silence"] = has("the way frames end", "marks")
    start: Template = has("marks: bytes before each frame", "$", "")
    end: Template = has("marks: bytes after each frame", "{0D}", "")
    escape: EscapeShape | None = has("marks: how marks are carried inside a frame", default=None)
    hex: bool = has("marks: each byte between the marks is sent as two hex digits", default=False)
    length: Annotated[int, Field(ge=1, le=LONGEST_FRAME)] | None = has("fixed: bytes of every frame", 8, None)
    counts: Literal["frame", "behind", "message"] = has(
        "length: what {length} counts: the whole frame, what stands behind it, or {message} alone", default="behind"
    )
    quiet: Silence | None = has("silence: the quiet that ends a frame", "3.5 characters", None)
    least_quiet: Silence = has("silence: the least quiet, at any baud", "1750 us", 0)
    forget: Silence = has("quiet after which a receiver forgets a half frame", "20 characters", "50 ms")
    gap: Silence = has("quiet that a master leaves between two frames", "1 ms", 0)
    longest: Annotated[int, Field(ge=4, le=LONGEST_FRAME)] = has("most bytes of a frame", 64, 256)


class CheckShape(Shape):
    """The check field `{check}` of the frame."""

    kind: Word = has("`xor`, `sum`, `sum-16`, `lrc`, or a CRC by its name in the RevEng catalogue", "CRC-16/MODBUS")
    start: Word = has("the first field of the frame that it covers, `frame` or `mark`", "address", "frame")
    to: Word | None = has("the last field of the frame that it covers; left out: all before it", "message", None)


class AddressShape(Shape):
    """Which bus IDs there are. An offset is the field's `plus`."""

    first: Count = has("first bus ID", 1, 1)
    last: Count = has("last bus ID", 99)
    broadcast: Count | None = has("the ID that all cameras take", 0, None)
    broadcast_as: Template | None = has("the written form of that ID, if it differs", "**", None)
    answers_broadcast: bool = has("whether cameras answer a broadcast", default=False)
    groups: Annotated[list[Count], Field(min_length=2, max_length=2)] | None = has(
        "first and last group value: IDs that several cameras take", [240, 254], None
    )


class EncodingShape(Shape):
    """How the number of one field is written."""

    kind: Literal["unsigned", "signed", "bcd", "decimal", "hex", "nibbles", "seven", "words"] = Field(
        alias="as", description="the encoding", examples=["decimal"]
    )
    holds: Literal["key", "value"] | None = has("its content, if its name does not say it", "value", None)
    bytes: Annotated[int, Field(ge=1, le=8)] | None = has("bytes of it (binary encodings)", 2, None)
    digits: Annotated[int, Field(ge=1, le=18)] | None = has("digits of it (decimal, hex)", 3, None)
    least_digits: Annotated[int, Field(ge=1, le=18)] | None = has("decimal: fewest digits, if not always all", 1, None)
    order: Literal["big", "little"] = has("which byte comes first", default="big")
    sign: Literal["none", "minus", "always"] = has("decimal: a sign before it", default="none")
    point: Annotated[int, Field(ge=0, le=9)] = has("decimal: digits behind a point", 2, 0)
    case: Literal["upper", "lower"] = has("hex: case of the letters", default="upper")
    high: Annotated[int, Field(ge=0, le=15)] = has("nibbles: the high half of each byte", 3, 0)
    times: Annotated[int, Field(ge=1, le=10**6)] = has("the written number is the value times this", 10, 1)
    plus: Number = has("and plus this", 128, 0)
    limits: Annotated[list[Number], Field(min_length=2, max_length=2)] | None = has(
        "least and greatest number that it carries; left out: all that fit", [0, 127], None
    )
    words: Annotated[dict[str, Word], Field(max_length=256)] = has(
        "words: number to word", {"0": "IRS", "1": "GAN"}, {}
    )
    between: Template = has("value: the bytes between several of them", ",", "")


class OperationShape(Shape):
    """One thing that can be asked of a camera."""

    does: Literal[
        "read", "write", "step", "start", "stop", "identify", "change-id", "save", "preset", "status"
    ] | None = has("its meaning, if its name does not say it", "step", None)  # fmt: skip
    request: Template = has("the message that asks", "R{key}")
    reply: Template = has("the message that answers", "r{key}={value}")
    refusal: Template | None = has("the message that refuses this one, if it has its own", "E{reason}", None)
    key: Count | None = has("the key, if the message does not carry it", 1, None)
    values: Annotated[list[Number], Field(min_length=1, max_length=16)] | None = has(
        "the values, if the request does not carry them", [1], None
    )
    most: Annotated[int, Field(ge=1, le=MOST_VALUES)] = has("most values of one request", 16, 1)


class ReasonsShape(Shape):
    """The codes of refusals as they are written in `{reason}`."""

    verb: Count = has("unknown operation", default=1)
    key: Count = has("unknown parameter, or one that cannot be written", default=2)
    value: Count = has("out of range, or locked now", default=3)
    failed: Count = has("not possible now", default=4)
    busy: Count = has("busy", default=6)


class ProtocolShape(Shape):
    """A wire protocol for cameras: how frames are cut, what they hold, what can be asked."""

    version: Literal[1] = Field(alias="busim-protocol", description="version of this form", examples=[1])
    name: Word = has("name of the protocol", "wall-lines")
    title: Word = has("a short title", "lines of text with decimal addresses")
    literals: Literal["text", "hex"] = has("how bytes are written in templates between the {fields}", "text")
    framing: FramingShape = has("how frames are cut", {"kind": "marks", "end": "{0D}"})
    frame: Template = has("the parts of every frame, without the marks", "{address}{message}*{check}")
    check: CheckShape | None = has("the check field", {"kind": "xor"}, None)
    address: AddressShape = has("the bus IDs", {"first": 1, "last": 99})
    fields: Annotated[dict[str, EncodingShape], Field(min_length=1, max_length=32)] = has("how each field is written")
    operations: Annotated[dict[str, OperationShape], Field(min_length=1, max_length=64)] = has("the operations")
    refusal: Template | None = has(
        "the message that refuses; left out: a refused request is not answered", "E{reason}", None
    )
    reasons: ReasonsShape = has("the codes of refusals", default={})
    keys: Annotated[dict[str, dict[str, Count]], Field(max_length=64)] = has(
        "camera model to parameter to key, for models that do not say so themselves", default={}
    )
