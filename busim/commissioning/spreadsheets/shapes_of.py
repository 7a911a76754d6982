"""The keys of a plan by table: which tables there are, and where a plan has a text."""

from __future__ import annotations

from functools import cache
from typing import Any

from busim.plan import json_schema

CABLES = "cables"  # the positions of all lines, one table
PLAN = "plan"  # all that is no list of entries


@cache
def _schema() -> dict[str, Any]:
    return json_schema()


def entries() -> tuple[str, ...]:
    """The keys of a plan that hold a list of entries, each of which is a table."""
    found = []
    for key, spec in _schema()["properties"].items():
        items = spec.get("items") or next((one.get("items") for one in spec.get("anyOf", ()) if "items" in one), None)
        if items and "$ref" in items:
            found.append(key)
    return tuple(found)


@cache
def is_text(key: str, path: str) -> bool:
    """Whether the plan has only a text at `path` of the entries under `key`, and no number or switch."""
    spec: dict[str, Any] = {"$ref": "#"} if key == PLAN else _schema()["properties"].get(key, {}).get("items", {})
    if key == CABLES:
        spec = _inside({"$ref": "#/$defs/LineShape"}, "order").get("items", {})
    for part in path.split("."):
        spec = _inside(spec, part)
    kinds = _kinds(spec)
    return kinds == {"string"} and not _numbers(spec)


def _resolved(spec: dict[str, Any]) -> list[dict[str, Any]]:
    """A piece of the schema with references and alternatives followed."""
    if spec.get("$ref") == "#":
        return [_schema()]
    if "$ref" in spec:
        return _resolved(_schema()["$defs"].get(spec["$ref"].rpartition("/")[2], {}))
    both = spec.get("anyOf") or spec.get("oneOf") or spec.get("allOf")
    return [one for each in both for one in _resolved(each)] if both else [spec]


def _inside(spec: dict[str, Any], key: str) -> dict[str, Any]:
    for one in _resolved(spec):
        if key in one.get("properties", {}):
            found: dict[str, Any] = one["properties"][key]
            return found
    return {}


def _kinds(spec: dict[str, Any]) -> set[str]:
    kinds: set[str] = set()
    for one in _resolved(spec):
        said = one.get("type", ())
        kinds |= {said} if isinstance(said, str) else set(said)
        kinds |= {"string"} if "enum" in one or "const" in one else set()
    return kinds - {"null"}


def _numbers(spec: dict[str, Any]) -> bool:
    """Whether an example is a quantity, which may be written as a bare number too (`every: 0`)."""
    return any(str(example)[:1].isdigit() for one in _resolved(spec) for example in one.get("examples", ()))
