"""The pace of one master on its line: how often each poll comes round, and what of its time everything takes.

Dead cameras are taken as their master takes them once it knows: single probes at a pause. Noise makes a part of the
exchanges fail, each for its time-out and the drain after it. What happens before a dead camera counts as offline is
in `dead`.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import islice
from typing import Any

import numpy as np
import numpy.typing as npt

from busim.analysis.budget.cached import kept
from busim.analysis.budget.case import Case, Poll
from busim.analysis.budget.command_delay import IN_A_ROW, Chain, many_waits
from busim.analysis.budget.layout import Layout, Sum, layout
from busim.analysis.budget.mixes import Mix, Waits
from busim.analysis.budget.spreads import Entry, Mixtures, quantiles
from busim.analysis.budget.timing import Wire, timed, wire_of
from busim.analysis.budget.utilisation import Commands, Costs, Load
from busim.installation import POLICY
from busim.physics.exchange import MEAN

Array = npt.NDArray[np.float64]

_PARTS_OF_ANSWER = tuple((number + 0.5) / 20 for number in range(20))
LATE = 0.95
_SLICE = 1e-3  # of a poll: how finely a line that rests is cut where the chain of moves needs something to do
_FEW = 2  # exchanges that the chain of moves takes one by one; more count by their mean and mean square


class Pace(Load):
    """One case in one of the cases BEST, MEAN, WORST of its unknowns. Times in ns, rates per ns.

    `exact`: that some moves replace others is counted; else every move is sent, which is quicker to work out and enough
    for comparing. `times`: of each kind of the layout, `each`: how long the master is inside one. Lists over polls are
    over all of the case's, living or not.
    """

    def __init__(self, case: Case, unknown: str = MEAN, *, exact: bool = True, like: Pace | None = None) -> None:
        """`like`: a pace of the same case, whose layout and times are taken over."""
        self.case, self.unknown, self.exact = case, unknown, exact
        self.layout: Layout = layout(case) if like is None else like.layout
        # of plain numbers
        self.times: list[Any] = [timed(self.wire, asked) for asked in self.layout.kinds] if like is None else like.times
        self.costs = costs_of(self.times, unknown)
        self.each = self.costs.each
        super().__init__(*self.taken(self.costs))

    def taken(self, costs: Costs) -> tuple[dict[float, float], int, list[float], float, float]:
        """What makes a `Load` of what is asked, if each kind of exchange costs this."""
        counted = self.layout
        paces = costs.polls([(every, kind, many.count, many.way) for (every, kind), many in counted.paces.items()])
        service = costs.service(self.commands_at(costs), 1 + self.case.retries, counted.lost)
        probed = [costs.probe(polls.items()) for polls in counted.dead.values()]
        return paces, len(counted.living), probed, counted.rate, service

    def commands_at(self, costs: Costs) -> Commands:
        """What becomes of moves to cameras that answer."""
        return costs.moves([(kind, many.count, many.way) for kind, many in self.layout.moved.items()])

    @kept
    def writes(self) -> dict[tuple[int, int], Any]:
        """Times of writes that somebody asked for already (`written`)."""
        return {}

    @kept
    def wire(self) -> Wire:
        """What all exchanges have in common."""
        return wire_of(self.case)

    def under(self, unknown: str) -> Pace:
        """The same in another case of its unknowns, and not exact."""
        return Pace(self.case, unknown, exact=False, like=self)

    # -- polls ------------------------------------------------------------------------------------------------

    @property
    def living(self) -> list[Poll]:
        """The polls of cameras that answer."""
        return [self.case.polls[number] for number in self.layout.living]

    def poll_time(self, number: int) -> float:
        """How long the master is inside this poll when it is answered, with the pause after it."""
        row = self.layout.polls[number]
        return float(self.each[row.kind] + row.way)

    def poll_cost(self, number: int) -> float:
        """The same with failures counted in."""
        one = self.times[self.layout.polls[number].kind]
        return float((1 - one.failing) * self.poll_time(number) + one.failing * one.lost)

    def timing(self, number: int) -> Any:
        """Of a poll, as if its camera stood beside the asker."""
        return self.times[self.layout.polls[number].kind]

    def move_time(self, number: int) -> float:
        """How long the master is inside this command when it is answered at once."""
        row = self.layout.moves[number]
        return float(self.each[row.kind] + row.way)

    @property
    def failing(self) -> float:
        """The largest share of a kind of exchange that noise damages."""
        return float(max((one.failing for one in self.times), default=0.0))

    # -- commands ---------------------------------------------------------------------------------------------

    @kept
    def _commands(self) -> Commands:
        return self.commands_at(self.costs)

    @kept
    def serving(self) -> Mix:
        """How long the master is inside one command, as it is spread."""
        rate, mean, lost, failing = self._commands
        mix = self._answered(self.each) if rate else None
        if mix is not None and failing > 0:
            tries = 1 + self.case.retries
            chances = [failing**number * (1 - failing) for number in range(tries)] + [failing**tries]
            times = [number * lost + mean for number in range(tries)] + [tries * lost]
            mix = Mix.of(times, chances, max(0.0, mix.square - mix.mean**2))
        gone = self.layout.lost
        if mix is not None and not gone:
            return mix
        often = sum(gone.values())
        wasted = sum([rate * self.costs.lost[kind] for kind, rate in gone.items()])
        lost_time = Mix([wasted / max(1e-300, often)], [1.0])
        return lost_time if mix is None else mix.joined(lost_time, often / self.move_rate)

    def _answered(self, times: list[float]) -> Mix:
        """Moves to cameras that answer, spread as their exchanges are; `times` by kind."""
        answered = (
            (row, move.rate)
            for row, move in zip(self.layout.moves, self.case.moves, strict=True)
            if move.rate and not self.case.units[row.unit].trouble
        )
        held = list(islice(answered, _FEW + 1))
        if len(held) <= _FEW:
            values = [times[row.kind] + row.way for row, _ in held]
            variances = [self.times[row.kind].exchange.variance for row, _ in held]
            return Mix.of(values, [rate for _, rate in held], variances)
        return self._summed([(times[kind], kind, moved) for kind, moved in self.layout.moved.items()])

    def _summed(self, parts: list[tuple[float, int, Sum]]) -> Mix:
        """Two points with the mean and mean square of many exchanges: time, kind and how many of each."""
        count = mean = square = 0.0
        for time, kind, many in parts:
            count += many.count
            mean += many.count * time + many.way
            square += many.count * (time * time + self.times[kind].exchange.variance)
            square += 2 * time * many.way + many.square
        return Mix.two(mean / count, square / count)

    @kept
    def answer(self) -> Mix:
        """From the sending of a command until it is acknowledged, repeats counted in; of cameras that answer."""
        return self.answer_of(quantiles([self.answers])[0][0])

    @kept
    def entries(self) -> list[Entry]:
        """Each kind of exchange, to be mixed."""
        return [Entry.of(one.exchange) for one in self.times]

    @property
    def answers(self) -> Mixtures:
        """The answered commands themselves, as often as they come."""
        parts = [
            (0, kind, share.way, often)
            for share in self.layout.shares
            if not share.trouble
            for kind, often in share.moves.items()
        ]
        return Mixtures.of(self.entries, parts, 1, _PARTS_OF_ANSWER)

    def answer_of(self, found: Array) -> Mix:
        """`answer` from the quantiles of `answers`."""
        rate, _, lost, failing = self._commands
        mean = sum(many.count * self.times[kind].exchange.mean + many.way for kind, many in self.layout.moved.items())
        # as it is spread, not only how widely: where a move hardly waits, its quantiles are those of the answer
        times: list[float] = found.tolist()
        usual = mean / rate
        off, share = usual - sum(times) / len(times), 1 / len(times)
        if failing <= 0:
            return Mix([time + off for time in times], [share] * len(times))
        chances = [failing**number for number in range(1 + self.case.retries)]
        whole = sum(chances)
        return Mix(
            [number * lost + time + off for number in range(len(chances)) for time in times],
            [chance / whole * share for chance in chances for _ in times],
        )

    @kept
    def controls(self) -> float:
        """How many controls are moved, counted as equally busy ones."""
        return self.move_rate**2 / sum((move.rate / 1e9) ** 2 for move in self.case.moves)

    @kept
    def crowded(self) -> float:
        """The same with the turn that polls get after four commands: from 1 on, moves cannot be followed."""
        if not self.move_rate:
            return 0.0
        turn = self.between.mean if self.saturated else 0.0
        return self.move_rate * (self.service + turn / IN_A_ROW)

    # -- the cycle --------------------------------------------------------------------------------------------

    @property
    def polling(self) -> Mix:
        """Polls and probes, as often as they come: what the master does while no command waits and some are due."""
        return self._asked[0]

    @kept
    def between(self) -> Mix:
        """What the master does while no command waits: the same, or a bit of nothing where polls rest."""
        if not self.paces and not self.probed:
            return Mix([1000.0], [1.0])
        mix, often, taken = self._asked
        rest = 1 - taken - self.moves_load
        if self.saturated or rest <= 0:
            return mix
        piece = _SLICE * mix.mean
        count = rest / piece
        return mix.joined(Mix([piece], [1.0]), count / (count + often))

    @kept
    def _asked(self) -> tuple[Mix, float, float]:
        """Polls and probes: how long, how many per ns, which share of the time."""
        cycle, counted = self.unhurried, self.layout
        probes = [(time, 1 / (POLICY.longest_pause + time + cycle)) for time in self.probed]
        often = taken = 0.0
        parts = []
        for (every, kind), one in counted.paces.items():
            rate, time = 1 / max(every, cycle), self.times[kind]
            often += one.count * rate
            answered = (1 - time.failing) * (one.count * self.each[kind] + one.way)
            taken += rate * (answered + one.count * time.failing * time.lost)
            parts.append((self.each[kind], kind, one.times(rate)))
        often += sum(rate for _, rate in probes)
        taken += sum(rate * time for time, rate in probes)
        if not probes and self.failing <= 0 and len(counted.living) > _FEW:
            return self._summed(parts), often, taken
        return self._one_by_one(cycle, probes), often, taken

    def _one_by_one(self, cycle: float, probes: list[tuple[float, float]]) -> Mix:
        """What is rare and long must stay apart from the rest: a lost poll, a probe."""
        values = []
        for number in self.layout.living:
            one, rate = self.timing(number), 1 / max(self.case.polls[number].every, cycle)
            values.append((self.poll_time(number), (1 - one.failing) * rate, float(one.exchange.variance)))
            if one.failing > 0:
                values.append((float(one.lost), one.failing * rate, 0.0))
        values += [(time, rate, 0.0) for time, rate in probes]
        times, rates, variances = zip(*values, strict=True)
        return Mix.of(times, rates, variances)

    @kept
    def waits(self) -> Waits | None:
        """How moves wait; None where nobody moves anything, or where it is not to be exact."""
        chains = self.chains
        return self.waits_of([one for (one,) in many_waits([[chain] for chain in chains])]) if chains else None

    @property
    def chains(self) -> list[Chain]:
        """What has to be followed for that: polls that rest come in batches, all that have one pace, so that moves
        meet nothing but polls, or none."""
        if not self.move_rate or not self.exact:
            return []
        mixes = [self.between]
        if self.paces and not self.saturated:
            mixes = [Mix([_SLICE * self.polling.mean], [1.0]), self.polling]
        return [Chain(self.move_rate, self.controls, self.serving, mix) for mix in mixes]

    def waits_of(self, found: Sequence[Waits]) -> Waits:
        """`waits` from those of the `chains`."""
        first, *batch = found
        for one in batch:
            share = self._asked[2] / max(1e-9, 1 - one.carried * self.service)
            first = first.mixed(one, min(1.0, share))
        return first

    @kept
    def move_p95(self) -> float:
        """ns within which 95 % of the answered moves are acknowledged; only where `waits` is."""
        assert self.waits is not None
        return self.waits.quantile(LATE, self.answer)

    @kept
    def commands_load(self) -> float:
        """Share of time that commands take, replaced ones left out."""
        if not self.move_rate or self.waits is None:
            return self.sendable
        return self.waits.carried * self.service

    @kept
    def cycle(self) -> float:
        """Time for one round of the polls that never rest; 0: all keep their pace; nan: commands leave no time."""
        return self.with_load(self.commands_load) if self.exact else self.unhurried

    def period(self, number: int) -> float:
        """Time between two of this poll, which is alive."""
        return max(float(self.case.polls[number].every), self.cycle)


def costs_of(times: Sequence[Any], unknown: str) -> Costs:
    """What exchanges of these times cost in one of the cases of their unknowns."""
    each, lost, failing = [], [], []
    for one in times:
        each.append(one.occupied(unknown))
        lost.append(one.lost)
        failing.append(one.failing)
    return Costs(each, lost, failing)
