"""The checks that send reads, and frames damaged out of reads, alone. The first line of each says what must be so."""

from __future__ import annotations

from busim.foundation.errors import Defect
from busim.foundation.units import show_time
from busim.onsite.conform.damage import damaged
from busim.onsite.conform.device import Device
from busim.onsite.conform.verdicts import DIFFERS, FAILS, HOLDS, LEFT_OUT, UNCLEAR, Verdict, judged
from busim.protocols import READ, Request

_READS = 20  # reads whose times are taken
_AFTER = 3  # sound reads after a damage within which a device must answer again


def answers(device: Device) -> Verdict:
    """Every readable value is answered, within its range."""
    wrong, readable = [], device.readable()
    for one in readable:
        reply = device.ask(device.read(one)).reply
        if reply is None:
            wrong.append(f"{one.name}: no sound reply")
        elif reply.refused:
            wrong.append(f"{one.name}: refused with code {reply.refused}")
        elif not one.low <= reply.values[0] <= one.high:
            wrong.append(f"{one.name}: found {reply.values[0]}, expected {one.low} to {one.high}")
    device.probe  # noqa: B018  # raises UserError if nothing at all was answered
    return judged(
        "Every readable value is answered, within its range", len(readable), wrong, f"model {device.model.name}"
    )


def reply_times(device: Device) -> Verdict:
    """Replies come within the time-out, and when the model says."""
    first, lost = len(device.times), 0
    for _ in range(_READS):
        lost += not device.alive()
    times = sorted(device.times[first:])
    what = "Replies come within the time-out, and when the model says"
    if lost:
        said = f"{lost} of {_READS} reads without a reply within {show_time(device.tool.time_out)}"
        return Verdict(what, FAILS, _READS, (said,), device.source("V1.02, 2.4.1"))
    raw = device.protocol.encode_request(device.probe)
    setting, reply = device.tool.setting, device.protocol.reply_bytes(device.probe)
    wire = setting.offset((len(raw) + reply) * setting.halves) + device.tool.silence
    rest = [time - wire for time in times]
    said = (
        f"measured over {len(times)} reads, sent to last byte: {show_time(times[0])} to {show_time(times[-1])}, median "
        f"{show_time(times[len(times) // 2])}; computed wire time {show_time(wire)} of it; the rest is turnaround, "
        "adapter and network"
    )
    planned = device.model.timing.turnaround
    if times[-1] < wire:
        return Verdict(what, DIFFERS, _READS, (said, "sooner than the wire takes: another baud, or no wire at all"))
    if rest[0] > planned.high:
        more = (
            f"the quickest rest, {show_time(rest[0])}, is longer than the model's turnaround of at most "
            f"{show_time(planned.high)}: adapter and network, or the device (busim measure tells them apart)"
        )
        return Verdict(what, UNCLEAR, _READS, (said, more))
    return Verdict(what, HOLDS, _READS, (said,))


def other_addresses(device: Device) -> Verdict:
    """It is silent on every other bus ID."""
    low, high = device.protocol.addresses
    own = device.bus_id
    near = [own ^ 1 << bit for bit in range(8)] + [own - 1, own + 1, low, high]
    asked = sorted({one for one in near if low <= one <= high} - {own})
    wrong = []
    for bus_id in asked:
        heard = device.tool.ask(device.probe._replace(address=bus_id), time_out=device.quiet)
        if heard.reply is not None:
            how = f"refuses with code {heard.reply.refused}" if heard.reply.refused else "answers"
            wrong.append(f"ID {bus_id} {how}: this device too, or another one on the line (test one device alone)")
        elif heard.rest:
            wrong.append(f"ID {bus_id}: {_hex(heard.rest)}")
    return judged("It is silent on other bus IDs", len(asked), wrong, device.source("V1.02, 2.2"))


def damaged_frames(device: Device) -> Verdict:
    """It is silent on damaged frames, and answers the next sound read."""
    wrong, tried = [], 0
    for one in damaged(device.protocol, device.probe):
        if not device.safe(one.raw):
            continue
        tried += 1
        if heard := device.unanswered(one.raw):
            wrong.append(f"{one.title}: answered with {_hex(heard)}")
        if (lost := _lost(device)) > 0:
            wrong.append(f"{one.title}: {_reads(lost)} after it without a reply")
    what = "It is silent on damaged frames, and answers the next sound read"
    return judged(what, tried, wrong, device.source("V1.02, 2.5.1.2 and 2.4.2"))


def split_frames(device: Device) -> Verdict:
    """A frame with a pause in it is dropped, and the next one answered."""
    raw = device.protocol.encode_request(device.probe)
    ignored, wrong, tried = [], [], 0
    for place in range(1, len(raw)):
        head, tail = raw[:place], raw[place:]
        if not device.safe(raw):
            continue
        tried += 1
        device.tool.send(head, 0)  # the silence of the protocol passes before the rest
        if device.unanswered(tail):
            ignored.append(place)
        if (lost := _lost(device)) > 0:
            wrong.append(f"a pause after byte {place - 1}: {_reads(lost)} after it without a reply")
    what = "A frame with a pause in it is dropped, and the next sound read answered"
    source = device.source("V1.02, 2.5.1.1: should be discarded")
    if wrong or not ignored or not device.standard or not tried:
        return judged(what, tried, wrong, source)
    places = ", ".join(str(place - 1) for place in ignored)
    return Verdict(what, DIFFERS, tried, (f"answered in spite of a pause after byte {places}",), source)


def exceptions(device: Device) -> Verdict:
    """Reads of what it has not are refused, each with its code."""
    keys = set(device.keys.values())
    beyond = next(key for key in range(0xFFFE, 0, -1) if key not in keys and key - 1 not in keys)
    known = device.probe.key
    cases = [("a key that the model has not", Request(device.bus_id, READ, beyond, 1), (2,))]
    if device.standard:
        cases += [
            ("no register at all", Request(device.bus_id, READ, known, 0), (3,)),
            ("126 registers", Request(device.bus_id, READ, known, 126), (3,)),
        ]
    wrong, tried = [], 0
    for title, request, codes in cases:
        try:
            device.protocol.encode_request(request)
        except Defect:  # the protocol cannot say this
            continue
        tried += 1
        reply = device.ask(request, time_out=device.quiet).reply
        if reply is None:
            wrong.append(f"{title}: no sound reply")
        elif reply.refused not in codes and device.standard:
            found = f"code {reply.refused}" if reply.refused else f"a value, {reply.values[0]}"
            wrong.append(f"{title}: {found}, expected code {codes[0]}")
        elif not reply.refused:
            wrong.append(f"{title}: a value, expected a refusal")
    what = "Reads of what it has not are refused, each with its code"
    if not tried:
        return Verdict(what, LEFT_OUT, said=("the protocol has no such message",))
    return judged(what, tried, wrong, device.source("V1.1b3, 6.3 and 7"))


def _lost(device: Device) -> int:
    """The number of sound reads without a reply before the first with one."""
    for lost in range(_AFTER):
        if device.alive():
            return lost
    return _AFTER


def _reads(number: int) -> str:
    return f"{number} sound read{'' if number == 1 else 's'}"


def _hex(data: bytes) -> str:
    return data[:16].hex(" ").upper() + (" ..." if len(data) > 16 else "")
