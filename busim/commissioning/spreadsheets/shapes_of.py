"""The keys of a plan by table: which tables there are, and where a plan has a text."""

from __future__ import annotations

from functools import cache
from typing import Any

from busim.plan import STANDS, json_schema

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
def keys_of(key: str) -> tuple[str, ...]:
    """The columns that the table of `key` can have, without those of inner keys."""
    if key == PLAN:
        return tuple(name for name in _schema()["properties"] if name not in entries())
    keys = [name for one in _resolved(_entry(key)) for name in one.get("properties", {})]
    if key == CABLES:
        return ("line", "position", "name", *(name for name in keys if name not in STANDS))
    return tuple(name for name in keys if name != "order")


@cache
def is_key(key: str, path: str) -> bool:
    """Whether an entry of the table of `key` can have a value at `path`."""
    if path in keys_of(key) or key == PLAN:
        return path in keys_of(key)
    spec = _entry(key)
    for part in path.split("."):
        inside = _inside(spec, part)
        if not inside:
            return any(one.get("additionalProperties") for one in _resolved(spec))
        spec = inside
    return True


def _entry(key: str) -> dict[str, Any]:
    if key == PLAN:
        return {"$ref": "#"}
    if key == CABLES:
        found: dict[str, Any] = _inside({"$ref": "#/$defs/LineShape"}, "order").get("items", {})
        return found
    items: dict[str, Any] = _schema()["properties"].get(key, {}).get("items", {})
    return items


@cache
def is_text(key: str, path: str) -> bool:
    """Whether the plan has only a text at `path` of the entries under `key`, and no number or switch."""
    spec = _entry(key)
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
