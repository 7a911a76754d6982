"""Quantities in declared files: text with a unit, read by a parser of busim.foundation.units, as types for shapes.

A quantity is taken as text or as a bare number, because YAML reads `0`, `38400` and even `8E1` as numbers.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

from pydantic import WithJsonSchema

from busim.foundation.errors import UserError
from busim.foundation.schema.shape import refusal
from busim.foundation.yaml_source import Real

T = TypeVar("T")

_LONGEST = 60


def quantity(parse: Callable[[str], T], check: Callable[[T], str | None] = lambda _: None) -> Callable[[Any], T]:
    """A validator from a parser of text; `check` returns the expected range for a value out of bounds."""

    def read(value: Any) -> T:
        try:
            parsed = parse(_text(value))
            expected = check(parsed)
            if expected:
                raise UserError("out of bounds", expected=expected)
        except UserError as error:
            raise refusal(error) from None
        return parsed

    return read


def offered(example: str, *more: str) -> WithJsonSchema:
    """The JSON Schema of a quantity, for editors."""
    return WithJsonSchema({"type": ["string", "number"], "examples": [example, *more]})


def _text(value: Any) -> str:
    if isinstance(value, Real):
        return value.text
    if isinstance(value, (str, int, float)) and not isinstance(value, bool):
        text = str(value)
        if len(text) <= _LONGEST:
            return text
    raise UserError("not a value of this kind", expected="a number with its unit, or another text of one line")
