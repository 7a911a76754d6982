"""The list of actions. No entrance offers any other."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from busim.foundation.errors import UserError
from busim.foundation.units import CharFormat, parse_baud, parse_time
from busim.foundation.yaml_source import suggestion
from busim.runtime.actions.action import Action, Argument, Given, Prepared, named, number
from busim.simulator.faults import find_fault, find_preset, is_preset
from busim.simulator.world import World

_LONGEST = 500  # characters of a mark
_MOST_DOWN = 3600 * 10**9


# -- words to arguments ---------------------------------------------------------------------------------------


def _rest(name: str) -> Any:
    return lambda words: {name: " ".join(words)} if words else {}


def _word_and_rest(first: str, rest: str) -> Any:
    return lambda words: {first: words[0], rest: " ".join(words[1:])} if len(words) > 1 else {}


def _rest_and(*last: str) -> Any:
    """A name of one word or several, and the words after it."""

    def split(words: list[str]) -> dict[str, Any]:
        if len(words) <= len(last):
            return {}
        front = words[: -len(last)]
        return {"": " ".join(front), **dict(zip(last, words[-len(last) :], strict=True))}

    return split


def _renamed(name: str, split: Any) -> Any:
    def renamed(words: list[str]) -> dict[str, Any]:
        found: dict[str, Any] = split(words)
        return {key or name: value for key, value in found.items()}

    return renamed


def _pairs(words: list[str]) -> tuple[list[str], dict[str, str]]:
    """Plain words, then `name=value`; words after a value belong to it, as in `by=300 ms`."""
    plain: list[str] = []
    pairs: dict[str, str] = {}
    name = ""
    for word in words:
        key, equals, value = word.partition("=")
        if equals and key:
            name = key
            pairs[name] = value
        elif name:
            pairs[name] += f" {word}"
        else:
            plain.append(word)
    return plain, pairs


def _reboot_words(words: list[str]) -> dict[str, Any]:
    plain, pairs = _pairs(words)
    return {"name": " ".join(plain), **pairs} if plain else {}


def _unplug_words(words: list[str]) -> dict[str, Any]:
    if len(words) > 1 and words[-1] == "cuts":
        return {"camera": " ".join(words[:-1]), "pair": "cuts"}
    return {"camera": " ".join(words)} if words else {}


def _fault_words(words: list[str]) -> dict[str, Any]:
    plain, values = _pairs(words)
    if len(plain) < 2 or plain[1] not in ("on", "off"):
        return {}
    found: dict[str, Any] = {"fault": plain[0], "switch": plain[1]}
    if len(plain) > 2:
        found["at"] = " ".join(plain[2:])
    return {**found, "values": values} if values else found


# -- arguments to what is done --------------------------------------------------------------------------------


def _power(world: World, given: Given) -> Prepared:
    camera = named(world, ["camera"], given["camera"], "camera")
    on = given["switch"] == "on"
    return Prepared(lambda: world.wiring.power(camera, on), f"power {given['switch']}: {camera}")


def _reboot(world: World, given: Given) -> Prepared:
    name = named(world, ["camera", "converter"], given["name"], "name")
    if "down" not in given:
        return Prepared(lambda: world.wiring.reboot(name), f"reboots: {name}")
    down = parse_time(str(given["down"]))
    if name not in world.converters or not 0 < down <= _MOST_DOWN:
        raise UserError(
            "a wrong time of absence", field="down", found=str(given["down"])[:60],
            expected="a converter, and more than 0 and at most 1 h", mend="a camera boots as long as its model says",
        )  # fmt: skip
    return Prepared(lambda: world.wiring.reboot(name, down), f"reboots: {name}")


def _unplug(world: World, given: Given) -> Prepared:
    camera = named(world, ["camera"], given["camera"], "camera")
    through = given.get("pair", "passes") == "passes"
    return Prepared(lambda: world.wiring.unplug(camera, through=through), f"unplugged: {camera}")


def _plug(world: World, given: Given) -> Prepared:
    camera = named(world, ["camera"], given["camera"], "camera")
    return Prepared(lambda: world.wiring.plug(camera), f"plugged in: {camera}")


def _swap(world: World, given: Given) -> Prepared:
    camera = named(world, ["camera"], given["camera"], "camera")
    return Prepared(lambda: world.wiring.swap(camera), f"pair swapped: {camera}")


def _straight(world: World, given: Given) -> Prepared:
    camera = named(world, ["camera"], given["camera"], "camera")
    return Prepared(lambda: world.wiring.swap(camera, False), f"pair put right: {camera}")


def _place(world: World, given: Given) -> tuple[str, int]:
    line = named(world, ["line"], given["line"], "line")
    return line, number(given["position"], "position", 0, len(world.wiring.stands[line]))


def _cut(world: World, given: Given) -> Prepared:
    line, position = _place(world, given)
    return Prepared(lambda: world.wiring.cut(line, position), f"cut: {line} ahead of position {position}")


def _join(world: World, given: Given) -> Prepared:
    line, position = _place(world, given)
    return Prepared(lambda: world.wiring.join(line, position), f"joined: {line} ahead of position {position}")


def _dial(world: World, given: Given) -> Prepared:
    camera = named(world, ["camera"], given["camera"], "camera")
    baud, format = parse_baud(str(given["baud"])), CharFormat.parse(str(given["format"]))
    return Prepared(lambda: world.wiring.dial(camera, baud, format), f"set to {baud} Bd {format}: {camera}")


def _unit(world: World, given: Given) -> Prepared:
    camera = named(world, ["camera"], given["camera"], "camera")
    bus_id, serial = number(given["bus_id"], "bus_id", 0, 255), number(given["serial"], "serial", 0, 2**32 - 1)
    return Prepared(lambda: world.wiring.fit(camera, bus_id, serial), f"another unit, without power yet: {camera}")


def _fault(world: World, given: Given) -> Prepared:
    name, at, values = str(given["fault"]), given.get("at"), given.get("values", {})
    if given["switch"] == "off":
        return _fault_off(world, name, at)
    if not at:
        raise UserError(
            "the place is missing", field="at", expected="`fault NAME on PLACE`", mend="name a place of the plan"
        )
    if is_preset(name):
        preset = find_preset(name)
        if set(values) - {"for"}:
            raise UserError("a preset has no parameters but `for`", field="values", found=", ".join(values)[:60])
        place = named(world, [preset.on], at, "at")
        parts = [(one.name, one.written(own) | dict(values)) for one, own in preset.faults]
    else:
        place = named(world, [find_fault(name).on], at, "at")
        parts = [(name, dict(values))]
    for part, own in parts:
        world.faults.checked(part, place, own)

    def do() -> None:
        for part, own in parts:
            world.faults.on(part, place, own)

    return Prepared(do, f"{name} is on: {place}")


def _fault_off(world: World, name: str, at: object) -> Prepared:
    preset = find_preset(name) if is_preset(name) else None
    parts = [find_fault(name)] if preset is None else [fault for fault, _ in preset.faults]
    place = named(world, [parts[0].on], at, "at") if at else None
    on = [one for one in parts if any(s.fault is one and s.on and place in (None, s.at) for s in world.faults.switched)]
    if not on:
        raise UserError(
            f"{name} is not on" if place is None else f"{name} is not on there", field="fault", found=place,
            mend="`faults` lists what is on",
        )  # fmt: skip

    def do() -> None:
        for one in on:
            world.faults.off(one.name, place)

    return Prepared(do, f"{name} is off" + (f": {place}" if place else ""))


def _mark(world: World, given: Given) -> Prepared:
    text = str(given["text"]).strip()[:_LONGEST]
    if not text:
        raise UserError("a mark without a text", field="text", expected="a text", mend="say what happened")
    return Prepared(lambda: world.mark(text), f"mark: {text}")


_CAMERA = Argument("camera", "camera", "name of a camera; `-` or `_` may stand for its spaces")
_LINE = Argument("line", "line", "name of a line")
_POSITION = Argument("position", "number", "the position of the order before which it is cut, counted from 0")
_SWITCH = Argument("switch", "word", "on or off", words=("on", "off"))

ACTIONS: Mapping[str, Action] = {
    action.name: action
    for action in (
        Action("fault", "fault NAME on PLACE [PARAMETER=VALUE ...] [for=TIME] | fault NAME off [PLACE]",
               "switch a fault or a preset on or off", (
                   Argument("fault", "text", "name of a fault or a preset"), _SWITCH,
                   Argument("at", "place", "camera, converter or line; off without it: everywhere", needed=False),
                   Argument("values", "values", "parameters of the fault, and `for`: how long", needed=False)),
               _fault_words, _fault),
        Action("power", "power on|off CAMERA", "give a camera power, or take it away", (_SWITCH, _CAMERA),
               _word_and_rest("switch", "camera"), _power),
        Action("reboot", "reboot CAMERA | reboot CONVERTER [down=8s]", "restart a camera or a converter", (
                   Argument("name", "place", "name of a camera or a converter"),
                   Argument("down", "time", "how long a converter is absent", needed=False)),
               _reboot_words, _reboot),
        Action("unplug", "unplug CAMERA [cuts]", "unplug a camera; cuts: the pair ends there", (
                   _CAMERA, Argument("pair", "word", "the pair beyond it", needed=False, words=("passes", "cuts"))),
               _unplug_words, _unplug),
        Action("plug", "plug CAMERA", "plug a camera in again", (_CAMERA,), _rest("camera"), _plug),
        Action("swap", "swap CAMERA", "swap the pair at a camera", (_CAMERA,), _rest("camera"), _swap),
        Action("straight", "straight CAMERA", "undo the swap at a camera", (_CAMERA,), _rest("camera"), _straight),
        Action("cut", "cut LINE POSITION", "cut the cable of a line", (_LINE, _POSITION),
               _renamed("line", _rest_and("position")), _cut),
        Action("join", "join LINE POSITION", "close the cut", (_LINE, _POSITION),
               _renamed("line", _rest_and("position")), _join),
        Action("dial", "dial CAMERA BAUD FORMAT", "set a camera's port by its switches", (
                   _CAMERA, Argument("baud", "text", "baud"), Argument("format", "text", "format, as 8E1")),
               _renamed("camera", _rest_and("baud", "format")), _dial),
        Action("unit", "unit CAMERA BUS_ID SERIAL", "replace a camera by another unit, without power yet", (
                   _CAMERA, Argument("bus_id", "number", "its ID"), Argument("serial", "number", "its serial number")),
               _renamed("camera", _rest_and("bus_id", "serial")), _unit),
        Action("mark", "mark TEXT", "set a mark in the trace", (Argument("text", "text", "the text"),),
               _rest("text"), _mark),
    )
}  # fmt: skip


def prepare(world: World, name: object, given: Mapping[str, Any]) -> Prepared:
    """A checked action; nothing has been done yet. Raises UserError for everything that would prevent it.

    `given`: arguments by name, as text or numbers.
    """
    action = ACTIONS.get(name) if isinstance(name, str) else None
    if action is None:
        raise UserError(
            "there is no such action", found=repr(str(name)[:60]), expected="one of " + ", ".join(ACTIONS),
            mend=suggestion(str(name), ACTIONS, "`help` lists them"),
        )  # fmt: skip
    known = {argument.name: argument for argument in action.arguments}
    for key in given:
        if key not in known:
            raise UserError(
                f"`{action.name}` has no such argument", field=str(key)[:60], found=repr(str(key)[:60]),
                expected="of " + ", ".join(known), mend=f"`{action.form}`",
            )  # fmt: skip
    for argument in action.arguments:
        if argument.name not in given:
            if argument.needed:
                raise action.wrong()
            continue
        _right_kind(argument, given[argument.name])
    return action.ready(world, given)


def _right_kind(argument: Argument, value: object) -> None:
    if argument.kind == "values":
        if isinstance(value, Mapping) and all(isinstance(one, (str, int, float)) for one in value.values()):
            return
        raise UserError("not a list of values", field=argument.name, expected="names, each with a value")
    if argument.words and value not in argument.words:
        raise UserError(
            "not one of the words", field=argument.name, found=repr(str(value)[:60]),
            expected=" or ".join(argument.words), mend=f"write {argument.words[0]}",
        )  # fmt: skip
    if not isinstance(value, (str, int)) or isinstance(value, bool) or len(str(value)) > 2 * _LONGEST:
        raise UserError("not a text", field=argument.name, expected=argument.what)


def help_text() -> str:
    """Every action with its form, for people."""
    rows = [f"  {action.form}\n      {action.what}" for action in ACTIONS.values()]
    rows.append("  faults\n      list the faults that have been on, with their effects")
    rows.append("  help\n      this list")
    return "\n".join((*rows, "A line that begins with none of these words sets a mark."))
