"""What-ifs: the right steps with one mistake or mishap put into them.

A what-if changes only the steps, so its symptoms come from the emulated line. Each declares the step and the reason at
which it shows, and a test checks both.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace

from busim.commissioning.rehearse.orders import new_id
from busim.commissioning.rehearse.result import (
    CUT,
    NOT_SAVED,
    OTHER_UNIT,
    SWAPPED,
    TWO_ANSWERED,
    UNPLUGGED,
    WRONG_BAUD,
    WRONG_FORMAT,
)
from busim.commissioning.rehearse.script import Planned, in_turn
from busim.commissioning.rehearse.steps import Assumed, Step
from busim.commissioning.rehearse.what_if import NotHere, Setting, WhatIf
from busim.foundation.errors import UserError
from busim.installation.rehearsal import (
    ASSIGN,
    CONNECT,
    DIAL,
    DISCONNECT,
    IDENTIFY,
    POWER,
    READ_BACK,
    REPLACE,
    ROUND,
    SAVE,
    SET_PORT,
    SUPPLY,
    SWAP,
    TUNE,
)
from busim.plan import Plan
from busim.protocols import BusProtocol


def what_ifs() -> dict[str, WhatIf]:
    """All what-ifs by name, in the order of printing."""
    return {one.name: one for one in _ALL}


def find_what_if(name: str) -> WhatIf:
    """The what-if of this name. Raises UserError if there is none."""
    known = what_ifs()
    if name not in known:
        raise UserError(
            "there is no what-if of this name", found=repr(name[:60]), expected="one of " + ", ".join(known),
            mend="list them with --what-ifs",
        )  # fmt: skip
    return known[name]


def what_if_steps(what_if: WhatIf, setting: Setting) -> tuple[tuple[Step, ...], str]:
    """Its steps on one line; or no steps, and the reason why it cannot happen there."""
    try:
        return tuple(what_if.make(setting)), ""
    except NotHere as reason:
        return (), str(reason)


def line_for(what_if: WhatIf, settings: Iterable[Setting]) -> tuple[Setting, tuple[Step, ...], str]:
    """The first line on which it can happen, with its steps; else the first line, and the reason why it cannot there.

    Raises UserError without a line.
    """
    first: tuple[Setting, tuple[Step, ...], str] | None = None
    for setting in settings:
        steps, why_not = what_if_steps(what_if, setting)
        if not why_not:
            return setting, steps, ""
        first = first or (setting, steps, why_not)
    if first is None:
        raise UserError("no line can be rehearsed")
    return first


def settings_for(
    plan: Plan,
    protocols: dict[str, BusProtocol],
    cameras: dict[str, Planned],
    assumed: Assumed,
    line: str | None = None,
) -> Iterator[Setting]:
    """The lines for what-ifs, the best one first; with `line` that one alone. Raises UserError without one."""
    best = setting_for(plan, protocols, cameras, assumed, line)
    yield best
    for name in _served(plan, cameras) if line is None else ():
        if name != best.line:
            yield setting_for(plan, protocols, cameras, assumed, name)


def _served(plan: Plan, cameras: dict[str, Planned]) -> list[str]:
    """The lines with both a converter and a camera."""
    return [
        one.name for one in plan.lines
        if any(place.kind == "converter" for place in one.order) and in_turn(cameras, one.name)
    ]  # fmt: skip


def setting_for(
    plan: Plan,
    protocols: dict[str, BusProtocol],
    cameras: dict[str, Planned],
    assumed: Assumed,
    line: str | None = None,
) -> Setting:
    """The line for what-ifs: the one named, else the first with a converter and three cameras, else that with most.

    Raises UserError if there is no such line.
    """
    served = _served(plan, cameras)
    if (line is not None and line not in served) or not served:
        raise UserError(
            "this line cannot be used for a what-if" if line else "the plan has no line for a what-if",
            found=repr(line[:60]) if line else "no line with both a converter and a camera",
            expected=" or ".join(map(repr, served))[:300] or "a line with a converter and a camera that is present",
            mend="name one of these with --line" if served else "put a converter and a camera into a line's order",
        )  # fmt: skip
    name = line or max(served, key=lambda one: min(3, len(in_turn(cameras, one))))
    return Setting(plan, name, protocols[name], tuple(in_turn(cameras, name)), cameras, assumed)


# -- how each is made ----------------------------------------------------------------------------------------------


def _several(setting: Setting) -> None:
    if len(setting.cameras) < 2:
        raise NotHere("it needs two cameras on one line")


def _behind(steps: Sequence[Step], do: str, camera: str, more: Sequence[Step]) -> list[Step]:
    """The steps, with `more` inserted after one of them."""
    at = next(number for number, step in enumerate(steps) if step.do == do and step.camera == camera)
    return [*steps[: at + 1], *more, *steps[at + 1 :]]


def _ordinary(setting: Setting) -> Planned:
    """The second camera (else the first) whose target ID is not its factory ID; one that comes at the line's settings,
    if there is one."""
    named = [camera for camera in setting.cameras if camera.bus_id != camera.factory_id]
    named = [camera for camera in named if not camera.deaf] or named
    if not named:
        raise NotHere("every camera of the line keeps its factory ID")
    return named[1] if len(named) > 1 else named[0]


def _over_the_bus(setting: Setting, camera: Planned) -> None:
    if new_id(camera.model, setting.protocol, camera.factory_id, camera.bus_id) is None:
        raise NotHere(f"{camera.model.name} has no ID change over {setting.protocol.name}: its ID is set by switches")


def _everything_first(setting: Setting) -> list[Step]:
    _several(setting)
    right = setting.right
    switched = {step.supply: step for step in right if step.do == SUPPLY}
    off = [replace(step, on=False) for step in switched.values()]
    first = [step for step in right if step.do in (CONNECT, DIAL)]
    on = [replace(step, on=True) for step in off] + [step for step in right if step.do == POWER]
    rest = [step for step in right[1:] if step.do not in (CONNECT, DIAL, POWER, SUPPLY)]
    return [right[0], *off, *first, *on, *rest]


def _settings_forgotten(setting: Setting) -> list[Step]:
    deaf = [one for one in setting.cameras if one.deaf]
    if not deaf:
        raise NotHere("every camera of the line comes at its settings")
    left = (TUNE, SET_PORT, DIAL)
    return [step for step in setting.right if step.do not in left]


def _spare_in_show(setting: Setting) -> list[Step]:
    camera = _ordinary(setting)
    spare = next((one for one in setting.plan.spares if one.model == camera.model.name), None)
    serial = (spare.serial if spare is not None else 0) or 9999
    bus_id = spare.bus_id if spare is not None else None
    swapped = Step(REPLACE, setting.line, camera.name, bus_id, handling=setting.assumed.connect, serial=serial & 0xFFFF)
    return [*setting.right, swapped, Step(ROUND, setting.line)]


def _cut_before_save(setting: Setting) -> list[Step]:
    camera = _ordinary(setting)
    _over_the_bus(setting, camera)
    if camera.model.bus.id_kept == "at-once":
        raise NotHere(f"{camera.model.name} keeps a new ID at once")
    off = Step(POWER, setting.line, camera.name, on=False, text="the power fails")
    return _behind(setting.right, ASSIGN, camera.name, [off, Step(POWER, setting.line, camera.name)])


def _broadcast(setting: Setting) -> list[Step]:
    _several(setting)
    if setting.protocol.broadcast is None:
        raise NotHere(f"{setting.protocol.name} has no broadcast")
    camera = _ordinary(setting) if setting.cameras[0].bus_id != setting.cameras[0].factory_id else setting.cameras[1]
    _over_the_bus(setting, camera)
    if any(camera.deaf for camera in setting.cameras):
        raise NotHere("cameras of the line come with other settings, so not all hear a broadcast")
    return [
        replace(step, broadcast=True) if step.do == ASSIGN and step.camera == camera.name else step
        for step in setting.right
    ]


def _swapped(setting: Setting) -> list[Step]:
    camera = _ordinary(setting)
    return _behind(setting.right, CONNECT, camera.name, [Step(SWAP, setting.line, camera.name)])


def _wrong_baud(setting: Setting) -> list[Step]:
    camera = _ordinary(setting)
    others = [one for one in camera.model.bus.bauds if one not in (camera.port[0], camera.factory_port[0])]
    if not others:
        raise NotHere(f"{camera.model.name} has no other baud")
    dial = Step(DIAL, setting.line, camera.name, baud=min(others))
    return _behind(setting.right, CONNECT, camera.name, [dial])


def _wrong_parity(setting: Setting) -> list[Step]:
    camera = _ordinary(setting)
    known = {camera.port[1].parity, camera.factory_port[1].parity}
    others = [one for one in camera.model.bus.formats if one.parity not in known]
    if not others:
        raise NotHere(f"{camera.model.name} has no other parity")
    dial = Step(DIAL, setting.line, camera.name, format=others[0])
    return _behind(setting.right, CONNECT, camera.name, [dial])


def _unplugged(setting: Setting) -> list[Step]:
    _several(setting)
    outwards = [camera for camera in setting.everybody.values() if camera.line == setting.line]
    middle = outwards[(len(outwards) - 1) // 2]
    return [*setting.right, Step(DISCONNECT, setting.line, middle.name, through=False), Step(ROUND, setting.line)]


_ALL = (
    WhatIf(
        name="everything-first",
        title="everything is connected before any ID is set",
        wrong=(
            "All cameras of the line have the same factory ID and answer together. A setting written to that ID "
            "goes into all of them."
        ),
        looks=(
            "Identifying the first camera brings damaged bytes, or a serial number that changes. Now and then it "
            "brings one valid reply, when one camera answers before the others by more than a reply."
        ),
        find=(
            "Read the serial number ten times at the factory ID. Different numbers, damaged replies or two replies "
            "to one request mean that more than one camera is there."
        ),
        mend=(
            "Unplug all cameras but the one next to the converter, and commission one camera after the other. "
            "Ladders: one person holds the ladder, and nobody stands below."
        ),
        shows=(IDENTIFY,),
        codes=(TWO_ANSWERED,),
        make=_everything_first,
    ),
    WhatIf(
        name="spare-in-show",
        title="a spare at the factory ID is swapped in during the show",
        wrong=(
            "The spare answers at the ID, baud and format it was delivered with, not at those of the camera it "
            "replaces. If another camera of the line has that ID, both answer there, and that camera is lost as well."
        ),
        looks="The replaced camera stays dead at the controller, and an untouched camera may become unsteady.",
        find="Ask at the factory ID: a serial number that is not in the plan is the spare. Compare its label.",
        mend=(
            "Set up a spare alone on the bench before it goes up: assign, save, power cycle, read back. During the "
            "show: first unplug the other camera with that ID, if there is one."
        ),
        shows=(ROUND,),
        codes=(TWO_ANSWERED, OTHER_UNIT, WRONG_BAUD, WRONG_FORMAT),
        make=_spare_in_show,
    ),
    WhatIf(
        name="cut-before-save",
        title="the power fails between setting a new ID and saving it",
        wrong="The camera acknowledged the new ID and lost it: it is back at its factory ID.",
        looks=(
            "The next order, the save or the first read-back gets no answer at the new ID. The next camera to be "
            "connected collides with it at the factory ID."
        ),
        find="Ask at the factory ID: the serial number belongs to the camera whose ID was just set.",
        mend=(
            "Assign and save again, wait until the save has ended, then power it off and on, and read back. "
            '"Acknowledged" does not mean "saved".'
        ),
        shows=(SET_PORT, SAVE, READ_BACK),
        codes=(NOT_SAVED,),
        make=_cut_before_save,
    ),
    WhatIf(
        name="broadcast-id",
        title="the new ID is sent as a broadcast",
        wrong=(
            "Every camera on the line takes the ID, even those that already had their own. No camera acknowledges "
            "a broadcast."
        ),
        looks=("The new ID brings two replies or damaged ones, and the finished cameras are silent at their IDs."),
        find="Ask at the finished IDs: silence. Ask at the new ID: more than one serial number.",
        mend=(
            "Do not save. If the models keep an ID only by a save, power all cameras off and on: the old IDs are "
            "back. Otherwise unplug all but one, and set them up again one after the other. Send an ID to one "
            "camera, never to all."
        ),
        shows=(ASSIGN, SAVE, READ_BACK, ROUND),
        codes=(TWO_ANSWERED,),
        make=_broadcast,
    ),
    WhatIf(
        name="swapped-pair",
        title="the two wires of the pair are swapped at one camera",
        wrong=("That camera sees every level inverted. Idle looks like an endless start bit, so it never answers."),
        looks="The camera is silent when it should be identified. The others work as before.",
        find=(
            "Measure the undriven pair at the plug: the same wire must be the higher one as at the other cameras. "
            "A wrong baud or format is silent too, so check its settings as well."
        ),
        mend=("Swap the two wires in that plug only. Makers name the wires differently, so trust the measurement."),
        shows=(IDENTIFY,),
        codes=(SWAPPED,),
        make=_swapped,
    ),
    WhatIf(
        name="wrong-baud",
        title="one camera is set to another baud",
        wrong="It receives every character wrong, so it never answers.",
        looks="The camera is silent when it should be identified, just like a swapped pair.",
        find="Connect that camera alone and ask at its other rates in turn. It answers at its own.",
        mend="Set the camera to the baud of the line and read back. Leave the line as it is.",
        shows=(IDENTIFY,),
        codes=(WRONG_BAUD,),
        make=_wrong_baud,
    ),
    WhatIf(
        name="settings-forgotten",
        title="cameras are connected at their factory baud and format, and nobody sets them",
        wrong="They do not understand the line, so they never answer. They look dead, or like a wiring fault.",
        looks="New cameras are silent one after the other when they should be identified, though power is there.",
        find="Set the converter to the factory settings of the model, and ask at the factory ID: the camera answers.",
        mend=(
            "Set the converter to the factory settings, give the camera its ID, baud and format, save, power it off "
            "and on, and set the converter back. `busim rehearse` has these steps in the order that costs least."
        ),
        shows=(IDENTIFY,),
        codes=(WRONG_BAUD, WRONG_FORMAT),
        make=_settings_forgotten,
    ),
    WhatIf(
        name="wrong-parity",
        title="one camera is set to another parity",
        wrong=("It misreads the parity bit, so some characters of every request look damaged, and it never answers."),
        looks="The camera is silent when it should be identified, though its baud is right.",
        find="Connect that camera alone and ask with the other formats in turn. It answers with its own.",
        mend="Set the camera to the format of the line and read back.",
        shows=(IDENTIFY,),
        codes=(WRONG_FORMAT,),
        make=_wrong_parity,
    ),
    WhatIf(
        name="unplugged-mid-chain",
        title="a camera in mid-chain is unplugged, and its plug does not pass the pair on",
        wrong=(
            "The pair ends there: this camera and every camera behind it are lost at once. The others may suffer "
            "too, since one terminator is cut off."
        ),
        looks="A poll of all cameras brings replies from those before this camera, and silence from it and beyond.",
        find=(
            "The last camera that answers is next to the break. Two cameras of a line lost at the same moment are "
            "hardly ever both broken."
        ),
        mend="Put the plug back, or join the pair there. Use plugs that keep the pair joined when unplugged.",
        shows=(ROUND,),
        codes=(CUT, UNPLUGGED),
        make=_unplugged,
    ),
)
