"""Cause of a failed step: what the laptop received, and what the emulator knows to be the cause.

The two stay apart, because on site only the first is known. So each reason says how to find the cause there, and says
so where a laptop would notice nothing.
"""

from __future__ import annotations

from busim.commissioning.rehearse.emulated_state import EmulatedState
from busim.commissioning.rehearse.result import (
    CUT,
    DAMAGED,
    NO_POWER,
    NOT_SAVED,
    OTHER_ID,
    OTHER_UNIT,
    REFUSED,
    SILENT,
    STARTING,
    SWAPPED,
    TWO_ANSWERED,
    UNPLUGGED,
    WRONG_BAUD,
    WRONG_CAMERA,
    WRONG_FORMAT,
    Reason,
)
from busim.simulator.world import Heard


def why(site: EmulatedState, camera: str, bus_id: int, heard: Heard) -> Reason | None:
    """Why a request to `camera` at `bus_id` brought no single valid reply from it; None where it did."""
    who = heard.beneath.who
    if len(who) > 1:
        return _several(bus_id, heard)
    if heard.reply is not None:
        if who and who[0] != camera:
            return Reason(
                WRONG_CAMERA,
                f"{who[0]!r} answered at bus ID {bus_id} instead of {camera!r}; only the serial number shows it",
                f"connect {camera!r} alone, read its serial number and compare it with the label",
            )  # fmt: skip
        return None if not heard.reply.refused else _refused(camera)
    if who:
        flawed = heard.beneath.flawed
        return Reason(
            DAMAGED, f"{who[0]!r} answered, but {flawed} of its characters reached the converter damaged",
            "check terminators, bias and the settings of both ports; damage each time points to a setting, "
            "damage now and then to noise",
        )  # fmt: skip
    return silence(site, camera, bus_id)


def _several(bus_id: int, heard: Heard) -> Reason:
    who = heard.beneath.who
    how = "at the same time" if heard.beneath.together else "one after the other"
    clean = len(heard.replies) == 1 and not heard.rest
    unnoticed = "; together they read as one valid reply, so a laptop notices nothing" if clean else ""
    return Reason(
        TWO_ANSWERED, f"{len(who)} cameras answered at bus ID {bus_id}, {how}: {', '.join(map(repr, who))}{unnoticed}",
        "unplug all but one of them; give that one its own bus ID and save it before you plug in the next",
    )  # fmt: skip


def _refused(camera: str) -> Reason:
    return Reason(
        REFUSED, f"{camera!r} refused the request: the setting is locked, out of range or unknown to it",
        "switch automatic functions off, wait for any save to end, and look up the code in the camera's manual",
    )  # fmt: skip


def silence(site: EmulatedState, camera: str, bus_id: int) -> Reason:
    """Why a camera did not answer at all: the first cause that the emulator knows."""
    port = site.port(camera)
    return (
        _off_the_pair(site, camera)
        or _no_power(site, camera)
        or _cut_off(site, camera)
        or _port_set_otherwise(site, camera)
        or _elsewhere(site, camera, bus_id)
        or Reason(
            SILENT, f"{camera!r} listens at bus ID {port.camera.bus_id}, but this request reached it damaged",
            "ask again; if it happens now and then, check terminators, bias and other cables along the run",
        )
    )  # fmt: skip


def _off_the_pair(site: EmulatedState, camera: str) -> Reason | None:
    if camera not in site.unplugged:
        return None
    return Reason(
        UNPLUGGED, f"{camera!r} is not connected to the pair", "plug it in, and check that it is the right plug"
    )


def _cut_off(site: EmulatedState, camera: str) -> Reason | None:
    if site.reaches(camera):
        return None
    openings = [(name, site.opens(name)) for name in site.on_line(site.cameras[camera].line) if site.opens(name)]
    at = " or ".join(f"{name!r}, {why_so}" for name, why_so in openings)
    return Reason(
        CUT, f"the pair is open between the converter and {camera!r}" + (f" at {at}" if at else ""),
        "the last camera that answers is next to the break: check the plugs and the cable after it, and join the pair",
    )  # fmt: skip


def _no_power(site: EmulatedState, camera: str) -> Reason | None:
    port = site.port(camera)
    if not port.powered:
        return Reason(
            NO_POWER, f"{camera!r} has no power",
            "measure at its plug; switch the supply off before you open anything; mains is for a licensed electrician",
        )  # fmt: skip
    if not port.hears:
        return Reason(
            STARTING, f"{camera!r} is starting or saving, and ignores requests",
            "wait for the time in its manual, and ask again",
        )  # fmt: skip
    return None


def _port_set_otherwise(site: EmulatedState, camera: str) -> Reason | None:
    own = site.port(camera).station.setting
    line = site.tools[site.cameras[camera].line].station.setting
    if own.inverted != line.inverted:
        return Reason(
            SWAPPED, f"the two wires of the pair are swapped at {camera!r}, so it sees every level inverted",
            "swap the two wires in its plug; on the undriven pair, the same wire must be the higher one everywhere",
        )  # fmt: skip
    if own.baud != line.baud and own.format != line.format:
        return Reason(
            WRONG_BAUD,
            f"{camera!r} is set to {own.baud} Bd {own.format} and the line runs at {line.baud} Bd {line.format}",
            f"set the camera to {line.baud} Bd {line.format}; to find its settings, begin with those that it is "
            "delivered with",
        )
    if own.baud != line.baud:
        return Reason(
            WRONG_BAUD, f"{camera!r} is set to {own.baud} Bd and the line runs at {line.baud} Bd",
            f"set the camera to {line.baud} Bd; to find its baud, ask at the other rates in turn",
        )  # fmt: skip
    if own.format != line.format:
        return Reason(
            WRONG_FORMAT, f"{camera!r} is set to {own.format} and the line runs {line.format}",
            f"set the camera to {line.format}; to find its format, ask with the other formats in turn",
        )  # fmt: skip
    return None


def _elsewhere(site: EmulatedState, camera: str, bus_id: int) -> Reason | None:
    """The reason where the camera has another ID than the one asked."""
    own = site.port(camera).camera
    if own.bus_id == bus_id:
        return None
    planned = site.cameras[camera]
    if planned.serial is not None and "serial" in own.values and own.values["serial"] != planned.serial:
        return Reason(
            OTHER_UNIT,
            f"another unit hangs at {camera!r}: serial number {own.values['serial']}, bus ID {own.bus_id}",
            f"unplug the other cameras with bus ID {own.bus_id}, give this one bus ID {bus_id}, and save",
        )
    if camera in site.assigned and own.bus_id == planned.factory_id:
        return Reason(
            NOT_SAVED, f"{camera!r} took its new bus ID but did not keep it: it is back at {own.bus_id}",
            f"give it bus ID {bus_id} again, save, wait until the save has ended, power it off and on, read back",
        )  # fmt: skip
    return Reason(
        OTHER_ID,
        f"{camera!r} has bus ID {own.bus_id}, not {bus_id}",
        f"give it bus ID {bus_id} and save, or correct the plan",
    )
