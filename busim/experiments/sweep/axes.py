"""The values of a plan that can be varied, and the plan with new values.

An axis is a name with values as written in a plan: `line.baud=9600,19200`, `cameras=1..32`,
`converter.packing=0..50ms/11` (eleven values, evenly spread). A point is one text for each axis, so it passes through
files and to other machines unchanged.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import product

from busim.foundation.errors import UserError
from busim.foundation.units import parse_baud, parse_rate, parse_spread, parse_time
from busim.plan import CameraPlan, LinePlan, PanelPlan, Place, Plan

_MOST_POINTS = 1_000_000
_MOST_CAMERAS = 247  # addresses of a line: MODBUS over Serial Line V1.02, p. 8
_WHOLE = re.compile(r"(\d+)\.\.(\d+)")
_EVEN = re.compile(r"([\d.]+)\s*([^\d.\s]*)\s*\.\.\s*([\d.]+)\s*(.*?)\s*/\s*(\d+)")


@dataclass(frozen=True, slots=True)
class Axis:
    """`name` as in `KINDS`; `values` as texts; `numbers`: the same as numbers, in the unit of the results."""

    name: str
    values: tuple[str, ...]
    numbers: tuple[float, ...]

    def columns(self) -> dict[str, list[float | int]]:
        """Its values as numbers, by a name that ends with their unit: seconds for times, both ends of a range."""
        read = [KINDS[self.name].read(text) for text in self.values]
        name = self.name.replace(".", "_")
        if self.name in ("camera.turnaround", "converter.latency"):
            return {f"{name}_{end}_s": [getattr(one, end) / 1e9 for one in read] for end in ("low", "high")}
        if self.name == "line.baud" and all(float(number).is_integer() for number in self.numbers):
            return {f"{name}": [int(number) for number in self.numbers]}
        if self.name == "cameras":
            return {name: [int(number) for number in self.numbers]}
        end = {"s": "_s", "/s": "_per_s"}.get(KINDS[self.name].unit, "")
        return {name + end: list(self.numbers)}


@dataclass(frozen=True, slots=True)
class Kind:
    """`read`: from text to the plan's value; `number`: that as a number for tables (Bd, s, /s, a count)."""

    unit: str
    about: str
    example: str
    read: Callable[[str], object]
    number: Callable[[object], float]


def _count(text: str) -> int:
    if not text.isdigit() or not 1 <= int(text) <= _MOST_CAMERAS:
        raise UserError(
            "no number of cameras", found=repr(text), expected=f"1 to {_MOST_CAMERAS}", mend="write for example 1..32"
        )
    return int(text)


def _error_rate(text: str) -> float:
    try:
        rate = float(text)
    except ValueError:
        rate = -1.0
    if not 0 <= rate <= 0.1:
        raise UserError("no bit error rate", found=repr(text), expected="0 to 0.1", mend="write for example 1e-5")
    return rate


def _seconds(value: object) -> float:
    return float(value) / 1e9  # type: ignore[arg-type]


def _middle(value: object) -> float:
    return (value.low + value.high) / 2e9  # type: ignore[attr-defined, no-any-return]


def _plain(value: object) -> float:
    return float(value)  # type: ignore[arg-type]


KINDS = {
    "line.baud": Kind("Bd", "baud of the line and everything on it", "9600,19200,38400", parse_baud, _plain),
    "line.bit_error_rate": Kind("", "share of the bits that noise turns over", "0,1e-6,1e-5", _error_rate, _plain),
    "cameras": Kind("", "how many cameras stand on the line", "1..32", _count, _plain),
    "camera.turnaround": Kind("s", "turnaround of every camera", "2ms,5ms,2..20ms", parse_spread, _middle),
    "converter.packing": Kind("s", "idle time after which the converter sends on", "0..50ms/11", parse_time, _seconds),
    "converter.latency": Kind("s", "converter and network, one way", "1ms,5ms,1..30ms", parse_spread, _middle),
    "master.gap": Kind("s", "the master's pause between two exchanges", "0,5ms,10ms", parse_time, _seconds),
    "group.every": Kind("s", "wanted time between two polls, of all groups", "100ms,200ms,500ms", parse_time, _seconds),
    "panel.moves": Kind("/s", "moves per second, of every panel", "0.5,1,2,5 /s", parse_rate, _plain),
}


