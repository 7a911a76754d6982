"""The packets that the tap of a line would have captured: bursts, replaced by the characters it heard if they differ.

The tap is the line's converter, or without one its first master. A `heard` record may cover several bursts and has only
the instants of its first and last character. So it is compared with the bursts: those that agree at its front and at
its end are packets of their own. The middle is cut by length if nothing overlapped and the lengths agree, and is one
packet otherwise. The tap's own bursts are as it sent them, unless the lengths show that it hears its own echo.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import NamedTuple

from busim.recording.trace import BURST, HEARD, Record, Trace


class Packet(NamedTuple):
    """Characters on a line from the instant `at`; `sent` is given if they differ from those sent."""

    at: int
    from_camera: bool
    data: bytes
    sent: bytes | None


class _Burst(NamedTuple):
    driver: int
    start: int
    end: int
    data: bytes
    from_camera: bool


def captured(trace: Trace, line: int, at: int | None = None) -> Iterator[Packet]:
    """The packets of a line in order of time; `at`: as this station captures them, else as its tap does.

    Holds one heard stretch in memory.
    """
    bursts = _bursts(trace, line)
    ahead = next(bursts, None)
    tap = _tap(trace, line) if at is None else at
    slack = _longest_character(trace)
    heards = (record for record in trace.records(HEARD, line=line, by_time=True) if record[2] == tap)
    for heard in heards:
        first, last = heard[3], heard[4]
        covered: list[_Burst] = []
        packets: list[Packet] = []
        while ahead is not None and ahead.start < last:
            if ahead.end + slack <= first:
                packets.append(_as_sent(ahead))
            else:
                covered.append(ahead)
            ahead = next(bursts, None)
        packets += _cut(covered, heard, tap)
        yield from sorted(packets, key=lambda packet: packet.at)
    while ahead is not None:
        yield _as_sent(ahead)
        ahead = next(bursts, None)


def _bursts(trace: Trace, line: int) -> Iterator[_Burst]:
    cameras = {number for number, name in trace.names.items() if name.kind == "camera"}
    for _, _, driver, start, end, _, data, _ in trace.records(BURST, line=line, by_time=True):
        if data:  # otherwise a break, which is no character
            yield _Burst(driver, start, end, data, driver in cameras)


def _tap(trace: Trace, line: int) -> int:
    """The station that captures: the line's converter, else the first master that heard a difference; 0 for none."""
    for number, name in trace.names.items():
        if name.kind == "converter" and name.parent == line:
            return int(number)
    masters = {number for number, name in trace.names.items() if name.kind == "master"}
    return min(masters & {record[2] for record in trace.records(HEARD, line=line)}, default=0)


def _longest_character(trace: Trace) -> int:
    """ns of the longest character at any setting: a receiver may decide on a burst for so long after its end."""
    return max(
        (round(setting.format.half_bits * 10**9 / (2 * setting.true_baud)) for setting in trace.settings.values()),
        default=0,
    )


def _cut(covered: Sequence[_Burst], heard: Record, tap: int) -> list[Packet]:
    """Share out the heard characters among the bursts they cover."""
    data: bytes = heard[5]
    others = [burst for burst in covered if burst.driver != tap]
    own = [_as_sent(burst) for burst in covered if burst.driver == tap]
    if own and _length(covered) == len(data) != _length(others):
        others, own = list(covered), []
    front: list[Packet] = []
    while others and _alone(others[0], others[1:]) and data.startswith(others[0].data):
        data = data[len(others[0].data) :]
        front.append(_as_sent(others.pop(0)))
    back: list[Packet] = []
    while others and _alone(others[-1], others[:-1]) and data.endswith(others[-1].data):
        data = data[: len(data) - len(others[-1].data)]
        back.append(_as_sent(others.pop()))
    return own + front + _middle(others, data, heard[3]) + back


def _middle(bursts: Sequence[_Burst], data: bytes, first: int) -> list[Packet]:
    if not bursts:
        return [Packet(first, False, data, b"")] if data else []
    apart = all(one.end <= two.start for one, two in pairwise(bursts))
    if not apart or _length(bursts) != len(data):
        sent = b"".join(burst.data for burst in bursts)
        return [Packet(bursts[0].start, bursts[0].from_camera, data, sent)]
    packets = []
    for burst in bursts:
        mine, data = data[: len(burst.data)], data[len(burst.data) :]
        packets.append(Packet(burst.start, burst.from_camera, mine, None if mine == burst.data else burst.data))
    return packets


def _as_sent(burst: _Burst) -> Packet:
    return Packet(burst.start, burst.from_camera, burst.data, None)


def _alone(burst: _Burst, others: Sequence[_Burst]) -> bool:
    return all(other.end <= burst.start or burst.end <= other.start for other in others)


def _length(bursts: Sequence[_Burst]) -> int:
    return sum(len(burst.data) for burst in bursts)
