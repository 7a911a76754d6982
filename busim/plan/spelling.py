"""A plan spelled out: every key of its form with its value, as written or by default.

The values are those of the file, so a quantity reads as somebody wrote it, and the defaults are those of the shapes,
which are written as in a file. So what comes out is a plan file again, and reads as the equal plan.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, get_args, get_origin

from busim.foundation.schema import Shape
from busim.foundation.yaml_source import flow, join, parse, scalar
from busim.plan.changing import source_text
from busim.plan.shapes import PlanShape, StandShape
from busim.plan.types import Plan

_WIDTH = 100
_LEFT_TO = re.compile(r"default: (.*)$")


@dataclass(frozen=True, slots=True)
class Spelled:
    """`values`: the whole plan as in a file. `assumed`: field path -> comment, for each value that is a default."""

    values: dict[str, Any]
    assumed: dict[str, str]

    def yaml(self) -> str:
        """The plan as a file, with a comment after each default."""
        return "\n".join(self._lines(self.values, "", "")) + "\n"

    def _lines(self, values: dict[str, Any], path: str, indent: str) -> Iterator[str]:
        for key, value in values.items():
            field = join(path, key)
            said = f"  # {self.assumed[field]}" if field in self.assumed else ""
            short = f"{indent}{scalar(key)}: {flow(value)}{said}"
            if not isinstance(value, (dict, list)) or not value or (said and len(short) <= _WIDTH):
                yield short
            elif isinstance(value, dict):
                yield f"{indent}{scalar(key)}:{said}"
                yield from self._lines(value, field, indent + "  ")
            elif any(isinstance(entry, dict) for entry in value):
                yield f"{indent}{scalar(key)}:"
                for index, entry in enumerate(value):
                    lines = self._lines(entry, join(field, index), indent + "    ")
                    yield f"{indent}  - {next(lines).lstrip()}"
                    yield from lines
            else:
                yield short


def spelled(plan: Plan) -> Spelled:
    """The plan with every default filled in. Raises UserError if its data changed after it was read."""
    assumed: dict[str, str] = {}
    values = _mapping(PlanShape, parse(source_text(plan), plan.path).value, "", assumed)
    return Spelled(values, assumed)


def _mapping(shape: type[Shape], written: Any, path: str, assumed: dict[str, str]) -> dict[str, Any]:
    """Every key of a shape, with the written value or the default."""
    spell = getattr(shape, "spelled_out", None)
    given = spell(written) if spell else written
    left_out = StandShape.out_of_place(given) if shape is StandShape else set()
    values: dict[str, Any] = {}
    for key, spec in shape.model_fields.items():
        if key in left_out:
            continue
        field = join(path, key)
        value = given.get(key, spec.default)
        if key not in given:
            value = 0 if value == "0" else value  # a quantity of zero needs no quotes
            left = _LEFT_TO.search(spec.description or "")
            assumed[field] = f"default: {left[1]}" if left else "default"
        inner = _inner(spec.annotation)
        if inner is None or value is None:
            values[key] = value
        elif isinstance(value, list):
            values[key] = [_mapping(inner, entry, join(field, index), assumed) for index, entry in enumerate(value)]
        else:
            values[key] = _mapping(inner, value, field, assumed)
    return values


def _inner(annotation: Any) -> type[Shape] | None:
    """The shape in a field: alone, in a list, or optional. None if the field holds no shape."""
    if isinstance(annotation, type) and issubclass(annotation, Shape):
        return annotation
    inner = (_inner(part) for part in get_args(annotation)) if get_origin(annotation) is not None else ()
    return next((shape for shape in inner if shape is not None), None)
