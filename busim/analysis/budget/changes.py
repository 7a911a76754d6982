"""The limit of a line, and the changes that help: each change alone, computed anew from the changed case."""

from __future__ import annotations

import math
from collections.abc import Iterator
from fractions import Fraction

from busim.analysis.budget.case import Case, Poll
from busim.analysis.budget.poll_schedule import PollSchedule
from busim.analysis.budget.result import Change
from busim.analysis.budget.timing import Timing, timed
from busim.analysis.budget.utilisation import Utilisation
from busim.analysis.budget.variants import Work, Works, of_units, varied
from busim.foundation.units import Spread, show_time
from busim.physics.exchange import MEAN
from busim.protocols import READ, Request

# The rates of serial ports: Linux include/uapi/asm-generic/termbits.h. Converters often end at 115200 (common practice,
# no source), so nothing faster is proposed.
STANDARD_BAUDS = (1200, 2400, 4800, 9600, 19200, 38400, 57600, 115200)
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


def limit(mean: PollSchedule) -> str:
    """The sentence about the limit of a line: the part that takes most of the polls' time."""
    counted = mean.layout
    if not counted.living:
        return "none: nothing is polled, only moves are sent"
    spent = dict.fromkeys(_MENDS.values(), 0.0)
    spent["time-outs after noise"] = asked = 0.0
    for (every, kind), many in counted.paces.items():
        rate = many.count / max(every, mean.cycle)
        _spend(spent, mean.times[kind], rate, many.way / many.count)
        asked += rate
    polled = sum(spent.values())
    spent["probes of dead cameras"] = sum(mean.probed) / 5e9
    spending = mean.commands_load
    moves = dict.fromkeys(spent, 0.0)  # of those sent, in the proportions of those wanted
    for way, kind, often in [
        (share.way, kind, often) for share in counted.shares if not share.trouble for kind, often in share.moves.items()
    ]:
        _spend(moves, mean.times[kind], often, way)
    moves["probes of dead cameras"] += sum(often * mean.costs.lost[kind] for kind, often in counted.lost.items())
    if wanted := sum(moves.values()):
        for name, time in moves.items():
            spent[name] += time / wanted * spending
        asked += mean.move_rate / wanted * spending
    can_go = _removable(mean)
    chosen = max(spent, key=lambda name: (spent[name] * can_go.get(name, 0.0), spent[name]))
    busy = sum(spent.values())
    most = f" ({spending / busy:.0%} goes to operators' moves)" if spending > polled else ""
    each = show_time(spent[chosen] / asked)
    share = spent[chosen] / busy
    return f"{chosen} limits this line: {share:.0%} of the master's busy time{most}, {each} for each exchange"


def _spend(spent: dict[str, float], one: Timing, rate: float, way: float) -> None:
    """Add the time of exchanges at `rate` per ns, `way` ns there and back, by what could shorten it."""
    for part, time in one.exchange.parts(MEAN).items():
        spent[_MENDS[part]] += rate * float(time)
    spent["the wire"] += rate * way
    spent["time-outs after noise"] += rate * float(one.failing * one.lost)


def _removable(mean: PollSchedule) -> dict[str, float]:
    """The share of each part that a single change could save: the next baud, a shorter packing, half a latency or
    turnaround, no gap, time-outs as computed. A part without a possible change does not limit a line."""
    case, now = mean.case, float(mean.case.baud)
    faster = next((baud for baud in bauds_of(case) if baud > now), now)
    idle = min(case.packing_idle, _shortest_packing(case))
    silence = float(mean.wire.silence)
    return {
        "the wire": 1 - now / faster,
        "the converter's packing": 1 - idle / case.packing_idle if case.packing_idle else 0.0,
        "the latency of converter and network": 0.5,
        "the cameras' turnaround": 0.5,
        "the master's pauses": 1 - silence / case.gap if case.gap > silence else 0.0,
        "time-outs after noise": 1 - _enough(mean) / case.time_out if case.time_out else 0.0,
        "probes of dead cameras": 1.0,
    }


def _shortest_packing(case: Case) -> int:
    """ns: 3.5 characters, and no less than most converters can be set to."""
    return max(_SHORTEST, round(3.5e9 * case.format.half_bits / 2 / float(case.baud)))


def changes(mean: PollSchedule) -> tuple[Change, ...]:
    """The three single changes that gain most, the best first; fewer where fewer gain anything."""
    found = [change for change in _computed(mean) if change.gain > 0.005]
    return tuple(sorted(found, key=lambda change: -change.gain)[:3])


