"""Errors of pydantic about a declared file, in the words of the file: place, found, expected, remedy."""

from __future__ import annotations

import re
from typing import Any, get_args, get_origin

from annotated_types import Ge, Gt, Le
from pydantic import BaseModel
from pydantic.fields import FieldInfo
from pydantic_core import ErrorDetails

from busim.foundation.diagnostics import Finding
from busim.foundation.yaml_source import Declared, join, nearest, shown, suggestion

# kind of pydantic error -> sentence, expected, remedy if the field has no example
_SAID = {
    "bool_type": ("not true or false", "true or false", "write true or false, without quotes"),
    "list_type": ("not a list", "a list", "begin each entry with `- `, on a line of its own"),
    "model_type": ("not a mapping", "a mapping of keys and values", "write its keys as lines of `key: value`"),
    "too_short": ("an empty list", "at least one entry", "add an entry"),
}
# Text that YAML would read as another type.
_QUOTED = re.compile(r"^[]\[*&!|>%@`#,]|[{}]")
# keys whose value belongs to one device: an example of it, copied, would make two devices answer
_OWN = {"id", "bus_id", "serial", "factory_id", "endpoint", "factory_address", "name"}
_NUMBERS = {"int_type", "float_type", "finite_number", "greater_than", "greater_than_equal", "less_than_equal"}


def worded(document: Declared, error: ErrorDetails, root: type[BaseModel]) -> Finding:
    """One pydantic error from the validation of `root` against the document, as a finding."""
    loc = error["loc"]
    of_key = loc[-1:] == ("[key]",) and error["type"] != "extra_forbidden"  # the name of an entry, not its content
    field = ""
    for part in loc[:-1] if of_key else loc:
        field = join(field, part)
    key = str(loc[-1]) if loc else ""
    shape, spec = _described(root, loc)
    if error["type"] == "missing":
        return _missing(document, field, key, spec)
    if error["type"] == "extra_forbidden":
        return _unknown(document, field, key, shape)
    code, what, expected, mend = _said(error, spec)
    if of_key:
        mend = mend or "write another word before the colon"
    elif mend is None and spec and spec.examples and isinstance(loc[-1], str):
        mend = _in_the_form(key, spec)
    return at(document, field, code, what, at_key=of_key, found=shown(error["input"]), expected=expected, mend=mend)


def at(document: Declared, field: str, code: str, what: str, *, at_key: bool = False, **words: str | None) -> Finding:
    """A finding of severity error with the place of a field."""
    return Finding.of(document.error(field, what, at_key=at_key, **words), code)


def example(spec: FieldInfo) -> str:
    """The example of a field as written in a file."""
    return written(spec.examples[0]) if spec.examples else "..."


def written(value: Any) -> str:
    """A value as written in a file."""
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key}: {written(entry)}" for key, entry in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(written(entry) for entry in value) + "]"
    text = str(value).lower() if isinstance(value, bool) else str(value)
    return f'"{text}"' if isinstance(value, str) and _QUOTED.search(text) else text


def _missing(document: Declared, field: str, key: str, spec: FieldInfo | None) -> Finding:
    expected = f"the key `{key}`" + (f": {spec.description}" if spec and spec.description else "")
    mend = f"add `{key}:` with its entries"
    if spec and spec.examples:
        own = f"add `{key}:` with {_its(spec)}"  # an example that somebody copies must not become an address
        mend = own if key in _OWN else f"add `{key}: {example(spec)}`"
    return at(document, field, "missing-key", f"`{key}` is missing", found="no such key", expected=expected, mend=mend)


def _in_the_form(key: str, spec: FieldInfo) -> str:
    """How to mend a value of the wrong kind. A value of its own is not to be copied from an example."""
    if key in _OWN:
        return f"write {_its(spec)} after `{key}:`"
    return f"write for example `{key}: {example(spec)}`"


def _its(spec: FieldInfo) -> str:
    """The description of a field as the object of a sentence."""
    said = spec.description or "its value"
    return said if said.startswith(("its ", "the ")) else f"the {said}"


def _unknown(document: Declared, field: str, key: str, shape: type[BaseModel] | None) -> Finding:
    known = list(_fields(shape)) if shape else []
    return at(
        document,
        field,
        "unknown-key",
        "unknown key",
        at_key=True,
        found=repr(key[:60]),
        expected="one of " + ", ".join(known),
        mend=suggestion(key, known, "delete the key"),
    )


