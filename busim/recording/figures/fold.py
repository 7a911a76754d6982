"""Figures as a fold over trace records: the same live, from a file and on replay."""

from __future__ import annotations

from array import array
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Final

from busim.recording.figures.age import Age
from busim.recording.figures.clients import Presence
from busim.recording.figures.histogram import Histogram
from busim.recording.figures.hook import HookFold, no_hook
from busim.recording.figures.quantities import QUANTITIES, Value
from busim.recording.trace import BELIEF, BURST, CHANGE, EFFECT, EXCHANGE, INPUT, INTENT, RAN_TOGETHER, Record

_GOOD: Final = ("ok", "refused")
_COUNTED: Final = (
    ("time_outs", "time-out"), ("ran_together", RAN_TOGETHER), ("damaged", "damaged"), ("refused", "refused"),
)  # fmt: skip
_KEPT: Final = 512  # numbers, two for each remembered stretch
_NOBODY: Final = "no client connected"
_OUTSIDE: Final = "read from outside"  # the group of all values that clients from outside read
# How the record of an exchange from outside names the keys of a read: `read 100..101`.
READ: Final = "read "
DOTS: Final = ".."
_SPANS: Final[dict[str, tuple[str, ...]]] = {}  # the same few polls come thousands of times


@dataclass(slots=True)
class _Camera:
    exchanges: int = 0
    outcomes: dict[str, int] = field(default_factory=dict)
    polls: dict[str, int] = field(default_factory=dict)  # group -> answered well
    ages: dict[str, Age] = field(default_factory=dict)  # by group
    outside: dict[str, Age] = field(default_factory=dict)  # by value, for reads by clients from outside
    latency: Histogram = field(default_factory=Histogram)
    moves: Histogram = field(default_factory=Histogram)
    retries: int = 0
    fast: int = 0


@dataclass(slots=True)
class _Line:
    cameras: dict[int, _Camera] = field(default_factory=dict)
    inside: dict[int, int] = field(default_factory=dict)  # master -> ns
    wire: int = 0
    # The last stretches with characters, start and end of each in turn. A burst is reported at its end, so a later one
    # may have begun earlier. Plain numbers, since hundreds of tuples for each of many lines fill the processor's cache.
    stretches: array[int] = field(default_factory=lambda: array("q"))
    bursts: int = 0
    collisions: int = 0


