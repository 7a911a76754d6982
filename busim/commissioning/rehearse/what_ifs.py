"""What goes wrong on site, rehearsed: each what-if is the right steps with one mistake or mishap put into them.

A what-if changes steps and nothing else, so what it shows comes out of the emulated wire and not out of a story. Each
says beforehand at which step it shows and with which reason, and a test holds it to that.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

from busim.commissioning.rehearse.orders import new_id
from busim.commissioning.rehearse.reasons import (
    CUT,
    NOT_SAVED,
    OTHER_UNIT,
    SWAPPED,
    TWO_ANSWERED,
    UNPLUGGED,
    WRONG_BAUD,
    WRONG_FORMAT,
)
from busim.commissioning.rehearse.result import Rehearsal
from busim.commissioning.rehearse.script import Planned, in_turn, line_steps
from busim.commissioning.rehearse.steps import (
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
    SWAP,
    Assumed,
    Step,
)
from busim.foundation.errors import UserError
from busim.plan import LinePlan, Plan
from busim.protocols import BusProtocol


@dataclass(frozen=True, slots=True)
class Setting:
    """What a what-if is made in: one line of a plan, its cameras in the order of connecting, what hands take."""

    plan: Plan
    line: str
    protocol: BusProtocol
    cameras: tuple[Planned, ...]
    everybody: dict[str, Planned]
    assumed: Assumed

    @property
    def right(self) -> list[Step]:
        """The steps as they should be."""
        return list(line_steps(self.plan, self.everybody, self.line, self.assumed))


Make = Callable[[Setting], list[Step]]


class NotHere(Exception):
    """A what-if that cannot happen on this line; the message says why. Never leaves this room."""


@dataclass(frozen=True, slots=True)
class WhatIf:
    """`shows`: kinds of step at which it shows, `codes`: with which reasons. The texts are for people on site."""

    name: str
    title: str
    wrong: str
    looks: str
    find: str
    mend: str
    shows: tuple[str, ...]
    codes: tuple[str, ...]
    make: Make

    def as_json(self) -> dict[str, Any]:
        """What it tells beforehand."""
        return {
            "what_if": self.name, "title": self.title, "goes_wrong": self.wrong, "looks_like": self.looks,
            "find": self.find, "mend": self.mend, "shows_at": list(self.shows), "reasons": list(self.codes),
        }  # fmt: skip

    def as_told(self, rehearsal: Rehearsal) -> bool:
        """Whether the first step that failed is one of those, with one of those reasons."""
        first = next(iter(rehearsal.failed), None)
        return first is not None and first.reason is not None and (
            first.step.do in self.shows and first.reason.code in self.codes
        )  # fmt: skip


def what_ifs() -> dict[str, WhatIf]:
    """All of them by name, in the order in which they are told."""
    return {one.name: one for one in _ALL}


def find_what_if(name: str) -> WhatIf:
    """The one of this name. Raises UserError where there is none."""
    known = what_ifs()
    if name not in known:
        raise UserError(
            "there is no what-if of this name", found=repr(name[:60]), expected="one of " + ", ".join(known),
            mend="see them with --what-ifs",
        )  # fmt: skip
    return known[name]


def what_if_steps(what_if: WhatIf, setting: Setting) -> tuple[tuple[Step, ...], str]:
    """Its steps on one line; or none, and why it cannot happen there."""
    try:
        return tuple(what_if.make(setting)), ""
    except NotHere as reason:
        return (), str(reason)


def setting_for(
    plan: Plan,
    protocols: dict[str, BusProtocol],
    cameras: dict[str, Planned],
    assumed: Assumed,
    line: str | None = None,
) -> Setting:
    """One line to try what-ifs on: the one named, else the first with a converter and several cameras.

    Raises UserError where there is no such line.
    """
    served = [
        one.name for one in plan.lines
        if any(place.kind == "converter" for place in one.order) and in_turn(cameras, one.name)
    ]  # fmt: skip
    if (line is not None and line not in served) or not served:
        raise UserError(
            "no line to try this on", found=repr(line[:60]) if line else "a plan without such a line",
            expected=" or ".join(map(repr, served))[:300] or "a line with a converter and a camera that is present",
            mend="name one of these with --line" if served else "put a converter and a camera into a line's order",
        )  # fmt: skip
    name = line or max(served, key=lambda one: min(3, len(in_turn(cameras, one))))
    return Setting(plan, name, protocols[name], tuple(in_turn(cameras, name)), cameras, assumed)


# -- how each is made ----------------------------------------------------------------------------------------------


def _several(setting: Setting) -> None:
    if len(setting.cameras) < 2:
        raise NotHere("it takes two cameras on one line")


def _behind(steps: Sequence[Step], do: str, camera: str, more: Sequence[Step]) -> list[Step]:
    """The steps with others put in behind one of them."""
    at = next(number for number, step in enumerate(steps) if step.do == do and step.camera == camera)
    return [*steps[: at + 1], *more, *steps[at + 1 :]]


def _ordinary(setting: Setting) -> Planned:
    """A camera that is not the first, where there is such a one, and is to have another ID than it comes with."""
    named = [camera for camera in setting.cameras if camera.id != camera.factory_id]
    if not named:
        raise NotHere("every camera of the line keeps the ID that it comes with")
    return named[1] if len(named) > 1 else named[0]


def _over_the_bus(setting: Setting, camera: Planned) -> None:
    if new_id(camera.model, setting.protocol, camera.factory_id, camera.id) is None:
        raise NotHere(f"{camera.model.name} takes no ID over {setting.protocol.name}: it is set by switches")


def _everything_first(setting: Setting) -> list[Step]:
    _several(setting)
    right = setting.right
    first = [step for step in right if step.do in (CONNECT, POWER)]
    return [right[0], *first, *(step for step in right[1:] if step.do not in (CONNECT, POWER))]


def _spare_in_show(setting: Setting) -> list[Step]:
    camera = _ordinary(setting)
    spare = next((one for one in setting.plan.spares if one.model == camera.model.name), None)
    serial = (spare.serial if spare is not None else 0) or 9999
    id = spare.id if spare is not None else None
    swapped = Step(REPLACE, setting.line, camera.name, id, handling=setting.assumed.connect, serial=serial & 0xFFFF)
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
    camera = _ordinary(setting) if setting.cameras[0].id != setting.cameras[0].factory_id else setting.cameras[1]
    _over_the_bus(setting, camera)
    return [
        replace(step, broadcast=True) if step.do == ASSIGN and step.camera == camera.name else step
        for step in setting.right
    ]


def _swapped(setting: Setting) -> list[Step]:
    camera = _ordinary(setting)
    return _behind(setting.right, CONNECT, camera.name, [Step(SWAP, setting.line, camera.name)])


def _line_of(setting: Setting) -> LinePlan:
    return next(one for one in setting.plan.lines if one.name == setting.line)


def _wrong_baud(setting: Setting) -> list[Step]:
    camera = _ordinary(setting)
    others = [one for one in camera.model.bus.bauds if one != _line_of(setting).baud]
    if not others:
        raise NotHere(f"{camera.model.name} can be set to no other baud")
    dial = Step(DIAL, setting.line, camera.name, baud=min(others))
    return _behind(setting.right, CONNECT, camera.name, [dial])


def _wrong_parity(setting: Setting) -> list[Step]:
    camera = _ordinary(setting)
    others = [one for one in camera.model.bus.formats if one.parity != _line_of(setting).format.parity]
    if not others:
        raise NotHere(f"{camera.model.name} can be set to no other parity")
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
            "All cameras of the line come with one bus ID and answer together; what is set at that ID is set in "
            "all of them."
        ),
        looks=(
            "When the first camera is to be identified: a heap of bytes that is no reply, or a serial number that"
            " changes. Now and then one sound reply, when one camera is quicker than the others by more than a "
            "reply."
        ),
        find=(
            "Read the serial number ten times at the factory ID. Different numbers, damaged replies, or more than"
            " one reply to one question: more than one camera is there."
        ),
        mend=(
            "Unplug all but the one next to the converter; go on with one camera after the other. On a ladder: "
            "have somebody hold it, and nobody under it."
        ),
        shows=(IDENTIFY,),
        codes=(TWO_ANSWERED,),
        make=_everything_first,
    ),
    WhatIf(
        name="spare-in-show",
        title="a spare at the factory ID is swapped in during the show",
        wrong=(
            "The spare answers at the ID that it came with, and not at that of the camera it replaces. Where "
            "another camera of the line has that ID, both answer to it, and that one is lost as well."
        ),
        looks="The replaced camera stays dead at the controller, and one that nobody touched may become unsteady.",
        find="Ask at the factory ID: a serial number that is not in the plan is the spare. Its label has it.",
        mend=(
            "Give a spare its ID on the bench, alone, before it goes up: assign, save, off and on, read back. In "
            "the show: first take the other camera with that ID off the pair, if there is one."
        ),
        shows=(ROUND,),
        codes=(TWO_ANSWERED, OTHER_UNIT),
        make=_spare_in_show,
    ),
    WhatIf(
        name="cut-before-save",
        title="the power fails after a new ID was given and before it is saved",
        wrong="The camera acknowledged the new ID and has lost it: it is back at the one it came with.",
        looks=(
            "The save, or the first reading back, is not answered at the new ID. The next camera that is "
            "connected meets it at the factory ID."
        ),
        find="Ask at the factory ID: the serial number is that of the camera whose ID was just set.",
        mend=(
            "Assign and save again, wait until the save is over, then switch off and on, and read back. "
            '"Acknowledged" is not "kept".'
        ),
        shows=(SAVE, READ_BACK),
        codes=(NOT_SAVED,),
        make=_cut_before_save,
    ),
    WhatIf(
        name="broadcast-id",
        title="the new ID is sent as a broadcast",
        wrong=(
            "Every camera on the line takes it, those that had their own ID already too. Nobody acknowledges a "
            "broadcast."
        ),
        looks=(
            "At the new ID there are two replies or damaged ones, and the cameras that were done are silent at "
            "their IDs."
        ),
        find="Ask at the IDs that were done: silence. Ask at the new one: more than one serial number.",
        mend=(
            "Do not save: where IDs are kept by a save, switch all of them off and on, and the old ones are back."
            " Else unplug all but one, and do them again one after the other. Set IDs to one camera alone, never "
            "to all."
        ),
        shows=(ASSIGN, SAVE, READ_BACK, ROUND),
        codes=(TWO_ANSWERED,),
        make=_broadcast,
    ),
    WhatIf(
        name="swapped-pair",
        title="the two wires of the pair are swapped at one camera",
        wrong=(
            "That camera sees every level turned over: idle is a start bit that never ends to it, and it never answers."
        ),
        looks="Silence when it is to be identified. The others are as they were.",
        find=(
            "Measure undriven, at the plug: the wire that is the higher one at the others has to be so here too. "
            "A camera that is set otherwise is silent as well, so look at its settings too."
        ),
        mend=(
            "Swap the two wires in that plug and no other. Wire names of makers do not agree; go by the measurement."
        ),
        shows=(IDENTIFY,),
        codes=(SWAPPED,),
        make=_swapped,
    ),
    WhatIf(
        name="wrong-baud",
        title="one camera is set to another baud",
        wrong="It hears no character right, and answers nobody.",
        looks="Silence when it is to be identified; it looks just as a swapped pair does.",
        find="With that camera alone, ask at its other rates in turn; where it answers, it is set.",
        mend="Set it to the rate of the line and read back. Do not set the line to the camera.",
        shows=(IDENTIFY,),
        codes=(WRONG_BAUD,),
        make=_wrong_baud,
    ),
    WhatIf(
        name="wrong-parity",
        title="one camera is set to another parity",
        wrong=(
            "It takes the parity bit for something else, or expects the other one: so many characters look broken "
            "to it that no request is ever whole, and it answers nobody."
        ),
        looks="Silence when it is to be identified, though the baud is right.",
        find="With that camera alone, ask with the other formats in turn; where it answers, it is set.",
        mend="Set it to the format of the line and read back.",
        shows=(IDENTIFY,),
        codes=(WRONG_FORMAT,),
        make=_wrong_parity,
    ),
    WhatIf(
        name="unplugged-mid-chain",
        title="a camera in mid-chain is unplugged, and its plug does not pass the pair on",
        wrong=(
            "The pair ends there: this camera and every one behind it are gone at once. The rest may suffer too, "
            "since one terminator is cut off."
        ),
        looks="When all are asked: silence from this camera on, as seen from the converter, and replies before it.",
        find=(
            "The last camera that answers stands before the opening. Two cameras of one line that are lost at the"
            " same moment are hardly ever both broken."
        ),
        mend="Put the plug back, or join the pair there. Use plugs that pass the pair on when they are out.",
        shows=(ROUND,),
        codes=(CUT, UNPLUGGED),
        make=_unplugged,
    ),
)
