"""What keeps a line from having a budget, and what of a plan does not hold: said in words, with by how much.

An obstacle means no number at all for this master on this line: what would come out would look exact and be wrong.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
import numpy.typing as npt

from busim.budget.pace import Pace
from busim.budget.timing import Timing
from busim.exchange import Numbers
from busim.units import show_time

_FASTEST = 1e4  # polls a second that no camera exceeds
_OFTEN = 0.01  # /s: more often than this, giving cameras up and finding them again cannot be left out


def obstacles(best: Pace, worst: Pace) -> Iterator[str]:
    """Why nothing can be computed for this case."""
    case = worst.case
    if len(case.masters) > 1:
        names = " and ".join(repr(name) for name in case.masters)
        yield (
            f"{names} all ask on this line and nobody orders them: their exchanges run into each other, so that there "
            "is no steady state to compute; see what a second master spoils"
        )
    for id in sorted(set(case.clash)):
        yield f"more than one camera answers to bus ID {id}: their replies run into each other"
    if case.faulty:
        yield case.faulty
    if not case.polls and not case.moves:
        yield f"master {case.master!r} asks nothing here: it has no poll group, and no panel moves a camera of the line"
    elif all(unit.trouble for unit in case.units):
        yield "none of its cameras answers: " + "; ".join(f"{unit.name}: {unit.trouble}" for unit in case.units)
    yield from _runs_together(best)
    yield from _times_out(best, worst)
    yield from _given_up(best)


def _runs_together(best: Pace) -> Iterator[str]:
    """Requests that follow so soon that cameras take them for a part of the reply before.

    A converter that sends each byte on at once knows the last one in the middle of its first stop bit; with no latency
    the master's pause begins there, and the pair is quiet for so much less than the silence that ends a frame.
    """
    short = missing_quiet(best.polls, float(best.case.packing_idle), 2.0 * best.case.latency.low)
    if best.case.converter and best.alive.any() and float(short[best.alive].max()) > 0:
        yield (
            "the converter sends each byte on at once and nothing delays it: the next request comes "
            f"{show_time(float(short[best.alive].max()))} too soon behind a reply, and cameras take both for one frame"
        )


def missing_quiet(timing: Timing, packing: Numbers, latency: Numbers) -> npt.NDArray[np.float64]:
    """ns, for each poll, by which the quiet behind its reply is too short for a request; `latency`: both ways."""
    exchange = timing.exchange
    return np.asarray(exchange.silence + timing.tail - exchange.pause - packing - latency)


def _times_out(best: Pace, worst: Pace) -> Iterator[str]:
    """Exchanges that take longer than their time-out."""
    case = worst.case
    for timing, word in ((best.polls, "a poll"), (best.moves, "a move")):
        said: set[int] = set()
        least, most = np.asarray(timing.exchange.best), np.asarray(timing.exchange.worst)
        for number, place in enumerate(timing.unit.tolist()):
            unit = case.units[place]
            if unit.trouble or place in said or most[number] <= timing.time_out[number]:
                continue
            said.add(place)
            waits = show_time(timing.time_out[number])
            over = show_time(most[number] - timing.time_out[number])
            often = "always" if least[number] > timing.time_out[number] else "sometimes"
            yield (
                f"{word} of camera {unit.name!r} takes up to {show_time(most[number])} and is given up after {waits}, "
                f"{over} too early: {often} its reply comes into the next exchange"
            )


def _given_up(pace: Pace) -> Iterator[str]:
    """Cameras that noise makes their master give up, though they are there."""
    quiet = pace.polls.failing.max(initial=0.0) ** pace.case.offline_after < _OFTEN / _FASTEST
    for number, unit in enumerate(() if quiet else pace.case.units):
        own = pace.polls.unit[pace.alive] == number
        if not own.any():
            continue
        failing = float(pace.polls.failing[pace.alive][own].mean())
        rate = float((1 / pace.periods[own]).sum()) * 1e9
        # every poll of a second, and at least so many, has to fail
        often = rate * failing ** max(pace.case.offline_after, math.ceil(rate))
        if often > _OFTEN:
            yield (
                f"noise loses {failing:.0%} of the polls of camera {unit.name!r}: its master gives it up, and finds it "
                f"again, every {1 / often:.2g} s"
            )


def remarks(mean: Pace, worst: Pace) -> Iterator[str]:
    """What of the plan does not hold though there are numbers."""
    case = mean.case
    for unit in case.units:
        if unit.trouble:
            yield f"camera {unit.name!r} never answers: {unit.trouble}; it costs a probe now and then"
    yield from _rates(mean, worst)
    if mean.crowded >= 1:
        turn = ", with the turns of the polls," if mean.saturated else ""
        yield (
            f"moves come at {mean.move_rate * 1e9:.3g} /s and need {mean.crowded:.0%} of the master's time{turn} which "
            f"is {mean.crowded - 1:.0%} too much: newer moves replace waiting ones for ever, and no latency is stated"
        )
    soonest = min(unit.turnaround.low for unit in case.units) + case.dialect.silence(float(case.baud))
    if case.hold > soonest:
        yield (
            f"the asker's driver holds the line for {show_time(case.hold)}, and the fastest camera answers after "
            f"{show_time(soonest)}: beginnings of replies are lost"
        )


def _rates(mean: Pace, worst: Pace) -> Iterator[str]:
    if not len(mean.every):
        return
    late = (mean.every > 0) & (mean.periods > mean.every * (1 + 1e-9))
    if mean.restless and not late.any():
        return
    if late.any():
        groups = dict.fromkeys(mean.living[number].group for number in np.nonzero(late)[0])
        names = " and ".join(repr(name) for name in groups)
        every = mean.every[late].min()
        yield (
            f"{names} cannot be polled every {show_time(every)}: everything with a wanted rate needs {mean.demand:.0%} "
            f"of the master's time, {max(0.0, mean.demand - 1):.0%} too much; each comes every "
            f"{show_time(mean.cycle)} instead"
        )
    elif worst.demand >= 1:
        yield (
            f"the wanted rates are reached on average ({mean.demand:.0%} of the master's time), but not with every "
            f"unknown at its bad end ({worst.demand:.0%})"
        )