class Fold:
    """Takes records, returns figures. `restless`: numbers of masters that have polls without a wanted rate.

    `presence.doors`: converters open to clients from outside. `hooked`: a controller under test receives operators'
    moves and reports beliefs. `bus_ids`: the IDs of cameras that got another one, by number. `unseen`: why the records
    do not show the wire itself; empty if they do.
    """

    def __init__(self, *, hooked: bool = False) -> None:
        self._hook = HookFold() if hooked else None
        self.restless: frozenset[int] = frozenset()
        self.presence = Presence()
        self.bus_ids: dict[int, int] = {}
        self.unseen = ""
        self._lines: dict[int, _Line] = {}

    def take(self, record: Record) -> None:
        """Fold one record; kinds that no figure needs are ignored."""
        kind = record[0]
        if kind == BURST:
            self._burst(record)
        elif kind == EXCHANGE:
            self._exchange(record)
        elif kind in (INPUT, EFFECT):
            self.presence.take(record)
        elif kind == CHANGE:
            if record[3] == "bus_id":
                self.bus_ids[record[2]] = int(record[4])
            if self._hook is not None:
                self._hook.change(record)
        elif self._hook is not None:
            if kind == INTENT:
                self._hook.intent(record)
            elif kind == BELIEF:
                self._hook.belief(record)

    def take_all(self, records: Iterable[Record]) -> None:
        """Fold records in their order."""
        burst, exchange = self._burst, self._exchange
        for record in records:
            kind = record[0]
            if kind == BURST:
                burst(record)
            elif kind == EXCHANGE:
                exchange(record)
            else:
                self.take(record)

    def _burst(self, record: Record) -> None:
        _, number, _, start, end, _, _, _ = record
        line = self._lines.get(number)
        if line is None:
            line = self._lines[number] = _Line()
        line.bursts += 1
        stretches = line.stretches
        while stretches and stretches[-1] > start:  # one driver's bursts never overlap, so it is another's
            until, since = stretches.pop(), stretches.pop()
            line.wire -= until - since
            line.collisions += 1
            start, end = min(start, since), max(end, until)
        line.wire += end - start
        stretches.append(start)
        stretches.append(end)
        if len(stretches) > 2 * _KEPT:
            del stretches[:_KEPT]

    def _exchange(self, record: Record) -> None:
        _, number, master, camera, _, kind, work, attempt, asked, sent, ended, free, outcome, read_at, exact = record
        line = self._lines.get(number)
        if line is None:
            line = self._lines[number] = _Line()
        line.inside[master] = line.inside.get(master, 0) + free - sent
        one = line.cameras.get(camera)
        if one is None:
            one = line.cameras[camera] = _Camera()
        one.exchanges += 1
        one.outcomes[outcome] = one.outcomes.get(outcome, 0) + 1
        if not exact:
            one.fast += 1
        if attempt > 1:
            one.retries += 1
        if outcome not in _GOOD:
            return
        one.latency.add(ended - sent)
        if kind == "command":
            one.moves.add(ended - asked)
        elif outcome == "ok" and kind != "probe" and work != "write":
            read = read_at if read_at >= 0 else sent
            ages: dict[str, Age] = one.ages
            values: tuple[str, ...] = (work,)
            if kind == "foreign":
                ages, values, work = one.outside, _values_read(work), _OUTSIDE
            one.polls[work] = one.polls.get(work, 0) + 1
            for value in values:
                age = ages.get(value)
                if age is None:
                    age = ages[value] = Age()
                age.deliver(ended, read)

    # -- results --------------------------------------------------------------------------------------------

    def line(self, number: int, until: int) -> dict[str, Value]:
        """The figures of a line after `until` ns."""
        line = self._lines.get(number, _Line())
        _, length = self._span(number, until)
        told = None if self._hook is None else self._hook.moves_of_line(number)
        values = _common(list(line.cameras.values()), length, told)
        values["collisions"] = _value("collisions", line.collisions, line.bursts)
        values["occupancy"] = _value("occupancy", line.wire / length if length else None, line.bursts, _NOBODY)
        if self.unseen:
            values |= {name: _value(name, None, line.bursts, self.unseen) for name in ("collisions", "occupancy")}
        load = max(line.inside.values(), default=0) / length if length else None
        exchanges = sum(one.exchanges for one in line.cameras.values())
        values["load"] = _value("load", load, exchanges, _NOBODY)
        if not line.inside:
            values["headroom"] = Value(QUANTITIES["headroom"], None, 0, "nobody asked")
        elif not self.restless.isdisjoint(line.inside):
            values["headroom"] = Value(QUANTITIES["headroom"], None, 0, "polls never rest: no rate is wanted")
        else:
            values["headroom"] = _value("headroom", None if load is None else 1 - load, exchanges)
        return values | (no_hook() if self._hook is None else self._hook.of_line(number))

    def camera(self, line: int, number: int, until: int) -> dict[str, Value]:
        """The figures of a camera after `until` ns."""
        until, length = self._span(line, until)
        one = self._lines.get(line, _Line()).cameras.get(number, _Camera())
        values = _common([one], length, None if self._hook is None else self._hook.moves_of_camera(number))
        polls = max(one.polls.values(), default=0)
        values["poll_rate"] = _value("poll_rate", polls / (length / 1e9) if length else None, polls, _NOBODY)
        mean, count = max(((age.mean(until) or 0.0, age.count) for age in _looked_at(one)), default=(None, 0))
        values["age_mean"] = _value("age_mean", None if mean is None else mean / 1e9, count, "no poll was answered")
        worst, count = max(((age.longest(until) or 0, age.count) for age in _looked_at(one)), default=(None, 0))
        values["age_worst"] = _value("age_worst", None if worst is None else worst / 1e9, count, "no poll was answered")
        return values | (no_hook() if self._hook is None else self._hook.of_camera(number))

    def _span(self, line: int, until: int) -> tuple[int, int]:
        """The end of the time that counts for a line's figures, and its length, ns (0: nobody was connected)."""
        span = self.presence.span(line, self._lines.get(line, _Line()).inside, until)
        return (until, 0) if span is None else (span[1], span[1] - span[0])

    def camera_numbers(self, line: int) -> list[int]:
        """The cameras polled on this line (0: an address without a planned camera)."""
        return sorted(self._lines.get(line, _Line()).cameras)


