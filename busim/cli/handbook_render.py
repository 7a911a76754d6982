"""The handbook's pages with facts of the code filled in: figures, plan fields, registers, the layout of a trace.

A page holds `{{name argument ...}}` on a line of its own; each name is a function here.
"""

from __future__ import annotations

import re
import textwrap
from collections.abc import Callable, Iterable
from functools import cache
from typing import Any

from busim.handbook import page

PLACEHOLDER = re.compile(r"^\{\{([a-z]+)((?: [\w-]+)*)\}\}$", re.MULTILINE)
_WIDTH = 100
_GLUE = "\0"  # a space at which no line breaks
_UNITS = {"": "a number", "1": "a share", "s": "seconds", "/s": "per second"}


@cache
def filled(topic: str) -> str:
    """The whole page of a topic. Raises UserError for an unknown topic."""
    return fill(page(topic))


def fill(text: str) -> str:
    """The text with its placeholders filled in."""
    return PLACEHOLDER.sub(lambda found: _FILLERS[found[1]](*found[2].split()), text)


def figures(*names: str) -> str:
    """Each quantity: title, name, unit, scope, definition."""
    from busim.recording.figures import QUANTITIES

    scopes = _scopes()
    return "\n".join(
        _bullet(
            f"**{one.title}** (`{one.name}`, {_UNITS.get(one.unit, one.unit)}, per {' and '.join(scopes[one.name])}): "
            f"{one.definition}."
        )
        for one in (QUANTITIES[name] for name in names)
    )


def _scopes() -> dict[str, list[str]]:
    """Quantity name to its scopes: line, camera, or both."""
    from busim.recording.figures import QUANTITIES, Fold

    nothing = Fold()
    given = {"line": nothing.line(0, 1), "camera": nothing.camera(0, 0, 1)}
    return {name: [scope for scope, values in given.items() if name in values] for name in QUANTITIES}


def fields(name: str) -> str:
    """Each field of one shape of the plan file: meaning, limits, default, example."""
    from busim.plan import json_schema

    schema = json_schema()
    shape = schema if name == "Plan" else schema["$defs"][f"{name}Shape"]
    if "anyOf" in shape:  # a position may also be the word `terminator` alone
        shape = next(choice for choice in shape["anyOf"] if "properties" in choice)
    return _keys(shape)


def _keys(shape: dict[str, Any]) -> str:
    needed = shape.get("required", ())
    return "\n".join(
        _bullet(f"`{field}`: {'. '.join(facts(about, field in needed))}.")
        for field, about in shape["properties"].items()
    )


def protocol(name: str) -> str:
    """Each key of one shape of a protocol declaration."""
    from busim.protocols import json_schema

    schema = json_schema()
    shape = schema if name == "Protocol" else schema["$defs"][f"{name}Shape"]
    return _keys(shape)


def camera(name: str) -> str:
    """Each key of one shape of a camera model."""
    from busim.plan.models import json_schema

    schema = json_schema()
    return _keys(schema if name == "Model" else schema["$defs"][f"{name}Shape"])


def judges() -> str:
    """Every judge: its name, what passes, what it catches."""
    from busim.testing.judge_catalogue import all_judges

    return "\n".join(
        _bullet(f"`{name}`: passes when {judge.about.passes}. Catches {judge.about.catches}.")
        for name, judge in all_judges().items()
    )


def rehearsal(name: str) -> str:
    """Each key of one shape of a plan's rehearsal."""
    from busim.installation.rehearsal import json_schema

    schema = json_schema()
    return _keys(schema if name == "Rehearsal" else schema["$defs"][f"{name}Shape"])


def steps() -> str:
    """Every kind of step: its meaning and its keys."""
    from busim.installation.rehearsal import KINDS

    lines = []
    for name, kind in KINDS.items():
        needed = [word for word in (kind.to, *kind.needs) if word]
        said = f"needs {_listed(needed)}" if needed else "needs nothing"
        may = f", may have {_listed(kind.may)}" if kind.may else ""
        lines.append(_bullet(f"`{name}`: {kind.what}; {said}{may}."))
    return "\n".join(lines)


def mishaps() -> str:
    """Every what-if: the mishap, its symptom, how to find and mend it."""
    from busim.commissioning.rehearse import what_ifs

    return "\n".join(
        _bullet(f"`{one.name}`: {one.title}. {one.wrong} *Looks like:* {one.looks} *Find it:* {one.find} "
                f"*Mend it:* {one.mend}")
        for one in what_ifs().values()
    )  # fmt: skip