def _said(error: ErrorDetails, spec: FieldInfo | None) -> tuple[str, str, str | None, str | None]:
    """Code, sentence, expected and mend of an error of a value."""
    kind, context = error["type"], error.get("ctx") or {}
    if kind == "busim":
        return "bad-value", error["msg"], context.get("expected") or None, context.get("mend") or None
    if kind == "literal_error":
        known = re.findall(r"[^', ]+", context["expected"].replace(" or ", ", "))
        meant = nearest(str(error["input"]), known)
        return (
            "bad-value",
            "not one of the known words",
            "one of " + ", ".join(known),
            f"did you mean `{meant}`?" if meant else None,
        )
    if kind == "too_long":
        most = context["max_length"]
        return "out-of-bounds", "too many entries", f"at most {most} entries", "check that this is the file you meant"
    if kind == "too_short" and error["input"]:
        return "wrong-kind", "too few entries", f"at least {context['min_length']} entries", None
    if kind in _NUMBERS:
        code = "wrong-kind" if kind.endswith("_type") else "out-of-bounds"
        what = "out of bounds" if code == "out-of-bounds" else "not a number of this kind"
        return code, what, _limits(spec, context, whole=kind == "int_type"), None
    what, expected, mend = _SAID.get(kind, (error["msg"], "another value", "see the form of such a file"))
    if error["input"] is None and kind == "list_type":
        return (
            "wrong-kind",
            what,
            expected,
            "write its entries below it, each beginning with `- `; `[]` if there are none",
        )
    by_example = spec and spec.examples and isinstance(error["loc"][-1], str)
    return "wrong-kind", what, expected, None if by_example else mend


def _limits(spec: FieldInfo | None, context: dict[str, Any], *, whole: bool) -> str:
    """The limits of a number: those of its field or, inside a list or a mapping, the one it exceeds."""
    number = "a whole number" if whole or (spec and spec.annotation is int) else "a number"
    if "le" in context and not (spec and any(isinstance(limit, Le) for limit in spec.metadata)):
        return f"{number}, at most {context['le']}"
    if "ge" in context and not (spec and any(isinstance(limit, Ge) for limit in spec.metadata)):
        return f"{number}, at least {context['ge']}"
    limits = spec.metadata if spec else []
    above = next((f" more than {limit.gt}" for limit in limits if isinstance(limit, Gt)), "")
    least = next((f" from {limit.ge}" for limit in limits if isinstance(limit, Ge)), "")
    most = next((str(limit.le) for limit in limits if isinstance(limit, Le)), "")
    if not most:
        return number + above + least
    return f"{number}{above} and at most {most}" if above else f"{number}{least} to {most}"


def _fields(shape: type[BaseModel]) -> dict[str, FieldInfo]:
    """The fields of a shape by the key as written: a key that is a word of Python has an alias."""
    return {spec.alias or name: spec for name, spec in shape.model_fields.items()}


def _described(root: type[BaseModel], loc: tuple[int | str, ...]) -> tuple[type[BaseModel] | None, FieldInfo | None]:
    """The shape that holds the place, and the field of it (None for an unknown key)."""
    shape: type[BaseModel] | None = root
    spec: FieldInfo | None = None
    holder = shape
    for part in loc:
        if isinstance(part, int):
            continue
        if shape is None and spec is not None and (named := _named(spec.annotation)) is not None:
            shape = named  # `part` is a name in the file, of an entry with this shape
            holder = None
            continue
        holder = shape
        spec = _fields(shape).get(part) if shape else None
        shape = _shape_of(spec.annotation) if spec else None
    return holder, spec


def _named(annotation: Any) -> type[BaseModel] | None:
    """The shape of the entries, if the field is a mapping from names to them."""
    if get_origin(annotation) is not dict:
        return None
    return _shape_of(get_args(annotation)[1])


def _shape_of(annotation: Any) -> type[BaseModel] | None:
    if get_origin(annotation) is dict:
        return None
    for candidate in (annotation, *get_args(annotation)):
        if isinstance(candidate, type) and issubclass(candidate, BaseModel):
            return candidate
    return None
