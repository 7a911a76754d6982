"""What a port does now and then besides sending characters: it is set anew, or holds the pair at space.

Neither has a place on the fast path. Who is on the line while it happens hears on the exact one and comes back when all
is at rest.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from busim.foundation.errors import Defect
from busim.recording.trace import BURST, Record
from busim.simulator.bus.exact import ExactPath, find_receiver
from busim.simulator.bus.receiver_groups import part
from busim.simulator.bus.setting import Setting
from busim.simulator.bus.stations import NEVER, Burst, Station
from busim.simulator.bus.uart import Uart

if TYPE_CHECKING:
    from busim.simulator.bus.line import Line


def set_anew(line: Line, exact: ExactPath, station: Station, setting: Setting) -> None:
    """Another setting for the driver and the receiver of a station, which hears for itself from here."""
    _not_sending(line, station)
    turned = setting.inverted != station.setting.inverted
    line.catch_up(station)
    group = part(line, exact, station)
    if line.under_way or turned:
        for burst in exact.recent:
            burst.exact |= not burst.closed
        exact.take(group)
    receiver = find_receiver(station)
    station.setting = group.setting = setting
    uart = station.uart = Uart(setting)
    uart.rest(line.kernel.now)
    if receiver is not None:
        receiver.version = -1
        # a start bit is a change, and it came before; where the pair is swapped the level changes now
        uart.low = not turned and not exact.wave(receiver).at(line.kernel.now)
    exact.look_again()  # those who shared its ear hear each for itself now, too


def begin_break(line: Line, exact: ExactPath, station: Station) -> None:
    now = line.kernel.now
    _not_sending(line, station)
    exact.gather(now)
    if now < line.free_at:
        for other in exact.recent:
            other.exact |= not other.closed
    for group in line.groups:
        exact.take(group)
    before, burst = station.burst, Burst.space(station, now)
    burst.off_before = before.off if before is not None else -line.span
    station.burst = burst
    exact.add(burst)
    line.under_way += 1
    line.free_at = NEVER
    exact.look_again()


def end_break(line: Line, exact: ExactPath, station: Station) -> Record:
    """The burst record of what has been a break."""
    now, burst = line.kernel.now, station.burst
    if burst is None or burst.off != NEVER:
        raise Defect(f"{station.name} ends a break and holds none")
    burst.whole = burst.end = burst.off = now
    burst.closed = True
    line.under_way -= 1
    line.exact_bursts += 1
    line.free_at = max(each.burst.off for each in line.stations if each.burst is not None)
    if line.free_at != NEVER:
        line.free_at += line.span
    exact.look_again()
    return BURST, line.number, station.label, burst.start, now, burst.setting_label, b"", 1


def _not_sending(line: Line, station: Station) -> None:
    burst = station.burst
    if burst is not None and max(burst.off, burst.end) > line.kernel.now:
        raise Defect(f"the port of {station.name} is changed while it sends")
