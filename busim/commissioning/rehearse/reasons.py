"""Why a step failed: what the laptop heard, in words, and what the emulator knows to be behind it.

The two are kept apart. On site there is only the first, so every reason says how to find out which one it is there, and
where a laptop would notice nothing at all it says that.
"""

from __future__ import annotations

from busim.commissioning.rehearse.result import Reason
from busim.commissioning.rehearse.site import Site
from busim.simulator.world import Heard

TWO_ANSWERED, NOT_SAVED, OTHER_ID, WRONG_CAMERA = "two-answered", "not-saved", "other-id", "wrong-camera"
NO_POWER, UNPLUGGED, CUT, STARTING = "no-power", "unplugged", "cut", "starting"
SWAPPED, WRONG_BAUD, WRONG_FORMAT = "swapped", "wrong-baud", "wrong-format"
DAMAGED, REFUSED, FOREIGN, NO_ORDER, OTHER_UNIT = "damaged", "refused", "foreign", "no-order", "other-unit"
MOVED_OTHERS, NOT_MOVED, SILENT, NOISE = "moved-others", "not-moved", "silent", "noise"

_SHOWN = 24  # bytes of a heap of bytes that are printed


def seen(heard: Heard) -> str:
    """What the laptop heard of one question."""
    waited = f"within {heard.length / 1e6:.1f} ms"
    if heard.silent:
        return f"nothing {waited}"
    if len(heard.replies) > 1:
        values = ", ".join(" ".join(map(str, one.reply.values)) or "acknowledged" for one in heard.replies)
        return f"{len(heard.replies)} sound replies to one question ({values}) {waited}"
    if heard.replies:
        reply = heard.replies[0].reply
        said = f"refused with code {reply.refused}" if reply.refused else " ".join(map(str, reply.values)) or "ok"
        more = f", and {len(heard.rest)} bytes that belong to no reply: {_hex(heard.rest)}" if heard.rest else ""
        return f"one sound reply ({said}){more}"
    return f"{len(heard.data)} bytes that make no sound reply: {_hex(heard.data)}"


def _hex(data: bytes) -> str:
    return data[:_SHOWN].hex(" ").upper() + (" ..." if len(data) > _SHOWN else "")


def why(site: Site, camera: str, id: int, heard: Heard) -> Reason | None:
    """Why a question to `camera` at `id` had no single sound reply of it; None where it had."""
    who = heard.beneath.who
    if len(who) > 1:
        return _several(id, heard)
    if heard.reply is not None:
        if who and who[0] != camera:
            return Reason(
                WRONG_CAMERA, f"{who[0]!r} answered at bus ID {id}, and not {camera!r}; only the serial number tells",
                "find out which plug is which: connect the one alone and compare the serial number on its label",
            )  # fmt: skip
        return None if not heard.reply.refused else _refused(camera)
    if who:
        flawed = heard.beneath.flawed
        return Reason(
            DAMAGED, f"{who[0]!r} answered, and {flawed} characters of it reached the converter with errors",
            "look at terminators, bias and the settings of both ports; a reply that is damaged each time is a setting, "
            "one that is damaged now and then is noise",
        )  # fmt: skip
    return silence(site, camera, id)


def _several(id: int, heard: Heard) -> Reason:
    who = heard.beneath.who
    how = "at the same time" if heard.beneath.together else "one after the other"
    clean = len(heard.replies) == 1 and not heard.rest
    unnoticed = "; it reads as one sound reply, and a laptop notices nothing" if clean else ""
    return Reason(
        TWO_ANSWERED, f"{len(who)} cameras answered at bus ID {id}, {how}: {', '.join(map(repr, who))}{unnoticed}",
        "leave one of them connected and take the others off the pair; give it its own ID and save it before the next",
    )  # fmt: skip


def _refused(camera: str) -> Reason:
    return Reason(
        REFUSED, f"{camera!r} refused it: something of it is locked, out of range or not known to it",
        "switch automatic functions off, wait until a save is over, and see the camera's manual for the code",
    )  # fmt: skip


