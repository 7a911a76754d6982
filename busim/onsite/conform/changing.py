"""The checks that send rubbish, broadcasts or writes, or need a person: only where somebody has allowed them."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from busim.foundation.errors import Defect
from busim.onsite.conform.damage import rubbish
from busim.onsite.conform.device import Device
from busim.onsite.conform.verdicts import DIFFERS, FAILS, HOLDS, LEFT_OUT, UNCLEAR, Verdict, judged
from busim.plan.models import Lock, Parameter
from busim.protocols import BUSY, WRITE, Request

_BACK = 120  # reads after a power cycle before it counts as not back
_AT_ONCE = 5  # pairs of reads
_MOVES = frozenset(("iris", "zoom", "focus", "pan", "tilt"))  # meanings of values that move something


def not_in_step(device: Device) -> Verdict:
    """The next sound read after rubbish is answered."""
    wrong, tried = [], 0
    for one in rubbish(device.protocol, device.probe):
        if not device.safe(one.raw):
            continue
        tried += 1
        if heard := device.unanswered(one.raw):
            wrong.append(f"{one.title}: answered with {heard[:16].hex(' ').upper()}")
        if not device.alive():
            wrong.append(f"{one.title}: the next read has no reply")
    return judged("The next sound read after rubbish is answered", tried, wrong, device.source("V1.02, 2.5.1.1"))


def busy(device: Device) -> Verdict:
    """Asked twice at once, it answers both, or one, or says that it is busy."""
    raw, wrong = device.protocol.encode_request(device.probe), []
    least = device.protocol.reply_bytes(device.probe)
    seen, garbled = set(), 0
    for _ in range(_AT_ONCE):
        device.tool.send(raw, 0)
        heard = device.unanswered(raw)
        sound, data = 0, heard
        while data:
            length = next((n for n in range(3, least + 1) if _is_reply(device, data[:n])), 0)
            sound, data = sound + (length > 0), data[length or 1 :]
        seen.add(sound)
        garbled += bool(heard) and not sound
        if not device.alive():
            wrong.append("the next read has no reply")
    what = "Asked twice at once, it answers both, or one, or says that it is busy"
    found = judged(what, _AT_ONCE, wrong, device.source("V1.1b3, 7: code 06"))
    said = [f"replies to two reads: {' or '.join(map(str, sorted(seen)))}"]
    if garbled:  # on a pair the tool's own second read drives against the first reply
        said.append(f"{garbled} of {_AT_ONCE} times garbled, as a reply is that meets the second read on the pair")
    state = UNCLEAR if garbled else HOLDS if 0 not in seen else DIFFERS
    return found if wrong else Verdict(what, state, _AT_ONCE, tuple(said), found.source)


def _is_reply(device: Device, data: bytes) -> bool:
    reply = device.protocol.decode_reply(data, device.probe)
    return reply is not None and (not reply.refused or reply.refused == BUSY)


def broadcast(device: Device) -> Verdict:
    """It does not answer a broadcast."""
    what = "It does not answer a broadcast"
    if device.protocol.broadcast is None or device.protocol.answers_broadcast:
        return Verdict(what, LEFT_OUT, said=("the protocol has none that stays unanswered",))
    found = _still(device)
    if found is None:
        return Verdict(what, LEFT_OUT, said=("no writable value of the model moves nothing",))
    one, value = found
    request = Request(device.protocol.broadcast, WRITE, device.keys[one.name], 1, (value,))
    heard = device.unanswered(device.protocol.encode_request(request))
    wrong = [f"{one.name} = {value}, which it has already, to all: {heard.hex(' ').upper()}"] if heard else []
    return judged(what, 1, wrong, device.source("V1.02, 2.1"))


def writes(device: Device) -> Verdict:
    """A written value is read back, and the value before it again."""
    what = "A written value is read back, and the value before it again"
    found = _still(device)
    if found is None:
        return Verdict(what, LEFT_OUT, said=("no writable value of the model moves nothing",))
    one, before = found
    other = before + 1 if before < one.high else before - 1
    wrong = []
    with _set_back(device, one, before):
        for value in (other, before):
            reply = device.ask(_write(device, one, value)).reply
            if reply is None or reply.refused:
                told = "no sound reply" if reply is None else f"refused with code {reply.refused}"
                wrong.append(f"{one.name} = {value}: {told}")
            back = device.ask(device.read(one)).reply
            if back is None or back.refused or back.values[0] != value:
                wrong.append(f"{one.name}: wrote {value}, read {back.values[0] if back and back.values else 'nothing'}")
    return judged(what, 2, wrong, device.source("V1.1b3, 6.6"))


def refuses_beyond(device: Device) -> Verdict:
    """A value beyond its range is refused and changes nothing."""
    what = "A value beyond its range is refused and changes nothing"
    found = _still(device)
    if found is None:
        return Verdict(what, LEFT_OUT, said=("no writable value of the model moves nothing",))
    one, before = found
    request = _write(device, one, one.high + 1)
    try:
        device.protocol.encode_request(request)
    except Defect:
        return Verdict(what, LEFT_OUT, said=("the protocol cannot say such a value",))
    wrong = []
    with _set_back(device, one, before):
        reply = device.ask(request).reply
        if reply is None:
            wrong.append(f"{one.name} = {one.high + 1}: no sound reply")
        elif reply.refused != 3 and device.standard:
            told = f"refused with code {reply.refused}" if reply.refused else "taken"
            wrong.append(f"{one.name} = {one.high + 1}: {told}, expected code 3")
        elif not reply.refused:
            wrong.append(f"{one.name} = {one.high + 1}: taken")
        now = _value(device, one)
        if now is not None and now != before:
            wrong.append(f"{one.name} is {now} now, was {before}; it is set back")
            device.ask(_write(device, one, before))
    return judged(what, 1, wrong, device.source("V1.1b3, 6.6: code 03"))


def kept_over_power(device: Device) -> Verdict:
    """It keeps its bus ID when its power goes and comes back."""
    what = "It keeps its bus ID when its power goes and comes back"
    if device.person is None:
        return Verdict(what, LEFT_OUT, said=("nobody is there to switch its power",))
    before = _serial(device)
    if not device.person(
        "Switch the power of this one device off at its supply, wait 5 s, switch it on. Keep clear of its head: it may "
        "move as it starts. Done?"
    ):
        return Verdict(what, LEFT_OUT, said=("the person did not switch its power",))
    for _ in range(_BACK):
        if device.alive():
            break
    else:
        return Verdict(what, FAILS, 1, (f"bus ID {device.bus_id} answers none of {_BACK} reads",), "asked of a person")
    after = _serial(device)
    if before != after:
        return Verdict(what, FAILS, 1, (f"serial number {after} answers at its ID, was {before}",), "asked of a person")
    if before is None:
        said = "an answer came at its ID; without a serial number it may be another device"
        return Verdict(what, UNCLEAR, 1, (said,), "asked of a person")
    return Verdict(what, HOLDS, 1, (f"serial number {after} answers",), "asked of a person")


def _serial(device: Device) -> int | None:
    one = next((one for one in device.readable() if one.meaning == "serial" or one.name == "serial"), None)
    return None if one is None else _value(device, one)


def _write(device: Device, one: Parameter, value: int) -> Request:
    return Request(device.bus_id, WRITE, device.keys[one.name], 1, (value,))


def _still(device: Device) -> tuple[Parameter, int] | None:
    """A writable value that moves nothing and is not locked now, and what it is now."""
    model = device.model
    touching = {motor.moves for motor in model.motors} | {lock.when for lock in model.locks}
    touching |= {name for limit in model.limits for name in (limit.by, limit.limits)}
    touching |= {control.name for control in model.controls}
    for one in device.readable():
        if not one.writable or one.kind != "range" or one.high <= one.low or one.meaning in _MOVES:
            continue
        if one.name in touching or any(_closed(device, lock) for lock in model.locks if one.name in lock.locks):
            continue
        value = _value(device, one)
        if value is not None:
            return one, value
    return None


@contextmanager
def _set_back(device: Device, one: Parameter, before: int) -> Iterator[None]:
    """Writes within it set the value back themselves. After Ctrl-C it is set back here; where nothing more may be sent
    (another master, a port that is gone) or the device does not do it, `device.left` says so.
    """
    device.left = f"{one.name} of bus ID {device.bus_id} was {before} and may be another value now"
    try:
        yield
    except KeyboardInterrupt:
        device.ask(_write(device, one, before))
        _checked(device, one, before)
        raise
    _checked(device, one, before)


def _checked(device: Device, one: Parameter, before: int) -> None:
    if _value(device, one) == before:
        device.left = ""


def _closed(device: Device, lock: Lock) -> bool:
    """Whether a lock is closed now; one that cannot be read counts as closed."""
    when = next((one for one in device.readable() if one.name == lock.when), None)
    return when is None or _value(device, when) in (None, lock.equals)


def _value(device: Device, one: Parameter) -> int | None:
    """The value now, None if it cannot be read."""
    reply = device.ask(device.read(one)).reply
    return None if reply is None or not reply.values else reply.values[0]
