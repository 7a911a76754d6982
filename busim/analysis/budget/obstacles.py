"""The obstacles to a budget of a line, and the wishes of a plan that do not hold, in words and numbers.

With an obstacle there is no number for this master on this line: it would look exact and be wrong.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

from busim.analysis.budget.command_delay import COMMANDS_IN_A_ROW
from busim.analysis.budget.figures import Expected
from busim.analysis.budget.poll_schedule import PollSchedule
from busim.analysis.budget.timing import missing_quiet
from busim.foundation.units import show_time

_FASTEST = 1e4  # polls a second that no camera exceeds
_FULL = 0.95  # share of the master's time, above which chance makes polls late
KEPT = 1.01  # of a wanted interval: up to this mean time between two polls it counts as kept
_NEAR = 0.12  # of a cycle: a wanted pace no farther from it is kept in some rounds and not in others
_LOST = 0.1  # share of the master's time in time-outs of moves, from which rates and ages of polls are less exact
_OFTEN = 0.01  # /s: more often than this, giving cameras up and finding them again cannot be left out


def obstacles(best: PollSchedule, worst: PollSchedule) -> Iterator[str]:
    """The reasons why nothing can be computed for this case."""
    case = worst.case
    if len(case.masters) > 1 and not case.arbitrated:
        names = " and ".join(repr(name) for name in case.masters)
        yield (
            f"{names} all ask on this line and nobody orders them: their exchanges run into each other, so that there "
            "is no steady state to compute; see what a second master spoils"
        )
    for bus_id in sorted(set(case.clash)):
        yield f"more than one camera answers to bus ID {bus_id}: their replies run into each other"
    if case.faulty:
        yield case.faulty
    if not case.polls and not case.moves:
        yield f"master {case.master!r} asks nothing here: it has no poll group, and no panel moves a camera of the line"
    elif all(unit.trouble for unit in case.units):
        yield "none of its cameras answers: " + "; ".join(f"{unit.name}: {unit.trouble}" for unit in case.units)
    yield from _runs_together(best)
    yield from _times_out(worst)
    yield from _given_up(best)


def _runs_together(best: PollSchedule) -> Iterator[str]:
    """Requests that follow so soon that cameras take them for a part of the reply before.

    A converter that sends each byte on at once knows the last one in the middle of its first stop bit; with no latency
    the master's pause begins there, and the pair is quiet for so much less than the silence that ends a frame.
    """
    case, counted = best.case, best.layout
    kinds = {kind for _, kind in counted.paces}
    both = 2.0 * case.latency.low
    idle = 0.0 if case.at_once else float(case.packing_idle)
    short = [float(missing_quiet(best.times[kind], idle, both)) for kind in kinds]
    if case.converter and not case.arbitrated and short and max(short) > 0:
        yield (
            "the converter sends each byte on at once and nothing delays it: the next request comes "
            f"{show_time(max(short))} too soon behind a reply, and cameras take both for one frame"
        )


def _times_out(worst: PollSchedule) -> Iterator[str]:
    """Exchanges that take longer than their time-out."""
    case = worst.case
    spare = [one.time_out - one.exchange.worst for one in worst.times]
    for rows, word in ((worst.layout.polls, "a poll"), (worst.layout.moves, "a move")):
        said: set[int] = set()
        for kind, place, way in rows:
            if way <= spare[kind] or place in said or case.units[place].trouble:
                continue
            unit, one = case.units[place], worst.times[kind]
            most, time_out = float(one.exchange.worst + way), float(one.time_out)
            if most <= time_out:
                continue
            said.add(place)
            over = show_time(most - time_out)
            often = "always" if one.exchange.best + way > time_out else "sometimes"
            yield (
                f"{word} of camera {unit.name!r} takes up to {show_time(most)} and is given up after "
                f"{show_time(time_out)}, {over} too early: {often} its reply comes into the next exchange"
            )


def _given_up(pace: PollSchedule) -> Iterator[str]:
    """Cameras that their master gives up because of noise, although they are present."""
    if pace.failing**pace.case.policy.failures < _OFTEN / _FASTEST:
        return
    for number, unit in enumerate(pace.case.units):
        own = [poll for poll in pace.layout.living if pace.layout.polls[poll].unit == number]
        if not own:
            continue
        failing = sum(pace.timing(poll).failing for poll in own) / len(own)
        rate = sum(1 / pace.period(poll) for poll in own) * 1e9
        # every poll of a second, and at least so many, has to fail
        often = rate * failing ** max(pace.case.policy.failures, math.ceil(pace.case.policy.failing_for / 1e9 * rate))
        if often > _OFTEN:
            yield (
                f"noise loses {failing:.0%} of the polls of camera {unit.name!r}: its master gives it up, and finds it "
                f"again, every {1 / often:.2g} s"
            )


def remarks(mean: PollSchedule, worst: PollSchedule) -> Iterator[str]:
    """Wishes of the plan that do not hold, although there are numbers."""
    case = mean.case
    for unit in case.units:
        if unit.trouble:
            yield f"camera {unit.name!r} never answers: {unit.trouble}; it costs a probe now and then"
    yield from _rates(mean, worst)
    if mean.crowded >= 1:
        turn = ", polls in their turn" if mean.saturated else ""
        end = f"of {mean.controls:.0f} controls too many wait at once, and no latency is stated"
        if mean.followed:
            end = f"newer moves replace {1 - mean.sent:.0%} of them before they are sent"
        need = f"{mean.crowded:.0%} of the master's time{turn}"
        yield f"moves come at {mean.move_rate * 1e9:.3g} /s, and all of them would need {need}; {end}"
    soonest = min(unit.turnaround.low for unit in case.units) + case.protocol.silence(float(case.baud))
    if case.hold > soonest:
        yield (
            f"the asker's driver holds the line for {show_time(case.hold)}, and the fastest camera answers after "
            f"{show_time(soonest)}: beginnings of replies are lost"
        )


def uncertain(mean: PollSchedule) -> Iterator[str]:
    """Why the numbers are right only to a few percent: on the edge of what a master can do, chance decides.

    A poll that must keep a pace and now and then cannot is late by what happens to lie before it; the law of the cycle
    has every round alike. Far from the edge, on either side, that makes no difference.
    """
    if mean.case.back_off and mean.case.listen > mean.wire.rest:
        yield (
            f"the master listens for {show_time(mean.case.listen)} and stays away for a random time from its own "
            "replies too, so that worst cases do not hold; give it a gap as long as it listens"
        )
    if not mean.cycle:
        longest = max(mean.probed, default=0.0)
        if mean.paces and longest and longest + mean.occupied / (1 - mean.commands_load) > mean.fastest:
            yield (
                f"a probe of a dead camera takes {show_time(longest)}, so that polls wanted every "
                f"{show_time(mean.fastest)} lose their places: their rates and ages are right only to a few percent"
            )
        yield from _lost_moves(mean)
        if mean.demand >= _FULL and not mean.restless and mean.layout.living:
            yield (
                f"everything with a wanted rate needs {mean.demand:.0%} of the master's time: polls are late now and "
                "then by chance, so that cycles, ages and moves are right only to a few percent"
            )
        return
    polls = mean.case.polls
    near = [number for number in mean.layout.living if abs(polls[number].every / mean.cycle - 1) < _NEAR]
    if near:
        first = polls[near[0]]
        yield (
            f"polls that cannot keep their pace come every {show_time(mean.cycle)}, which is near the "
            f"{show_time(first.every)} wanted for {first.group!r}: which of them are late is a matter of chance, so "
            "that cycles, ages and moves are right only to a few percent"
        )
    elif not mean.restless and mean.polls_demand < _FULL:
        yield (
            f"polls alone need {mean.polls_demand:.0%} of the master's time, and moves {mean.commands_load:.0%}: polls "
            "keep their pace only while few moves come, so that cycles, ages and moves may be far off"
        )


def pushed(expected: Expected) -> Iterator[str]:
    """Polls that lose their places behind commands and other groups, of each wanted interval the slowest."""
    mean, slowest = expected.mean, dict[int, float]()
    for number, one in expected.pushed.items():
        every = mean.case.polls[number].every
        slowest[every] = max(one.mean, slowest.get(every, 0.0))
    behind = " and ".join(["moves"] * bool(mean.move_rate) + ["other groups"] * (len(slowest) > 1))
    for every, comes in slowest.items():
        if comes > every * KEPT:
            yield (
                f"polls wanted every {show_time(every)} now and then wait so long behind {behind} that they lose their "
                f"places, at {mean.demand:.0%} of the master's time: they come every {show_time(comes)} on average"
            )


def _lost_moves(mean: PollSchedule) -> Iterator[str]:
    """Polls that keep an interval beside moves whose time-outs, as many as come in a row, are longer than that."""
    lost = mean.layout.lost
    share = mean.sent * sum(often * mean.costs.lost[kind] for kind, often in lost.items())
    row = COMMANDS_IN_A_ROW * max((mean.costs.lost[kind] for kind in lost), default=0.0)
    if mean.paces and share > _LOST and row > mean.fastest:
        yield (
            f"moves of cameras that never answer take {share:.0%} of the master's time, and {COMMANDS_IN_A_ROW} in a "
            f"row {show_time(row)}, while polls are wanted every {show_time(mean.fastest)}: their rates and ages are "
            "right only to a few percent"
        )


def _rates(mean: PollSchedule, worst: PollSchedule) -> Iterator[str]:
    polls = mean.case.polls
    late = [number for number in mean.layout.living if 0 < polls[number].every * (1 + 1e-9) < mean.period(number)]
    if late:
        names = " and ".join(repr(name) for name in dict.fromkeys(polls[number].group for number in late))
        every = min(polls[number].every for number in late)
        comes = f"each comes every {show_time(mean.cycle)} instead"
        if mean.demand < 1:
            why = "polls without a wanted interval take their turns between; give those groups an interval"
        else:
            why = (
                f"everything with a wanted rate needs {mean.demand:.0%} of the master's time, "
                f"{mean.demand - 1:.0%} too much"
            )
        yield f"{names} cannot be polled every {show_time(every)}: {why}; {comes}"
    elif mean.layout.living and not mean.restless and worst.demand >= 1:
        yield (
            f"the wanted rates are reached on average ({mean.demand:.0%} of the master's time), but not with every "
            f"unknown at its bad end ({worst.demand:.0%})"
        )