def parse_axis(text: str) -> Axis:
    """`line.baud=9600,19200` to an axis. Raises UserError for an unknown name or a wrong value."""
    name, equals, rest = (part.strip() for part in text.partition("="))
    if name not in KINDS or not equals:
        raise UserError(
            "this cannot be varied" if equals else "an axis needs a name and values",
            found=repr(text),
            expected="one of " + ", ".join(f"{known}={kind.example}" for known, kind in KINDS.items()),
            mend="give --vary NAME=VALUES",
        )
    kind = KINDS[name]
    texts = tuple(dict.fromkeys(value for part in rest.split(",") for value in _spread_out(name, part.strip())))
    found: list[object] = []
    for value in texts:
        try:
            found.append(kind.read(value))
        except UserError as error:
            error.field = f"--vary {name}"
            raise
    return Axis(name, texts, tuple(kind.number(value) for value in found))


def _spread_out(name: str, text: str) -> list[str]:
    """A part of a list: one value, whole numbers from low to high, or a number of evenly spread values."""
    whole, even = _WHOLE.fullmatch(text), _EVEN.fullmatch(text)
    if name == "cameras" and whole:
        low, high = int(whole[1]), int(whole[2])
        _count(whole[2])
        return [str(number) for number in range(low, high + 1)] or [text]
    if even:
        count, unit = int(even[5]), even[4]
        if even[2] not in ("", unit) or not 2 <= count <= _MOST_POINTS:
            raise UserError(
                "no range that can be divided", found=repr(text), expected="LOW..HIGH UNIT/COUNT, COUNT from 2",
                mend="write for example 0..50 ms/11", field=f"--vary {name}",
            )  # fmt: skip
        low_end, high_end = Fraction(even[1]), Fraction(even[3])
        step = (high_end - low_end) / (count - 1)
        return [f"{float(low_end + number * step):.10g} {unit}".strip() for number in range(count)]
    return [text]


def points(axes: Sequence[Axis]) -> list[tuple[str, ...]]:
    """Every combination, the last axis fastest. Raises UserError for no axis, a repeated one, or too many points."""
    names = [axis.name for axis in axes]
    count = 1
    for axis in axes:
        count *= len(axis.values)
    if not axes or len(set(names)) < len(names) or count > _MOST_POINTS:
        raise UserError(
            "no sweep",
            found=f"{count} points along {', '.join(names) or 'nothing'}",
            expected=f"different axes with at most {_MOST_POINTS} points in all",
            mend="give --vary for each thing to vary, once",
        )
    return list(product(*(axis.values for axis in axes)))


# -- the plan with it varied -----------------------------------------------------------------------------------


def vary(plan: Plan, names: Sequence[str], values: Sequence[str], line: str | None = None) -> Plan:
    """The plan at one point; with `line`, only that line and its stations.

    Moves stay with their cameras: added cameras have none, and omitted ones take theirs along.
    """
    lines = [one for one in plan.lines if line is None or one.name == line]
    if not lines:
        raise UserError(
            "the plan has no such line",
            found=repr(line),
            expected=" or ".join(repr(one.name) for one in plan.lines),
            mend="give the name of a line of the plan",
        )
    chosen = [one.name for one in lines]
    # Cameras come last, so omitted ones take their share of varied moves along, wherever the axis stands.
    for name, value in sorted(zip(names, values, strict=True), key=lambda pair: pair[0] == "cameras"):
        plan = _VARIED[name](plan, chosen, KINDS[name].read(value))
    return plan


def _on_lines(plan: Plan, lines: list[str], kind: str) -> set[str]:
    return {place.name for line in plan.lines if line.name in lines for place in line.order if place.kind == kind}


def _line_field(field: str) -> Callable[[Plan, list[str], object], Plan]:
    def varied(plan: Plan, lines: list[str], value: object) -> Plan:
        found = tuple(replace(one, **{field: value}) if one.name in lines else one for one in plan.lines)  # type: ignore[arg-type]
        return replace(plan, lines=found)

    return varied


def _baud(plan: Plan, lines: list[str], value: object) -> Plan:
    """Stations with a baud of their own keep their distance from the line's."""
    assert isinstance(value, Fraction)
    for line in plan.lines:
        if line.name not in lines:
            continue
        share = value / line.baud
        for field, kind in (("cameras", "camera"), ("converters", "converter"), ("masters", "master")):
            names = _on_lines(plan, [line.name], kind)
            moved = tuple(
                replace(one, driver=replace(one.driver, baud=one.driver.baud * share))
                if one.name in names and one.driver.baud is not None
                else one
                for one in getattr(plan, field)
            )
            plan = replace(plan, **{field: moved})  # type: ignore[arg-type]
    return _line_field("baud")(plan, lines, value)


