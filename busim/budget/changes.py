"""What limits a line, and what would help: each change alone, computed anew from the changed case."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction

import numpy as np

from busim.budget.case import Case, Poll, lengths
from busim.budget.pace import Pace
from busim.budget.result import Change
from busim.dialects import READ, Request
from busim.exchange import MEAN, time_out
from busim.units import Spread, show_time

_BAUDS = (
    9600,
    19200,
    38400,
    57600,
    115200,
)  # what cameras and converters can usually be set to: common practice, no source
_SHORTEST = 1_000_000  # ns of packing: the shortest that most converters can be set to: common practice, no source
_MENDS = {
    "request": "the wire",
    "reply": "the wire",
    "silence": "the silences that end requests",
    "turnaround": "the cameras' turnaround",
    "packing": "the converter's packing",
    "converter": "the latency of converter and network",
    "pause": "the master's pauses",
}


def limit(mean: Pace) -> str:
    """The sentence that says what limits a line: where most of the polls' time goes."""
    if not mean.alive.any():
        return "moves alone: nothing is polled"
    exchange, alive = mean.polls.exchange, mean.alive
    rates = 1 / mean.periods
    spent: dict[str, float] = {}
    for part, times in exchange.parts(MEAN).items():
        spent[_MENDS[part]] = spent.get(_MENDS[part], 0.0) + float(np.asarray(times)[alive] @ rates)
    failed = float((mean.polls.failing * mean.polls.lost)[alive] @ rates)
    spent["time-outs after noise"] = failed
    spent["probes of dead cameras"] = float(mean.probed.sum()) / 5e9 if len(mean.probed) else 0.0
    spent["operators' moves"] = mean.commands_load
    chosen = max(spent, key=lambda name: spent[name])
    share = spent[chosen] / sum(spent.values())
    one = spent[chosen] / rates.sum()
    return f"{chosen} limits this line: {share:.0%} of the master's busy time, {show_time(one)} for each poll"


def changes(mean: Pace) -> tuple[Change, ...]:
    """The three single changes that gain most, the best first; fewer where fewer gain anything."""
    found = [change for change in _computed(mean) if change.gain > 0.005]
    return tuple(sorted(found, key=lambda change: -change.gain)[:3])


def _computed(mean: Pace) -> Iterator[Change]:
    if not len(mean.every):
        return
    now = mean.under(MEAN)
    for name, text, case in _candidates(mean):
        other = Pace(case, exact=False)
        if mean.saturated:
            before, after = 1e9 / now.cycle, 1e9 / max(other.cycle, _wanted(other)) if len(other.every) else 0.0
            yield Change(name, text, "poll rate, /s", before, after, after / before - 1)
        else:
            yield Change(name, text, "load", now.demand, other.demand, now.demand / other.demand - 1)


def _wanted(pace: Pace) -> float:
    """The smallest period, for a line that has become fast enough to rest."""
    return float(pace.every.min()) or 1.0


def _candidates(mean: Pace) -> Iterator[tuple[str, str, Case]]:
    case = mean.case
    faster = next((baud for baud in _BAUDS if baud > case.baud), None)
    if faster is not None:
        yield "baud", f"{faster} Bd instead of {float(case.baud):g}", with_baud(case, Fraction(faster))
    if case.packing_idle:
        idle = max(_SHORTEST, round(3.5e9 * case.format.half_bits / 2 / float(case.baud)))
        if idle < case.packing_idle:
            text = f"packing after {show_time(idle)} of idle line instead of {show_time(case.packing_idle)}"
            yield "packing", text, replace(case, packing_idle=idle)
    if case.latency.high:
        half = Spread(case.latency.low // 2, case.latency.high // 2)
        yield "latency", "a converter or network with half the latency", replace(case, latency=half)
    if case.gap > case.dialect.silence(float(case.baud)):
        yield "gap", f"no gap of {show_time(case.gap)} beyond the silence of {case.dialect.name}", replace(case, gap=0)
    if case.time_out and case.time_out > _enough(mean):
        text = f"time-outs as computed, {show_time(_enough(mean))} at most, instead of {show_time(case.time_out)}"
        yield "time-out", text, replace(case, time_out=None)
    yield from _fewer_values(case)
    alive = [number for number, unit in enumerate(case.units) if not unit.trouble]
    if len(alive) > 1:
        kept = alive[: math.ceil(len(alive) / 2)]
        text = f"a second converter: {len(alive) - len(kept)} of {len(alive)} cameras on a line of their own"
        yield "converter", text, with_units(case, kept)


def _enough(mean: Pace) -> float:
    """ns: the longest time-out that would be computed."""
    case, polls = mean.case, mean.polls
    exchange = polls.exchange
    wire = polls.wire + exchange.escaped
    wait = time_out(wire, exchange.silence, exchange.turnaround_high, case.packing_idle, case.latency.high)
    return float(np.max(np.asarray(wait)))


def _fewer_values(case: Case) -> Iterator[tuple[str, str, Case]]:
    """Runs that could be read in one exchange with what lies between them, and runs that could be left out."""
    groups = dict.fromkeys(poll.group for poll in case.polls if poll.every == 0) or dict.fromkeys(
        poll.group for poll in case.polls
    )
    for group in groups:
        own = [poll for poll in case.polls if poll.group == group]
        if any(poll.hole for poll in own):
            text = f"read group {group!r} in one exchange, with the registers between its values"
            yield "values", text, replace(case, polls=tuple(_merged(case, group)))
        works = dict.fromkeys(poll.work for poll in own)
        if len(works) > 1:
            for work in list(works)[1:]:
                first = next(poll.first for poll in own if poll.work == work)
                left = tuple(poll for poll in case.polls if poll.group != group or poll.work != work)
                yield (
                    "values",
                    f"do not poll {first!r} and what is read with it in group {group!r}",
                    replace(case, polls=left),
                )


def _merged(case: Case, group: str) -> Iterator[Poll]:
    held: Poll | None = None
    for poll in case.polls:
        if held is not None and poll.group == group and poll.unit == held.unit and poll.hole:
            size = held.size + poll.hole + poll.size
            if size <= case.dialect.most_values:
                request = Request(case.units[poll.unit].id, READ, 0, size)
                asked, answered, more = lengths(case.dialect, request)
                held = held._replace(size=size, request=asked, reply=answered, escapes=more)
                continue
        if held is not None:
            yield held
        held = poll
    if held is not None:
        yield held


def with_baud(case: Case, baud: Fraction) -> Case:
    """The case at another baud; cameras that were set apart stay apart by as much."""
    units = tuple(unit._replace(baud=unit.baud * baud / case.baud) for unit in case.units)
    return replace(case, baud=baud, units=units)


def with_units(case: Case, kept: list[int]) -> Case:
    """The case with these cameras alone."""
    place = {number: at for at, number in enumerate(kept)}
    return replace(
        case,
        units=tuple(case.units[number] for number in kept),
        polls=tuple(poll._replace(unit=place[poll.unit]) for poll in case.polls if poll.unit in place),
        moves=tuple(move._replace(unit=place[move.unit]) for move in case.moves if move.unit in place),
    )
