"""The new plan as text: the old text, with entries moved and values changed, its comments kept.

Unchanged entries stay letter for letter. Positions of a line take their comments along to another line; a new
converter, line or supply is written like its pattern. The result is read again and compared with the intended plan.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

from busim.analysis.split.result import Split
from busim.foundation.errors import Defect, UserError
from busim.foundation.yaml_source import Blocks, Declared, Rewriting, flow, parse, scalar
from busim.plan import LinePlan, Place, Plan, read_text, source_text

_LISTS = ("lines", "converters", "supplies")


def written(plan: Plan, split: Split) -> str:
    """The text of the new plan. Raises UserError if the split has cameras left over."""
    new = split.new_plan
    if new is None:
        raise UserError(
            "there is no plan to be written", found=split.why, expected="a place for every camera",
            mend="see the reasons; allow more converters, or ask for less",
        )  # fmt: skip
    text = _orders(plan, new, source_text(plan))
    text = _entries(plan, new, split, text)
    text = _values(plan, new, text)
    _check(plan, new, text)
    return text


class _Changes:
    """Values to be changed. Without any the text stays letter for letter, which a round trip does not promise."""

    def __init__(self, text: str, path: str) -> None:
        self._text, self._path = text, path
        self._rewriting: Rewriting | None = None

    def set(self, field: str, value: str) -> None:
        self._begun().set(field, value)

    def drop(self, field: str) -> None:
        self._begun().drop(field)

    def text(self) -> str:
        return self._text if self._rewriting is None else self._rewriting.text()

    def _begun(self) -> Rewriting:
        self._rewriting = self._rewriting or Rewriting(parse(self._text, self._path))
        return self._rewriting


# -- positions of lines -------------------------------------------------------------------------------------------


def _orders(plan: Plan, new: Plan, text: str) -> str:
    """The lines in both plans, with their stations in the new order."""
    document = parse(text, plan.path)
    blocks = Blocks(document)
    known: dict[tuple[str, str], str] = {}
    plugs: dict[str, list[str]] = {}
    for index, line in enumerate(plan.lines):
        for place, entry in zip(line.order, blocks.entries(f"lines[{index}].order") or (), strict=False):
            if place.kind == "terminator":
                plugs.setdefault(line.name, []).append(entry)
            else:
                known[place.kind, place.name] = entry
    fresh = {line.name: line for line in new.lines}
    flows = {}
    for index, line in enumerate(plan.lines):
        now = fresh.get(line.name)
        if now is None or now.order == line.order:
            continue
        field = f"lines[{index}].order"
        if blocks.entries(field) is None:
            flows[field] = flow([_stand(place, before) for before, place in _with_before(now)])
        else:
            own = iter(plugs.get(line.name, []))
            blocks.replace(field, [
                next(own, "- terminator") if place.kind == "terminator"
                else known.get((place.kind, place.name), f"- {place.kind}: {scalar(place.name)}")
                for place in now.order
            ])  # fmt: skip
    changes = _Changes(blocks.text(), plan.path)
    for field, value in flows.items():
        changes.set(field, value)
    for index, line in enumerate(plan.lines):
        now = fresh.get(line.name)
        if now is not None and now.order != line.order and f"lines[{index}].order" not in flows:
            for at, (before, place) in enumerate(_with_before(now)):
                if place.kind != "terminator":
                    _cable(changes, f"lines[{index}].order[{at}]", place, before)
    return changes.text()


def _with_before(line: LinePlan) -> Iterator[tuple[float, Place]]:
    """Each position with the metres of the one before it."""
    before = 0.0
    for place in line.order:
        yield before, place
        before = place.metres


def _cable(changes: _Changes, field: str, place: Place, before: float) -> None:
    metres = round(place.metres - before, 6)
    if metres:
        changes.set(f"{field}.after", f"{metres!r} m".replace(".0 m", " m"))
    else:
        changes.drop(f"{field}.after")
    if place.gauge is None:
        changes.drop(f"{field}.gauge")
    if place.supply_pair == "joined":
        changes.drop(f"{field}.supply_pair")


def _stand(place: Place, before: float) -> Any:
    """A position as written in a file."""
    if place.kind == "terminator":
        more = {} if place.ohms in (None, 120.0) else {"ohms": f"{place.ohms:g} ohm"}
        more |= {} if place.capacitor is None else {"capacitor": f"{place.capacitor!r} F"}
        return {"terminator": True, **more} if more else "terminator"
    found = {place.kind: place.name}
    metres = round(place.metres - before, 6)
    if metres:
        found["after"] = f"{metres!r} m".replace(".0 m", " m")
    if place.gauge is not None:
        found["gauge"] = f"AWG {place.gauge:g}"
    if place.stub:
        found["stub"] = f"{place.stub!r} m"
    if place.supply_pair != "joined":
        found["supply_pair"] = place.supply_pair
    return found


# -- entries that come and go ---------------------------------------------------------------------------------------


def _entries(plan: Plan, new: Plan, split: Split, text: str) -> str:
    """Without the removed lines, converters and supplies, with the new ones."""
    document = parse(text, plan.path)
    blocks = Blocks(document)
    flows = {}
    for field in (*_LISTS, "silenced", "expect"):
        values = document.value.get(field) or []
        kept = [at for at, one in enumerate(getattr(plan, field)) if _stays(field, one, new)]
        added = [_like(plan, new, split, field, one.name, document) for one in _added(plan, new, field)]
        if len(kept) == len(values) and not added:
            continue
        entries = blocks.entries(field)
        if entries is None or not kept:
            flows[field] = flow([*(values[at] for at in kept), *added])
        else:
            blocks.replace(field, [*(entries[at] for at in kept), *(_block(value) for value in added)])
    changes = _Changes(blocks.text(), plan.path)
    for field, value in flows.items():
        changes.set(field, value)
    return changes.text()


def _stays(field: str, one: Any, new: Plan) -> bool:
    if field == "expect":
        return any(other.figure == one.figure and set(other.of) <= set(one.of) for other in new.expect)
    if field == "silenced":
        return one in new.silenced
    return one.name in {other.name for other in getattr(new, field)}


def _added(plan: Plan, new: Plan, field: str) -> list[Any]:
    old = {one.name for one in getattr(plan, field)} if field in _LISTS else set()
    return [one for one in getattr(new, field) if one.name not in old] if field in _LISTS else []


def _like(plan: Plan, new: Plan, split: Split, field: str, name: str, document: Declared) -> dict[str, Any]:
    """The values of a new entry: those of its pattern, with a name and its own values."""
    template = split.likes[name]
    at = [one.name for one in getattr(plan, field)].index(template)
    value = dict(document.value[field][at])
    value["name"] = name
    one = next(one for one in getattr(new, field) if one.name == name)
    if field == "converters":
        value["endpoint"] = f"{one.host}:{one.port}"
        for key, known in (("place", one.place), ("box", one.box), ("box_port", one.box_port), ("supply", one.supply)):
            value.pop(key, None)
            if known is not None and (key != "supply" or "supply" in document.value[field][at]):
                value[key] = known
        value.pop("reboots", None)
        value.pop("terminator", None)
    elif field == "lines":
        value["order"] = [_stand(place, before) for before, place in _with_before(one)]
        if one.bias.at:
            value["bias"] = {**value["bias"], "at": list(one.bias.at)}
    else:
        value |= {"at": one.at}
        for key, known in (("place", one.place), ("feeds", _listed(one.feeds, document, new))):
            value.pop(key, None)
            if known:
                value[key] = known
    return value


def _block(value: dict[str, Any]) -> str:
    """An entry in block style; an order with a line for each position."""
    lines: list[str] = []
    for key, part in value.items():
        if key == "order":
            lines += [f"{key}:", *(f"  - {flow(stand)}" for stand in part)]
        else:
            lines.append(f"{scalar(key)}: {flow(part)}")
    return "\n".join(("- " if not number else "  ") + line for number, line in enumerate(lines))


def _listed(feeds: tuple[str, ...], document: Declared, new: Plan) -> list[str]:
    """The loads of a supply that do not name it themselves."""
    saying = {
        one["name"]
        for field in ("cameras", "converters")
        for one in document.value.get(field) or ()
        if "supply" in one
    }  # fmt: skip
    own = {one.name for one in new.converters} - {one["name"] for one in document.value.get("converters") or ()}
    return [name for name in feeds if name not in saying and name not in own]


# -- values -------------------------------------------------------------------------------------------------------


def _values(plan: Plan, new: Plan, text: str) -> str:
    """The changed values in entries that stay."""
    document, changes = parse(text, plan.path), _Changes(text, plan.path)
    old = {one.name: one for one in plan.cameras}
    for index, camera in enumerate(new.cameras):
        was = old[camera.name]
        if camera.bus_id != was.bus_id:
            changes.set(f"cameras[{index}].bus_id", str(camera.bus_id))
        if camera.terminator != was.terminator:
            changes.set(f"cameras[{index}].terminator", "false")
        if camera.supply != was.supply and "supply" in document.value["cameras"][index] and camera.supply:
            changes.set(f"cameras[{index}].supply", scalar(camera.supply))
    for index, (before, master) in enumerate(zip(plan.masters, new.masters, strict=True)):
        if before.through != master.through:
            changes.set(f"masters[{index}].through", flow(list(master.through)))
    supplies = {one.name: one for one in plan.supplies}
    for index, supply in enumerate(new.supplies):
        then = supplies.get(supply.name)
        if then is None:
            continue
        if then.at != supply.at:
            field = f"supplies[{index}].at"
            changes.set(field, scalar(supply.at)) if supply.at else changes.drop(field)
        value = document.value["supplies"][index]
        if then.feeds != supply.feeds and "feeds" in value:
            changes.set(f"supplies[{index}].feeds", flow(_listed(supply.feeds, document, new)))
    lines = {line.name: line for line in plan.lines}
    for index, line in enumerate(new.lines):
        if line.name in lines and lines[line.name].bias.at != line.bias.at:
            changes.set(f"lines[{index}].bias.at", flow(list(line.bias.at)))
    for index, entry in enumerate(new.expect):
        value = document.value["expect"][index]
        if isinstance(value.get("of"), list) and len(value["of"]) != len(entry.of):
            changes.set(f"expect[{index}].of", flow(list(entry.of)))
    return changes.text()


def _check(plan: Plan, new: Plan, text: str) -> None:
    """Raises Defect if the text is not the intended plan."""
    found = read_text(text, plan.path, plan.files)
    for field in ("lines", "cameras", "converters", "masters", "panels", "supplies", "spares", "silenced", "expect"):
        one, other = (_level(getattr(whole, field)) for whole in (found, new))
        if one != other:
            raise Defect(f"the split plan is not written as it was meant: its {field} differ")


def _level(entries: tuple[Any, ...]) -> list[Any]:
    """Metres to a millimetre, since they are sums."""
    return [
        replace(one, order=tuple(replace(at, metres=round(at.metres, 3)) for at in one.order))
        if isinstance(one, LinePlan)
        else one
        for one in entries
    ]