def silence(site: Site, camera: str, id: int) -> Reason:
    """Why a camera did not answer at all, as the emulator knows: the first thing that keeps it from doing so."""
    port = site.port(camera)
    return (
        _off_the_pair(site, camera)
        or _no_power(site, camera)
        or _cut_off(site, camera)
        or _port_set_otherwise(site, camera)
        or _elsewhere(site, camera, id)
        or Reason(
            SILENT, f"{camera!r} hears at bus ID {port.camera.id}, and this question did not come through whole to it",
            "ask again; where that happens now and then, look at terminators, bias and what runs beside the cable",
        )
    )  # fmt: skip


def _off_the_pair(site: Site, camera: str) -> Reason | None:
    if camera not in site.unplugged:
        return None
    return Reason(
        UNPLUGGED, f"{camera!r} is not connected to the pair", "put its plug in, and see that it is the right one"
    )


def _cut_off(site: Site, camera: str) -> Reason | None:
    if site.reaches(camera):
        return None
    openings = [(name, site.opens(name)) for name in site.on_line(site.cameras[camera].line) if site.opens(name)]
    at = " or ".join(f"{name!r}, {why_so}" for name, why_so in openings)
    return Reason(
        CUT, f"the pair is open between the converter and {camera!r}" + (f" at {at}" if at else ""),
        "the last camera that answers stands before the opening: look at what follows it, and join the pair there",
    )  # fmt: skip


def _no_power(site: Site, camera: str) -> Reason | None:
    port = site.port(camera)
    if not port.powered:
        return Reason(
            NO_POWER, f"{camera!r} has no power",
            "measure at its plug; switch the supply off before you open anything, and leave mains to whoever may",
        )  # fmt: skip
    if not port.hears:
        return Reason(
            STARTING, f"{camera!r} is starting or saving and does not hear",
            "wait as long as its manual says, and ask again",
        )  # fmt: skip
    return None


def _port_set_otherwise(site: Site, camera: str) -> Reason | None:
    own = site.port(camera).station.setting
    line = site.tools[site.cameras[camera].line].station.setting
    if own.inverted != line.inverted:
        return Reason(
            SWAPPED, f"the two wires of the pair are swapped at {camera!r}: it sees every level turned over",
            "swap the two wires in its plug; undriven, the same wire of the pair has to be the higher one everywhere",
        )  # fmt: skip
    if own.baud != line.baud:
        return Reason(
            WRONG_BAUD, f"{camera!r} is set to {own.baud} Bd and the line runs at {line.baud} Bd",
            f"set the camera to {line.baud} Bd; ask at the other rates in turn to find the one it has",
        )  # fmt: skip
    if own.format != line.format:
        return Reason(
            WRONG_FORMAT, f"{camera!r} is set to {own.format} and the line runs {line.format}",
            f"set the camera to {line.format}; ask with the other formats in turn to find the one it has",
        )  # fmt: skip
    return None


def _elsewhere(site: Site, camera: str, id: int) -> Reason | None:
    """It answers at another ID than it was asked at."""
    own = site.port(camera).camera
    if own.id == id:
        return None
    planned = site.cameras[camera]
    if planned.serial is not None and "serial" in own.values and own.values["serial"] != planned.serial:
        return Reason(
            OTHER_UNIT,
            f"at {camera!r} hangs another unit, with serial number {own.values['serial']} and bus ID {own.id}",
            f"take the others with bus ID {own.id} off the pair, give this one bus ID {id}, and save",
        )
    if camera in site.assigned and own.id == planned.factory_id:
        return Reason(
            NOT_SAVED, f"{camera!r} took its new bus ID and has not kept it: it is back at {own.id}",
            f"give it bus ID {id} again, save, wait until the save is over, then switch it off and on and read back",
        )  # fmt: skip
    return Reason(
        OTHER_ID, f"{camera!r} has bus ID {own.id}, not {id}", f"give it bus ID {id}, and save; or correct the plan"
    )
