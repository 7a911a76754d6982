"""Figures as a fold over trace records: the same live, on a file and on replay."""

from __future__ import annotations

from array import array
from dataclasses import dataclass, field

from busim.recording.figures.histogram import Histogram
from busim.recording.figures.hook import HookFold, no_hook
from busim.recording.figures.quantities import QUANTITIES, Value
from busim.recording.trace import BELIEF, BURST, CHANGE, EXCHANGE, INTENT, Record

_GOOD = ("ok", "refused")
_KEPT = 512  # numbers, two for each stretch that is looked back at


class _Age:
    """Age of a polled value: its mean over time by the area under it (Kaul, Yates, Gruteser, INFOCOM 2012; from
    memory).
    """

    __slots__ = ("_area", "_from", "_read", "_since", "count", "worst")

    def __init__(self) -> None:
        self.count = 0
        self.worst = 0
        self._area = 0
        self._from = 0  # the first delivery
        self._since = 0  # the last delivery
        self._read = 0

    def deliver(self, at: int, read: int) -> None:
        """A value read at `read` ns is there at `at` ns."""
        if self.count:
            if read < self._read:
                return  # older than what is there
            self._grow(at)
        else:
            self._from = at
        self.count += 1
        self._since, self._read = at, read

    def _grow(self, at: int) -> None:
        old, new = self._since - self._read, at - self._read
        self._area += new * new - old * old
        self.worst = max(self.worst, new)

    def mean(self, until: int) -> float | None:
        """ns, from the first delivery to `until`; None without one."""
        if not self.count:
            return None
        new, old = until - self._read, self._since - self._read
        span = until - self._from
        return (self._area + new * new - old * old) / (2 * span) if span > 0 else float(old)

    def longest(self, until: int) -> int | None:
        return max(self.worst, until - self._read) if self.count else None


@dataclass(slots=True)
class _Camera:
    exchanges: int = 0
    outcomes: dict[str, int] = field(default_factory=dict)
    polls: dict[str, int] = field(default_factory=dict)  # group -> good ones
    ages: dict[str, _Age] = field(default_factory=dict)
    latency: Histogram = field(default_factory=Histogram)
    moves: Histogram = field(default_factory=Histogram)
    retries: int = 0
    fast: int = 0


@dataclass(slots=True)
class _Line:
    cameras: dict[int, _Camera] = field(default_factory=dict)
    inside: dict[int, int] = field(default_factory=dict)  # master -> ns
    wire: int = 0
    # The last stretches with characters, start and end of each in turn: a burst is told of when it is over, so one may
    # come that began before them. Plain numbers, since of many lines hundreds of tuples each crowd out everything else.
    stretches: array[int] = field(default_factory=lambda: array("q"))
    bursts: int = 0
    collisions: int = 0


class Fold:
    """Takes records, gives figures. `restless`: numbers of masters that have polls without a wanted rate.

    `hooked`: a controller under test was told of operators' moves, and tells what it believes.
    """

    def __init__(self, *, hooked: bool = False) -> None:
        self._hook = HookFold() if hooked else None
        self.restless: frozenset[int] = frozenset()
        self._lines: dict[int, _Line] = {}

    def take(self, record: Record) -> None:
        """Fold one record; kinds that no figure needs are passed over."""
        kind = record[0]
        if kind == BURST:
            self._burst(record)
        elif kind == EXCHANGE:
            self._exchange(record)
        elif self._hook is not None:
            if kind == CHANGE:
                self._hook.change(record)
            elif kind == INTENT:
                self._hook.intent(record)
            elif kind == BELIEF:
                self._hook.belief(record)

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
            one.polls[work] = one.polls.get(work, 0) + 1
            age = one.ages.get(work)
            if age is None:
                age = one.ages[work] = _Age()
            age.deliver(ended, read_at if read_at >= 0 else sent)

    # -- results --------------------------------------------------------------------------------------------

    def line(self, number: int, until: int) -> dict[str, Value]:
        """The figures of a line after `until` ns."""
        line = self._lines.get(number, _Line())
        seconds = until / 1e9
        values = _common(list(line.cameras.values()), seconds)
        values["collisions"] = _value("collisions", line.collisions, line.bursts)
        values["occupancy"] = _value("occupancy", line.wire / until if until else None, line.bursts)
        load = max(line.inside.values(), default=0) / until if until else None
        exchanges = sum(one.exchanges for one in line.cameras.values())
        values["load"] = _value("load", load, exchanges)
        if not line.inside:
            values["headroom"] = Value(QUANTITIES["headroom"], None, 0, "nobody asked")
        elif self.restless & line.inside.keys():
            values["headroom"] = Value(QUANTITIES["headroom"], None, 0, "polls never rest: no rate is wanted")
        else:
            values["headroom"] = _value("headroom", None if load is None else 1 - load, exchanges)
        return values | (no_hook() if self._hook is None else self._hook.of_line(number))

    def camera(self, line: int, number: int, until: int) -> dict[str, Value]:
        """The figures of a camera after `until` ns."""
        one = self._lines.get(line, _Line()).cameras.get(number, _Camera())
        values = _common([one], until / 1e9)
        group = max(one.polls, key=lambda name: (one.polls[name], name), default=None)
        age = one.ages.get(group, _Age()) if group is not None else _Age()
        polls = one.polls.get(group or "", 0)
        values["poll_rate"] = _value("poll_rate", polls / (until / 1e9) if until else None, age.count)
        mean, worst = age.mean(until), age.longest(until)
        values["age_mean"] = _value("age_mean", None if mean is None else mean / 1e9, age.count, "no poll was answered")
        worst_s = None if worst is None else worst / 1e9
        values["age_worst"] = _value("age_worst", worst_s, age.count, "no poll was answered")
        return values | (no_hook() if self._hook is None else self._hook.of_camera(number))

    def camera_numbers(self, line: int) -> list[int]:
        """Cameras that were asked on this line (0: an address where the plan has none)."""
        return sorted(self._lines.get(line, _Line()).cameras)


def _value(name: str, value: float | None, count: int, why: str = "nothing to measure") -> Value:
    return Value(QUANTITIES[name], value, count, "" if value is not None else why)


def _common(cameras: list[_Camera], seconds: float) -> dict[str, Value]:
    latency, moves = _merged([c.latency for c in cameras]), _merged([c.moves for c in cameras])
    exchanges = sum(c.exchanges for c in cameras)
    values = {"exchanges": _value("exchanges", exchanges, exchanges)}
    polls = sum(sum(c.polls.values()) for c in cameras)
    values["poll_rate"] = _value("poll_rate", polls / seconds if seconds else None, polls)
    for name, share in (("latency_p50", 0.5), ("latency_p95", 0.95), ("latency_p99", 0.99)):
        values[name] = _seconds(name, latency, latency.quantile(share))
    values["latency_max"] = _seconds("latency_max", latency, latency.largest if latency.count else None)
    values["move_p95"] = _seconds("move_p95", moves, moves.quantile(0.95), "no operator moved anything")
    most = moves.largest if moves.count else None
    values["move_max"] = _seconds("move_max", moves, most, "no operator moved anything")
    for name, outcome in (("time_outs", "time-out"), ("damaged", "damaged"), ("refused", "refused")):
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
