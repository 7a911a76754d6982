"""The parts of every declared file: mappings with exactly their keys, and names.

Editors read the descriptions and examples of fields through the JSON Schema; messages use them too. Modules of shapes
do not postpone their annotations (PEP 563): pydantic would compile each of some 300 again from its text, in every
command.
"""

import copy
from functools import cache
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field, PlainValidator, WithJsonSchema
from pydantic_core import PydanticCustomError

from busim.foundation.errors import UserError
from busim.foundation.yaml_source import shown

LONGEST_WORD = 60
_LONGEST_SENTENCE = 200


def has(what: str, example: Any = None, default: Any = ..., **limits: Any) -> Any:
    """A field with its description and an example; defaults are written as in the file and read the same way."""
    return Field(default, description=what, examples=[example] if example is not None else None, **limits)


class Shape(BaseModel):
    """A mapping with exactly these keys."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, validate_default=True, defer_build=True)


def form(shape: type[Shape], title: str) -> dict[str, Any]:
    """The schema of a file as JSON Schema (draft 2020-12), for editors."""
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **copy.deepcopy(_json(shape)), "title": title}


@cache
def _json(shape: type[Shape]) -> dict[str, Any]:
    return shape.model_json_schema()  # a fifth of a second for a plan, which a handbook page asks for again and again


def refusal(error: UserError) -> PydanticCustomError:
    """A parser's refusal, in the form in which pydantic carries it to the findings."""
    context = {"expected": error.expected or "", "mend": error.mend or ""}
    # Braces in the sentence would be read as fields of the context.
    return PydanticCustomError("busim", error.what.replace("{", "(").replace("}", ")"), context)


def _word(value: Any) -> str:
    expected = f"text of 1 to {LONGEST_WORD} printable characters, without space at its ends"
    if not isinstance(value, str):
        quoted = shown(value) if isinstance(value, (int, float)) else None
        mend = f'put it in quotes: "{quoted}"' if quoted else "write a name"
        raise refusal(UserError("not a text", expected=expected, mend=mend))
    if not value.strip():
        raise refusal(UserError("an empty name", expected=expected, mend="write a name"))
    if not is_word(value):
        plain = cleaned(value)
        mend = f"write {plain!r}" if is_word(plain) else "shorten it"
        raise refusal(UserError("not usable as a name", expected=expected, mend=mend))
    return value


def is_word(text: str) -> bool:
    """Whether a text can be a name."""
    return bool(text) and text == text.strip() and len(text) <= LONGEST_WORD and text.isprintable()


def cleaned(text: str) -> str:
    """The name that a text with odd spaces or signs that do not print was meant to be."""
    return " ".join("".join(sign for sign in text if sign.isprintable() or sign.isspace()).split())


Word = Annotated[
    str, PlainValidator(_word), WithJsonSchema({"type": "string", "minLength": 1, "maxLength": LONGEST_WORD})
]


def _sentence(value: Any) -> str:
    if not isinstance(value, str) or not value.strip() or len(value) > _LONGEST_SENTENCE or not value.isprintable():
        expected = f"text of 1 to {_LONGEST_SENTENCE} printable characters"
        raise refusal(UserError("not a text", expected=expected, mend="say it in one line"))
    return value


Sentence = Annotated[
    str, PlainValidator(_sentence), WithJsonSchema({"type": "string", "minLength": 1, "maxLength": _LONGEST_SENTENCE})
]