def facts(about: dict[str, Any], needed: bool = False) -> Iterable[str]:
    """The facts of one field, sentence by sentence: meaning, choices, limits, default, example."""
    from busim.foundation.schema import written

    yield about["description"]
    if "enum" in about:
        yield "One of " + ", ".join(f"`{word}`" for word in about["enum"])
    for choice in about.get("anyOf", ()):  # of these words, or not written
        if "enum" in choice:
            yield "One of " + ", ".join(f"`{word}`" for word in choice["enum"])
    if "enum" in about.get("propertyNames", {}):
        yield "Of " + ", ".join(f"`{word}`" for word in about["propertyNames"]["enum"])
    low, high = about.get("minimum"), about.get("maximum")
    if low is not None and high is not None:
        yield f"From {low} to {high}"
    if needed:
        yield "Needed"
    elif about.get("default") not in (None, {}, [], ""):
        yield f"Default `{written(about['default'])}`"
    for example in about.get("examples", [])[:1]:
        if example not in (about.get("default"), about.get("const"), True):
            yield f"For example `{written(example)}`"


def registers(name: str) -> str:
    """The registers of a camera model under the MODBUS protocol."""
    from busim.plan.models import load

    model = load(name)
    keys, order_keys = model.keys["modbus-rtu"], model.order_keys["modbus-rtu"]
    head = ("register", "parameter", "kind", "values", "default")
    rows: list[tuple[str, ...]] = [head, tuple("-" * len(title) for title in head)]
    for one in sorted(model.parameters, key=lambda parameter: keys[parameter.name]):
        values = f"{one.low} to {one.high}"
        if one.choices:
            values = ", ".join(f"{one.low + count} = {word}" for count, word in enumerate(one.choices))
        elif one.unit:
            values += f", {one.scale:g} {one.unit} each"
        rows.append((str(keys[one.name]), one.name, one.kind, values, str(one.default)))
    for order in sorted(model.orders, key=lambda order: order_keys[order.name]):
        does = order.does.replace("move", f"{order.motor}: {order.middle} stands, 100 off it full speed")
        does = does or ", ".join(f"{count} = {action}" for count, action in order.codes.items())
        rows.append((str(order_keys[order.name]), order.name, "order", does, "-"))
    return _table(rows)


def locks(name: str) -> str:
    """The writes that a camera model refuses, and when."""
    from busim.plan.models import load

    return "\n".join(
        _bullet(f"While `{lock.when}` is {lock.equals}, writes to {_listed(lock.locks)} are refused: {lock.reason}.")
        for lock in load(name).locks
    )


def _listed(names: Iterable[str]) -> str:
    return ", ".join(f"`{name}`" for name in names)


def rules() -> str:
    """Every rule of check: its identifier, severity and title, area by area."""
    from busim.analysis.check import AREAS, all_rules

    held = {area: [rule for rule in all_rules().values() if rule.area == area] for area in AREAS}
    return "\n\n".join(
        f"### {area.capitalize()}: {AREAS[area]}\n\n"
        + "\n".join(_bullet(f"`{rule.id}` ({rule.severity}): {rule.title}.") for rule in found)
        for area, found in held.items()
        if found
    )


def faults() -> str:
    """Every fault: its name, its place, its title and its parameters."""
    from busim.simulator.faults import all_faults

    return "\n".join(
        _bullet(
            f"`{one.name}` ({one.code}, of a {one.on}): {one.title}."
            + (f" Parameters: {_listed(each.name for each in one.parameters)}." if one.parameters else "")
        )
        for one in all_faults().values()
    )


def presets() -> str:
    """Every preset of faults."""
    from busim.simulator.faults import all_presets

    return "\n".join(
        _bullet(f"`{one.name}` (of a {one.on}): {one.title}. {_listed(fault.name for fault, _ in one.faults)}.")
        for one in all_presets().values()
    )


def actions() -> str:
    """Every action on a running session."""
    from busim.runtime.actions import ACTIONS

    return "\n".join(_bullet(f"`{one.form}`: {one.what}.") for one in ACTIONS.values())


def trace() -> str:
    """The layout of a trace file."""
    from busim.recording.trace import describe

    return f"```text\n{describe().rstrip()}\n```"


def _table(rows: list[tuple[str, ...]]) -> str:
    """A markdown table that reads well as plain text too."""
    widths = [max(len(row[column]) for row in rows) for column in range(len(rows[0]))]
    lines = (" | ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)) for row in rows)
    return "\n".join(f"| {line} |" for line in lines)


def _bullet(text: str) -> str:
    """An entry of a list, wrapped, but never inside backquotes."""
    kept = re.sub("`[^`]*`", lambda code: code[0].replace(" ", _GLUE), text)
    lines = textwrap.fill(kept, _WIDTH, initial_indent="- ", subsequent_indent="  ", break_on_hyphens=False)
    return lines.replace(_GLUE, " ")


_FILLERS: dict[str, Callable[..., str]] = {
    "figures": figures,
    "camera": camera,
    "protocol": protocol,
    "actions": actions,
    "faults": faults,
    "fields": fields,
    "presets": presets,
    "registers": registers,
    "locks": locks,
    "rules": rules,
    "judges": judges,
    "rehearsal": rehearsal,
    "steps": steps,
    "mishaps": mishaps,
    "trace": trace,
}
