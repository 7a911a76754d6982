"""Each kind of step: the requests it sends, and the replies that make it pass. The same on the emulated site and on a
real line: what only one of them can do is a method of its `Site`."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import replace

from busim.commissioning.bus_scan import SERIALS, follow
from busim.commissioning.rehearse.binding import move
from busim.commissioning.rehearse.heard import seen
from busim.commissioning.rehearse.result import (
    DECLINED,
    FAILED,
    NO_ORDER,
    OK,
    OTHER_UNIT,
    SKIPPED,
    TWO_ANSWERED,
    Outcome,
    Reason,
)
from busim.commissioning.rehearse.site import Declined, Site
from busim.commissioning.rehearse.steps import Step
from busim.commissioning.scan_methods import by_serial
from busim.foundation.units import show_time
from busim.installation.rehearsal import (
    ASSIGN,
    BINDINGS,
    CONNECT,
    CYCLE,
    DIAL,
    DISCONNECT,
    IDENTIFY,
    LISTEN,
    LOOK,
    MARK,
    POWER,
    READ_BACK,
    REPLACE,
    ROUND,
    SAVE,
    SET_PORT,
    SUPPLY,
    SWAP,
    TEST_PICTURE,
    TUNE,
    WAIT,
)
from busim.simulator.world import Heard


def do(site: Site, step: Step) -> Outcome:
    """Do one step, now."""
    try:
        outcome = _ACTIONS[step.do](site, step)
        if outcome.outcome != FAILED and outcome.look and not outcome.confirmed:
            unseen = site.sees(outcome.look)
            return outcome if unseen is None else _failed(outcome.seen, unseen)
    except Declined as no:
        return _failed(str(no), Reason(DECLINED, "the person at the line said no", "begin again with this step"))
    return outcome


def _failed(heard: str, reason: Reason) -> Outcome:
    return Outcome(FAILED, heard, "", reason)


def _judged(site: Site, camera: str, bus_id: int, heard: Heard, look: str = "", said: str = "") -> Outcome:
    reason = site.why(camera, bus_id, heard)
    return Outcome(OK, said or seen(heard), look) if reason is None else _failed(seen(heard), reason)


def _at(site: Site, camera: str) -> str:
    place = site.cameras[camera].place
    return f"{camera} ({place})" if place else camera


# -- the line as it is --------------------------------------------------------------------------------------------


def _listen(site: Site, step: Step) -> Outcome:
    return site.listen(step)


def _connect(site: Site, step: Step) -> Outcome:
    site.plug(step.camera)
    return Outcome(OK, "plugged in")


def _disconnect(site: Site, step: Step) -> Outcome:
    site.unplug(step.camera, step.through)
    return Outcome(OK, "unplugged" if step.through else "unplugged; the pair ends there")


def _power(site: Site, step: Step) -> Outcome:
    site.power(step.camera, step.on)
    boot = show_time(site.model(step.camera).timing.boot)
    why_so = f": {step.text}" if step.text else ""
    return Outcome(OK, (f"powered; its model starts in {boot}" if step.on else "power off") + why_so)


def _supply(site: Site, step: Step) -> Outcome:
    fed = site.switch(step.supply, step.on)
    along = f": {', '.join(fed)}" if fed else ""
    if step.on:
        return Outcome(OK, f"{step.supply} on; all that it feeds have started{along}")
    return Outcome(OK, f"{step.supply} off{along}", "no voltage at the plug, measured")


def _tune(site: Site, step: Step) -> Outcome:
    baud, format = site.tune(step.line, step.baud, step.format)
    return Outcome(OK, f"the converter runs at {baud} Bd {format}")


def _set_port(site: Site, step: Step) -> Outcome:
    camera = step.camera
    bus_id = site.believed[camera] if step.bus_id is None else step.bus_id
    baud, format = step.baud or site.cameras[camera].port[0], step.format or site.cameras[camera].port[1]
    request = site.new_port(camera, bus_id, baud, format)
    if request is None:
        why_not = f"{camera!r} has no order over this bus that sets {baud} Bd {format}"
        return _failed("nothing was sent", Reason(NO_ORDER, why_not, "set it at its switches: `do: dial`"))
    heard = site.ask(step.line, request)
    return _judged(site, camera, bus_id, heard, "", f"acknowledged; {baud} Bd {format} after its next start")


def _cycle(site: Site, step: Step) -> Outcome:
    if step.supply:
        others = [name for name in site.switch(step.supply, False) if name != step.camera]
        site.wait(step.length)
        site.switch(step.supply, True)
        site.believed[step.camera] = site.cameras[step.camera].bus_id if step.bus_id is None else step.bus_id
        along = f"; started again with it: {', '.join(others)}" if others else ""
        return Outcome(OK, f"{step.supply} off for {show_time(step.length)}, then on{along}")
    site.power(step.camera, False)
    site.wait(step.length)
    site.power(step.camera, True)
    site.believed[step.camera] = site.cameras[step.camera].bus_id if step.bus_id is None else step.bus_id
    return Outcome(OK, f"off for {show_time(step.length)}, then on")


# -- one camera -------------------------------------------------------------------------------------------------


def _identify(site: Site, step: Step) -> Outcome:
    camera = step.camera
    bus_id = site.found_at(camera, site.believed[camera] if step.bus_id is None else step.bus_id)
    outcome = _told_apart(site, camera, bus_id, step.times)
    if outcome.outcome == OK:
        outcome = _alone(site, camera, bus_id, outcome)
    if outcome.outcome != OK:
        return outcome
    shows = site.order(camera, "identify", bus_id)
    if shows is None:
        lamp = site.parameter(camera, "identify", writable=True)
        shows = None if lamp is None else site.request(camera, lamp.name, bus_id, 1)
    if shows is None:
        return Outcome(OK, outcome.seen, f"the label of {_at(site, camera)} shows this serial number")
    answer = site.ask(step.line, shows)
    look = f"the lamp or tally of {_at(site, camera)} shows, and no other"
    return _judged(site, camera, bus_id, answer, look, outcome.seen)


def _alone(site: Site, camera: str, bus_id: int, outcome: Outcome) -> Outcome:
    """Check by a search by serial number that no other camera has this ID.

    A laptop has no other proof, since a collision may decode cleanly each time. Where the line has no such search, the
    outcome of the readings stays.
    """
    ground = site.grounds[site.cameras[camera].line]
    if SERIALS not in ground.ways or camera in ground.deaf:
        return outcome
    followed = follow(site.tools[ground.line.name], by_serial(ground.protocol, ground.pace, only=bus_id))
    found = () if followed.result is None else followed.result.found
    if len(found) > 1:
        serials = ", ".join(str(one.serial) for one in found)
        return _failed(f"{outcome.seen}; but a search by serial number finds {serials}", Reason(
            TWO_ANSWERED, f"{len(found)} cameras have bus ID {bus_id}; each answered alone",
            "leave one of them connected, and give it its own ID before the next",
        ))  # fmt: skip
    told = "finds no other camera there" if found else "gets no answer"
    return replace(outcome, seen=f"{outcome.seen}; a search by serial number {told}")


def _read_back(site: Site, step: Step) -> Outcome:
    return _told_apart(site, step.camera, _own_id(site, step), step.times)


def _own_id(site: Site, step: Step) -> int:
    return site.cameras[step.camera].bus_id if step.bus_id is None else step.bus_id


def _told_apart(site: Site, camera: str, bus_id: int, times: int) -> Outcome:
    """Read the serial number (or its substitute) `times` times: each reading valid, single, equal and as planned."""
    one = site.tell_apart(camera)
    planned = site.cameras[camera].serial if one.meaning == "serial" else None
    values: list[int] = []
    for number in range(times):
        heard = site.ask(site.cameras[camera].line, site.request(camera, one.name, bus_id))
        reason = site.why(camera, bus_id, heard)
        if reason is not None:
            before = f"{number} valid reading{'s' * (number > 1)}, then " if number else ""
            return _failed(before + seen(heard), reason)
        assert heard.reply is not None
        values.append(heard.reply.values[0])
    told = f"{one.name.replace('_', ' ')} {values[0]} at bus ID {bus_id}, {times} times of {times}"
    if len(set(values)) > 1:
        return _failed(
            f"{one.name} changes from reading to reading: {', '.join(map(str, dict.fromkeys(values)))}",
            Reason(
                TWO_ANSWERED, "more than one camera answers at this ID: the readings differ",
                "leave one of them connected, and give it its own ID before the next",
            ),
        )  # fmt: skip
    if planned is not None and values[0] != planned:
        return _failed(
            told,
            Reason(
                OTHER_UNIT, f"another unit hangs there: serial number {values[0]}, planned {planned}",
                "write this serial number into the plan, or put the planned unit there",
            ),
        )  # fmt: skip
    return Outcome(OK, told + (", as planned" if planned is not None else " (no serial number planned)"))


def _assign(site: Site, step: Step) -> Outcome:
    camera, bus_id = step.camera, _own_id(site, step)
    believed = site.believed[camera]
    protocol = site.protocol(camera)
    to = protocol.broadcast if step.broadcast and protocol.broadcast is not None else believed
    request = site.new_id(camera, to, bus_id)
    if request is None:
        return _by_hand(site, camera, bus_id)
    heard = site.ask(step.line, request)
    sent_to_all = request.address == protocol.broadcast
    if not sent_to_all:
        reason = site.why(camera, believed, heard)
        if reason is not None:
            return _failed(seen(heard), reason)
    site.assigned.add(camera)
    if site.model(camera).bus.id_takes_effect != "at-once":
        return Outcome(OK, f"{'sent to all' if sent_to_all else 'acknowledged'}; its model changes the ID later")
    site.believed[camera] = bus_id
    there = site.ask(step.line, site.request(camera, site.tell_apart(camera).name, bus_id))
    return _judged(site, camera, bus_id, there, "", f"acknowledged; answers at bus ID {bus_id}")


def _by_hand(site: Site, camera: str, bus_id: int) -> Outcome:
    site.set_by_hand(camera, bus_id)
    site.believed[camera] = bus_id
    site.by_hand.add(camera)
    look = f"the switches of {_at(site, camera)} show bus ID {bus_id}"
    return Outcome(OK, "its model has no ID change over the bus", look)


def _save(site: Site, step: Step) -> Outcome:
    camera = step.camera
    bus_id = site.believed[camera] if step.bus_id is None else step.bus_id
    bus = site.model(camera).bus
    request = site.order(camera, "save", bus_id)
    if camera in site.by_hand:
        return Outcome(OK, "its switches keep the ID")
    if request is None:
        if bus.id_kept == "at-once":
            return Outcome(OK, "its model keeps a new ID at once")
        why_not = f"{camera!r} keeps its ID only by a save, and this line has no message that saves"
        mend = "save at the camera itself, or add the save order for this protocol to its model"
        return _failed("nothing was sent", Reason(NO_ORDER, why_not, mend))
    saving = f"acknowledged; its model saves for {show_time(site.model(camera).timing.save)}"
    outcome = _judged(site, camera, bus_id, site.ask(step.line, request), "", saving)
    if outcome.outcome == OK:
        site.wait(site.model(camera).timing.save)
        if bus.id_takes_effect == "after-save":
            site.believed[camera] = site.cameras[camera].bus_id
    return outcome


def _test_picture(site: Site, step: Step) -> Outcome:
    camera, bus_id = step.camera, _own_id(site, step)
    picture = site.parameter(camera, "test_picture", writable=True)
    if picture is None:
        look = f"the input of {camera} shows the picture of {_at(site, camera)}"
        return Outcome(SKIPPED, "its model has no test picture", look)
    first = picture.choices[1 - picture.low] if len(picture.choices) > 1 - picture.low >= 0 else "the test picture"
    look, unseen = f"{first} on the input of {camera}, and on no other", None
    for value in (1, 0):
        heard = site.ask(step.line, site.request(camera, picture.name, bus_id, value))
        reason = site.why(camera, bus_id, heard)
        if reason is not None:
            return _failed(seen(heard), reason)
        if value:
            unseen = site.sees(look)  # while it is there
    told = "switched on and off, both acknowledged"
    return Outcome(OK, told, look, confirmed=True) if unseen is None else _failed(told, unseen)


def _bindings(site: Site, step: Step) -> Outcome:
    camera = step.camera
    controls = site.bound(camera, step.panel)
    if not controls:
        return Outcome(SKIPPED, "no panel controls it")
    for _, control in controls:
        result = move(site, camera, control, _own_id(site, step))
        if result.reason is not None:
            return _failed(f"{control}: {result.seen}", result.reason)
    panels = ", ".join(dict.fromkeys(panel for panel, _ in controls))
    names = ", ".join(dict.fromkeys(control for _, control in controls))
    return Outcome(
        OK, f"controls moved: {names}; no other camera moved",
        f"at {panels}, each control changes only the picture of {_at(site, camera)}",
    )  # fmt: skip


def _round(site: Site, step: Step) -> Outcome:
    """Poll each connected camera once; the reason is that of the first failure."""
    troubles: list[tuple[str, Reason]] = []
    names = [name for name in site.on_line(step.line) if name in site.met]
    for camera in names:
        bus_id = site.cameras[camera].bus_id
        told = _told_apart(site, camera, bus_id, 1)
        if told.reason is not None:
            troubles.append((f"{camera!r} at bus ID {bus_id}: {told.seen}", told.reason))
    if not names:
        return Outcome(SKIPPED, "no camera of this line came this far")
    if not troubles:
        left = [name for name in site.on_line(step.line) if name not in site.met]
        each = f"all {len(names)} answer at their IDs" if len(names) > 1 else "the camera answers at its ID"
        if left:
            each = f"{len(names)} of {len(names) + len(left)} answer at their IDs, not polled: {', '.join(left)}"
        return Outcome(OK, f"{each}; one reply per request" if left else f"{each}, one reply per request")
    return _failed("; ".join(what for what, _ in troubles), _together([reason for _, reason in troubles]))


def _together(reasons: list[Reason]) -> Reason:
    """Join several reasons: each kind once, with the number of further ones."""
    kinds = Counter(reason.code for reason in reasons)
    firsts = {reason.code: reason for reason in reversed(reasons)}
    words = [
        firsts[code].why + (f" ({count - 1} more like this)" if count > 1 else "") for code, count in kinds.items()
    ]  # fmt: skip
    return Reason(reasons[0].code, "; and ".join(words), reasons[0].mend)


# -- actions at the cable and the camera, and the rest ------------------------------------------------------------


def _swap(site: Site, step: Step) -> Outcome:
    site.swap(step.camera, step.on)
    return Outcome(OK, "its two wires are swapped" if step.on else "its two wires are right again")


def _dial(site: Site, step: Step) -> Outcome:
    baud, format = site.dial(step.camera, step.baud, step.format)
    return Outcome(OK, f"its port is set to {baud} Bd {format}")


def _replace(site: Site, step: Step) -> Outcome:
    camera = step.camera
    bus_id = site.cameras[camera].factory_id if step.bus_id is None else step.bus_id
    site.replace(camera, bus_id, step.serial or 0)
    return Outcome(OK, f"replaced by a new unit: serial number {step.serial or 0}, bus ID {bus_id}")


def _wait(site: Site, step: Step) -> Outcome:
    site.wait(step.length)
    return Outcome(OK, f"waited {show_time(step.length)}")


def _mark(site: Site, step: Step) -> Outcome:
    site.mark(step.text)
    return Outcome(OK, "marked in the trace")


def _look(_: Site, step: Step) -> Outcome:
    return Outcome(OK, "", step.text)


_ACTIONS: dict[str, Callable[[Site, Step], Outcome]] = {
    LISTEN: _listen, CONNECT: _connect, DISCONNECT: _disconnect, POWER: _power, CYCLE: _cycle, IDENTIFY: _identify,
    ASSIGN: _assign, SAVE: _save, READ_BACK: _read_back, TEST_PICTURE: _test_picture, BINDINGS: _bindings,
    ROUND: _round, SWAP: _swap, DIAL: _dial, REPLACE: _replace, WAIT: _wait, MARK: _mark, LOOK: _look,
    SUPPLY: _supply, TUNE: _tune, SET_PORT: _set_port,
}  # fmt: skip