def _computed(mean: PollSchedule) -> Iterator[Change]:
    if not mean.layout.living:
        return
    saturated = mean.cycle > 0
    polls = [(many.count, float(mean.times[kind].failing)) for (_, kind), many in mean.layout.paces.items()]
    answered = 1e9 * (1 - sum(count * failing for count, failing in polls) / sum(count for count, _ in polls))
    for name, text, other in _candidates(mean):
        if saturated:
            before = answered / mean.cycle
            after = answered / max(other.cycle, _wanted(other)) if other.polls else 0.0
            yield Change(name, text, "poll rate, /s", before, after, after / before - 1)
        else:
            yield Change(name, text, "load", mean.demand, other.demand, mean.demand / other.demand - 1)


def _wanted(load: Utilisation) -> float:
    """The smallest period, for a line that has become fast enough to rest."""
    return load.fastest or 1.0


def _candidates(mean: PollSchedule) -> Iterator[tuple[str, str, Utilisation]]:
    case, now = mean.case, float(mean.case.baud)
    faster = next((baud for baud in bauds_of(case) if baud > now), None)
    if faster is not None:  # cameras that were set apart stay so: `varied` keeps what a camera has of the line's rate
        text = f"{faster} Bd instead of {now:.10g}"
        yield "baud", text, varied(mean, case._replace(baud=Fraction(faster)))
    if case.packing_idle:
        idle = _shortest_packing(case)
        if idle < case.packing_idle:
            text = f"packing after {show_time(idle)} of idle line instead of {show_time(case.packing_idle)}"
            yield "packing", text, varied(mean, case._replace(packing_idle=idle))
    if case.latency.high:
        half = Spread(case.latency.low // 2, case.latency.high // 2)
        yield "latency", "a converter or network with half the latency", varied(mean, case._replace(latency=half))
    if case.gap > mean.wire.silence:
        text = f"no gap of {show_time(case.gap)} beyond the silence of {case.protocol.name}"
        yield "gap", text, varied(mean, case._replace(gap=0))
    if case.time_out and case.time_out > (enough := _enough(mean)):
        text = f"time-outs as computed, {show_time(enough)} at most, instead of {show_time(case.time_out)}"
        yield "time-out", text, varied(mean, case._replace(time_out=None))
    yield from _fewer_values(mean)
    asked = [unit for unit, one in enumerate(mean.layout.shares) if not one.trouble and (one.polls or one.moves)]
    if len(asked) > 1:
        kept = asked[: math.ceil(len(asked) / 2)]
        gone = len(asked) - len(kept)
        box = "a second converter" if case.converter else "a second master"
        text = f"{box}: {gone} of {len(asked)} cameras on a line of {'its' if gone == 1 else 'their'} own"
        yield "converter", text, of_units(mean, kept)


def bauds_of(case: Case) -> list[int]:
    """The standard rates that every camera of a line supports by its model, slowest first."""
    sets = [set(unit.bauds) for unit in case.units if unit.bauds]
    return [baud for baud in STANDARD_BAUDS if all(Fraction(baud) in able for able in sets)]


def _enough(mean: PollSchedule) -> float:
    """ns: the longest time-out that would be computed."""
    wire = mean.wire._replace(time_out=None)
    return max(float(timed(wire, mean.layout.kinds[kind]).time_out) for kind in {row.kind for row in mean.layout.polls})


def _fewer_values(mean: PollSchedule) -> Iterator[tuple[str, str, Utilisation]]:
    """Runs that could be read in one exchange with what lies between them, and runs that could be left out."""
    works = Works(mean)
    fastest = min((first.every for first in works.first.values()), default=0)
    groups: dict[str, list[tuple[Work, Poll]]] = {}
    for work, first in works.first.items():
        if first.every == 0 or fastest:
            groups.setdefault(first.group, []).append((work, first))
    for group, some in groups.items():
        if group in works.holes:
            text = f"read group {group!r} in one exchange, with the registers between its values"
            yield "values", text, works.merged(group, list(_merged(mean.case, group)))
        for work, first in some if len(some) > 1 else ():
            text = f"do not poll {first.first!r} and what is read with it in group {group!r}"
            yield "values", text, works.without(work)


def _merged(case: Case, group: str) -> Iterator[tuple[int, Poll]]:
    """The polls of a group with its runs read in one, each with the number in the case of the one it comes of."""
    first, held = 0, None
    for number, poll in enumerate(case.polls):
        if poll.group != group:
            continue
        if held is not None and poll.unit == held.unit and poll.hole:
            size = held.size + poll.hole + poll.size
            if size <= case.protocol.most_values:
                request = Request(case.units[poll.unit].bus_id, READ, 0, size)
                asked, answered, more = case.protocol.lengths(request)
                held = held._replace(size=size, request=asked, reply=answered, escapes=more)
                continue
        if held is not None:
            yield first, held
        first, held = number, poll
    if held is not None:
        yield first, held


def with_baud(case: Case, baud: Fraction) -> Case:
    """The case at another baud; cameras that were set apart stay apart by as much."""
    units = tuple(unit._replace(baud=unit.baud * baud / case.baud) for unit in case.units)
    return case._replace(baud=baud, units=units)