def _station_field(kind: str, field: str) -> Callable[[Plan, list[str], object], Plan]:
    def varied(plan: Plan, lines: list[str], value: object) -> Plan:
        names = _on_lines(plan, lines, kind)
        found = tuple(replace(one, **{field: value}) if one.name in names else one for one in getattr(plan, f"{kind}s"))
        return replace(plan, **{f"{kind}s": found})  # type: ignore[arg-type]

    return varied


def _master_names(plan: Plan, lines: list[str]) -> set[str]:
    boxes = _on_lines(plan, lines, "converter")
    return {master.name for master in plan.masters if boxes.intersection(master.through) or set(lines) & set(master.on)}


def _gap(plan: Plan, lines: list[str], value: object) -> Plan:
    names = _master_names(plan, lines)
    masters = tuple(replace(one, gap=value) if one.name in names else one for one in plan.masters)  # type: ignore[arg-type]
    return replace(plan, masters=masters)


def _every(plan: Plan, lines: list[str], value: object) -> Plan:
    names = _master_names(plan, lines)
    masters = tuple(
        replace(one, groups=tuple(replace(group, every=value) for group in one.groups)) if one.name in names else one  # type: ignore[arg-type]
        for one in plan.masters
    )
    return replace(plan, masters=masters)


def _moves(plan: Plan, lines: list[str], value: object) -> Plan:
    cameras = _on_lines(plan, lines, "camera")
    panels = tuple(
        replace(one, moves=value) if cameras.intersection(one.cameras) else one  # type: ignore[arg-type]
        for one in plan.panels
    )
    return replace(plan, panels=panels)


def _cameras(plan: Plan, lines: list[str], value: object) -> Plan:
    assert isinstance(value, int)
    for line in lines:
        plan = _so_many(plan, next(one for one in plan.lines if one.name == line), value)
    return plan


def _so_many(plan: Plan, line: LinePlan, count: int) -> Plan:
    """The line with its first cameras, or with copies of them after the last, at the same distances."""
    by_name = {camera.name: camera for camera in plan.cameras}
    there = [place for place in line.order if place.kind == "camera"]
    if not there:
        raise UserError("the line has no camera to add more of", found=repr(line.name), mend="plan one")
    gone = {place.name for place in there[count:]}
    order = [place for place in line.order if place.kind != "camera" or place.name not in gone]
    last = max(place.metres for place in line.order)
    step = (there[-1].metres - there[0].metres) / max(1, len(there) - 1) or 1.0
    used = {by_name[place.name].bus_id for place in there}
    free = (number for number in range(1, _MOST_CAMERAS + 1) if number not in used)
    added: list[CameraPlan] = []
    copies: dict[str, list[str]] = {}
    for number in range(len(there), count):
        like = by_name[there[number % len(there)].name]
        name = f"{like.name} ({number + 1})"
        added.append(replace(like, name=name, bus_id=next(free), serial=0))
        copies.setdefault(like.name, []).append(name)
        order.append(Place("camera", name, last + (number - len(there) + 1) * step))
    masters = tuple(
        replace(one, cameras=_listed(one.cameras, gone, copies)) if one.cameras else one for one in plan.masters
    )
    return replace(
        plan,
        lines=tuple(replace(one, order=tuple(order)) if one is line else one for one in plan.lines),
        cameras=tuple(camera for camera in plan.cameras if camera.name not in gone) + tuple(added),
        masters=masters,
        panels=tuple(_panel(one, gone) for one in plan.panels if not set(one.cameras) <= gone),
    )


def _listed(names: tuple[str, ...], gone: set[str], copies: dict[str, list[str]]) -> tuple[str, ...]:
    return tuple(one for name in names if name not in gone for one in (name, *copies.get(name, ())))


def _panel(panel: PanelPlan, gone: set[str]) -> PanelPlan:
    kept = tuple(name for name in panel.cameras if name not in gone)
    sticks = tuple(stick for stick in panel.joysticks if stick.camera not in gone)
    return replace(panel, cameras=kept, moves=panel.moves * len(kept) / len(panel.cameras), joysticks=sticks)


_VARIED: dict[str, Callable[[Plan, list[str], object], Plan]] = {
    "line.baud": _baud,
    "line.bit_error_rate": _line_field("bit_error_rate"),
    "cameras": _cameras,
    "camera.turnaround": _station_field("camera", "turnaround"),
    "converter.packing": _station_field("converter", "packing_idle"),
    "converter.latency": _station_field("converter", "latency"),
    "master.gap": _gap,
    "group.every": _every,
    "panel.moves": _moves,
}
