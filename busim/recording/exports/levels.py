"""From records to the levels at one place of a pair over time.

Every driver's characters are laid out again from its setting, by the formula of the line: half-bit n of a burst lies at
start + (2*n*10**9 + d) // (2*d) with d = 2 x baud. They reach the place after the propagation delay. If drivers
overlap, the line's contention decides. A driver that comes late or leaves early cuts bits here too; disturbances invert
levels or pull the undriven pair to space. An undriven pair is drawn as mark.

This code follows the definitions and shares none with the simulator's path from bursts to levels. The tests compare a
decoder's reading of these levels with the characters that the simulator recorded as heard.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterator
from fractions import Fraction
from typing import NamedTuple

from busim.foundation.errors import UserError
from busim.foundation.units import CharFormat
from busim.physics.contention import Driven, winner
from busim.recording.exports.cables import Cable, Place
from busim.recording.trace import BURST, PULSE, Record, Setting, Trace

_MARK, _SPACE, _OFF = 1, 0, 2
_FLIP, _FLOAT = -1, -2  # instead of a driver's number


class _Change(NamedTuple):
    """From `at` on a driver's state is `state`, at its own place since `since`; or a pulse begins or ends.

    `turn`: the number of the driver's burst, so that the end of one does not end the next.
    """

    at: int
    driver: int
    turn: int
    state: int
    since: int


class Levels:
    """The levels at one place. `changes()`: (ns, level of the pair, level at the receiver's output), in order of time,
    each with at least one of them new. Both start at mark (the output of a swapped receiver at space).

    A receiver without echo is off while its own station sends; its output is then mark. A fail-safe receiver reads a
    floating pair as mark.
    """

    def __init__(self, trace: Trace, line: int, cable: Cable, place: Place) -> None:
        self._trace = trace
        self._line = line
        self._cable = cable
        self._place = place
        self._pending: list[_Change] = []
        self._turns: dict[int, int] = {}  # bursts so far, per driver
        self._off: dict[int, int] = {}  # release of its last burst, per driver
        self._driven: dict[int, tuple[int, Driven]] = {}
        self._flips = self._floats = 0
        self._shown = (_MARK, _MARK ^ place.inverted)

    def changes(self) -> Iterator[tuple[int, int, int]]:
        """Reads the trace once and holds only overlapping bursts in memory. Raises UserError (damaged)."""
        lead = max((setting.lead for setting in self._trace.settings.values()), default=0)
        bursts = self._trace.records(BURST, line=self._line, by_time=True)
        pulses = self._trace.records(PULSE, line=self._line, by_time=True)
        for record in heapq.merge(bursts, pulses, key=_begins):
            yield from self._settled(_begins(record) - max(lead, 0))
            if record[0] == BURST:
                self._take_burst(record)
            else:
                self._take_pulse(record)
        yield from self._settled(None)

    def _take_burst(self, record: Record) -> None:
        _, _, driver, start, end, label, data, _ = record
        setting, sender = self._trace.settings.get(label), self._cable.place(driver)
        if setting is None or sender is None:
            raise UserError(
                "the trace is damaged", file=self._trace.path,
                found=f"a burst of station {driver} with setting {label} on line {self._line}",
                expected="a station of that line, and a setting of the trace", mend="use a copy of it",
            )  # fmt: skip
        delay = abs(sender.at - self._place.at)
        turn = self._turns[driver] = self._turns.get(driver, 0) + 1
        begun = start - max(setting.lead, 0)
        if self._off.get(driver, 0) > begun:  # it held the pair, and now takes it again
            heapq.heappush(self._pending, _Change(begun + delay, driver, turn - 1, _OFF, begun))
        for at, state in driver_states(setting, start, end, data):
            heapq.heappush(self._pending, _Change(at + delay, driver, turn, state, at))
            self._off[driver] = at

    def _take_pulse(self, record: Record) -> None:
        _, _, start, end, floating = record
        if floating and self._place.fail_safe:
            return
        kind = _FLOAT if floating else _FLIP
        heapq.heappush(self._pending, _Change(start, kind, 0, 1, start))
        heapq.heappush(self._pending, _Change(end, kind, 0, -1, start))

    def _settled(self, before: int | None) -> Iterator[tuple[int, int, int]]:
        """The changes before the next record, which are certain; all changes of one instant count as one."""
        pending = self._pending
        while pending and (before is None or pending[0].at < before):
            at = pending[0].at
            while pending and pending[0].at == at:
                self._make(heapq.heappop(pending))
            levels = self._levels()
            if levels != self._shown:
                self._shown = levels
                yield at, *levels

    def _make(self, change: _Change) -> None:
        _, driver, turn, state, since = change
        if driver == _FLIP:
            self._flips += state
        elif driver == _FLOAT:
            self._floats += state
        elif turn >= self._driven.get(driver, (0, None))[0]:
            if state == _OFF:
                self._driven.pop(driver, None)
            else:
                sender = self._cable.place(driver)
                assert sender is not None
                delay = abs(sender.at - self._place.at)
                self._driven[driver] = turn, Driven(sender.order, state, since, delay)

    def _levels(self) -> tuple[int, int]:
        drivers = [driven for _, driven in self._driven.values()]
        level = _SPACE if self._floats else _MARK
        if drivers:
            level = winner(self._cable.contention, self._cable.coin_key, drivers)
        level ^= self._flips & 1
        if self._place.number in self._driven and not self._place.echo:
            return level, _MARK
        return level, level ^ self._place.inverted


def _begins(record: Record) -> int:
    return int(record[3] if record[0] == BURST else record[2])


def driver_states(setting: Setting, start: int, end: int, data: bytes) -> Iterator[tuple[int, int]]:
    """(ns, 1 mark, 0 space or 2 off) of a burst's driver at its own place; without data a break, space from end to end.

    Includes lead and hold: a driver that comes late or leaves early cuts bits.
    """
    turn = int(setting.inverted)
    if not data:
        yield start, _SPACE ^ turn
        yield end, _OFF
        return
    on, off = start - setting.lead, end + setting.hold
    baud = setting.true_baud
    if end < start + _offset(baud, len(data) * setting.format.half_bits):  # its driver lost its power
        off = end
    if on >= off:  # it comes after its burst
        return
    level = _MARK
    inside = []
    for at, after in _edges(setting.format, baud, start, data):
        if at <= on:
            level = after
        elif at < off:
            inside.append((at, after ^ turn))
    yield on, level ^ turn
    yield from inside
    yield off, _OFF


def _edges(format: CharFormat, baud: Fraction, start: int, data: bytes) -> Iterator[tuple[int, int]]:
    """(instant, new level) of each edge of a burst as its UART makes it, before any swap of the pair."""
    level, half = 1, 0
    for value in data:
        bits = format.levels(value)
        for place, bit in enumerate([*bits, 1]):
            if bit != level:
                yield start + _offset(baud, half + 2 * place), bit
                level = bit
        half += format.half_bits


def _offset(baud: Fraction, halves: int) -> int:
    """ns from the start of a burst to one of its half bits, the nearest whole number."""
    return (halves * 10**9 * baud.denominator + baud.numerator) // (2 * baud.numerator)