def _values_read(work: str) -> tuple[str, ...]:
    """The values of a read from outside, one by one: each has its own age."""
    known = _SPANS.get(work)
    if known is None:
        first, dots, last = work.removeprefix(READ).partition(DOTS)
        known = tuple(str(key) for key in range(int(first), int(last) + 1)) if dots else (first,)
        if len(_SPANS) < _KEPT:
            _SPANS[work] = known
    return known


def _looked_at(one: _Camera) -> list[Age]:
    """The ages that count: of all reads of the most polled group; for reads from outside, those of every value
    read repeatedly. Groups polled equally often, to a poll or 1 %, count together, so the end of a run prefers none.
    """
    most = max(one.polls.values(), default=0)
    often = {work for work, polls in one.polls.items() if polls >= most - max(1, most // 100)}
    if _OUTSIDE in often:
        again = [age for age in one.outside.values() if age.count > 1]
        return again or list(one.outside.values())
    groups = {_group(work) for work in often}
    return [age for work, age in one.ages.items() if _group(work) in groups]


def _group(work: str) -> str:
    """The poll group of a read: `fast` of `fast from gain`."""
    return work.partition(" from ")[0]


def _value(name: str, value: float | None, count: int, why: str = "nothing to measure") -> Value:
    return Value(QUANTITIES[name], value, count, "" if value is not None else why)


def _common(cameras: list[_Camera], length: int, told: tuple[int, Histogram] | None) -> dict[str, Value]:
    """`length`: ns that count; `told`: moves sent to a controller under test, and the times of those done."""
    latency = _merged([c.latency for c in cameras])
    moves = _merged([*(c.moves for c in cameras), *([told[1]] if told else [])])
    unmoved = "no move reached its camera" if told and told[0] else "no operator moved anything"
    seconds = length / 1e9
    exchanges = sum(c.exchanges for c in cameras)
    values = {"exchanges": _value("exchanges", exchanges, exchanges)}
    polls = sum(sum(c.polls.values()) for c in cameras)
    values["poll_rate"] = _value("poll_rate", polls / seconds if seconds else None, polls, _NOBODY)
    for name, share in (("latency_p50", 0.5), ("latency_p95", 0.95), ("latency_p99", 0.99)):
        values[name] = _seconds(name, latency, latency.quantile(share))
    values["latency_max"] = _seconds("latency_max", latency, latency.largest if latency.count else None)
    values["move_p95"] = _seconds("move_p95", moves, moves.quantile(0.95), unmoved)
    most = moves.largest if moves.count else None
    values["move_max"] = _seconds("move_max", moves, most, unmoved)
    for name, outcome in _COUNTED:
        values[name] = _value(name, sum(c.outcomes.get(outcome, 0) for c in cameras), exchanges)
    values["retries"] = _value("retries", sum(c.retries for c in cameras), exchanges)
    fast = sum(c.fast for c in cameras)
    values["fast_share"] = _value("fast_share", fast / exchanges if exchanges else None, exchanges)
    return values


def _seconds(name: str, histogram: Histogram, ns: float | None, why: str = "no exchange was answered") -> Value:
    return _value(name, None if ns is None else ns / 1e9, histogram.count, why)


def _merged(histograms: list[Histogram]) -> Histogram:
    if len(histograms) == 1:
        return histograms[0]
    whole = Histogram()
    for histogram in histograms:
        whole.merge(histogram)
    return whole
