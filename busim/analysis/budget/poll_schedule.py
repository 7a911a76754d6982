"""The schedule of one master on its line: the rate of each poll, and the time of each activity.

Dead cameras count as given up by their master: single probes with pauses. Noise makes a part of the
exchanges fail, each for its time-out and the drain after it. `scenarios.dead` has the time until a dead camera counts
as offline.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from functools import cached_property

from busim.analysis.budget.case import Case, Poll
from busim.analysis.budget.command_delay import COMMANDS_IN_A_ROW, MOST_WAITING, Waits, waits
from busim.analysis.budget.distribution import Distribution
from busim.analysis.budget.layout import Layout, Row, layout
from busim.analysis.budget.timing import Timing, Wire, timed, wire_of
from busim.analysis.budget.utilisation import Commands, Costs, Utilisation
from busim.analysis.budget.written_out import PollTurn, Positions, Queue, Work, Written, written
from busim.installation import POLICY
from busim.physics.exchange import MEAN, Exchange

LATE = 0.95
_PIECE = 1e-3  # of a poll: how finely the time is cut in which the master has nothing to do
_MOVES = 10_000  # that are written out where they relieve polls
_NOTHING = 1000.0  # ns: the same where nothing is polled


class PollSchedule(Utilisation):
    """One case under one estimate (BEST, MEAN, WORST) of its unknowns. Times in ns, rates per ns.

    `exact`: that newer moves replace waiting ones is worked out; else every move is sent, or the share that `like` has.
    `times`: of each kind of the layout, `each`: how long the master is inside one. Lists over polls are over all of the
    case's, living or not.
    """

    def __init__(
        self, case: Case, unknown: str = MEAN, *, exact: bool = True, like: PollSchedule | None = None
    ) -> None:
        """`like`: a pace of the same case, whose layout, times and share of moves sent are taken over."""
        self.case, self.unknown, self.exact = case, unknown, exact
        self.layout: Layout = layout(case) if like is None else like.layout
        self.times: list[Timing] = (
            [timed(self.wire, asked) for asked in self.layout.kinds] if like is None else like.times
        )
        self.costs = costs_of(self.times, unknown)
        self.each = self.costs.each
        super().__init__(*self.taken(self.costs), 1.0 if like is None else like.sent)

    def taken(self, costs: Costs) -> tuple[dict[float, float], int, list[float], float, float]:
        """What makes a `Utilisation` of what is asked, if each kind of exchange costs this."""
        counted = self.layout
        paces = costs.polls([(every, kind, many.count, many.way) for (every, kind), many in counted.paces.items()])
        service = costs.service(self.commands_at(costs), 1 + self.case.retries, counted.lost)
        probed = [costs.probe(polls.items()) for polls in counted.dead.values()]
        return paces, len(counted.living), probed, counted.rate, service

    def commands_at(self, costs: Costs) -> Commands:
        """What becomes of moves to cameras that answer."""
        return costs.moves([(kind, many.count, many.way) for kind, many in self.layout.moved.items()])

    @cached_property
    def wire(self) -> Wire:
        """What all exchanges have in common."""
        return wire_of(self.case)

    def under(self, unknown: str) -> PollSchedule:
        """The same under another estimate of its unknowns, and not exact."""
        return PollSchedule(self.case, unknown, exact=False, like=self)

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

    def timing(self, number: int) -> Timing:
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

    @cached_property
    def _commands(self) -> Commands:
        return self.commands_at(self.costs)

    @cached_property
    def serving(self) -> Distribution:
        """How long the master is inside one command, failed attempts included."""
        lost = [(often, Distribution.certain(self.costs.lost[kind])) for kind, often in self.layout.lost.items()]
        if not self.layout.moved:
            return Distribution.mixture(lost)
        return Distribution.mixture([(self._commands.rate, self.serving_answered), *lost])

    @cached_property
    def serving_answered(self) -> Distribution:
        """The same inside one to a camera that answers, of which there are some."""
        parts = []
        tries, failing = 1 + self.case.retries, self._commands.failing
        for kind, way, often in self._moves_answered():
            one = Distribution.around(self.each[kind] + way, float(self.times[kind].exchange.variance))
            for failed in range(tries):
                share = often * failing**failed * (1 - failing)
                parts.append((share, one.shifted(failed * self.costs.lost[kind])))
            parts.append((often * failing**tries, Distribution.certain(tries * self.costs.lost[kind])))
        return Distribution.mixture(parts)

    def _moves_answered(self) -> Iterator[tuple[int, float, float]]:
        """Moves to cameras that answer: kind, propagation there and back, how often per ns."""
        for share in self.layout.shares:
            if not share.trouble:
                for kind, often in share.moves.items():
                    yield kind, share.way, often

    @cached_property
    def latencies(self) -> list[Distribution]:
        """Of each kind of exchange: the time from its sending to the whole reply, its camera beside the asker."""
        return [exchange_time(one.exchange) for one in self.times]

    @cached_property
    def answer(self) -> Distribution:
        """From the sending of a command until it is acknowledged, failed attempts included; of cameras that answer."""
        failing = self._commands.failing
        parts = []
        for kind, way, often in self._moves_answered():
            one = self.latencies[kind].shifted(way)
            for failed in range(1 + self.case.retries):
                parts.append((often * failing**failed, one.shifted(failed * self.costs.lost[kind])))
        return Distribution.mixture(parts).regrouped()

    @cached_property
    def controls(self) -> float:
        """How many controls are moved, counted as equally busy ones: (sum of rates)^2 / sum of squared rates."""
        return self.move_rate**2 / sum((move.rate / 1e9) ** 2 for move in self.case.moves)

    @property
    def sent(self) -> float:
        """Share of moves that no newer move replaces; 1 where the schedule is not exact."""
        return 1.0 if self.waits is None else self.waits.carried / self.move_rate

    @property
    def followed(self) -> bool:
        """True if the chain of moves has enough states for their waits."""
        if self.case.joysticks:
            return self.waits is not None
        return self.waits is not None and (self.crowded < 1 or self.controls <= MOST_WAITING)

    @cached_property
    def crowded(self) -> float:
        """Share of the master's time that every move would need, the turns of polls included, if none were replaced."""
        if not self.move_rate:
            return 0.0
        turn = self.between.mean if self.saturated else 0.0
        return self.move_rate * (self.service + turn / COMMANDS_IN_A_ROW)

    # -- the cycle --------------------------------------------------------------------------------------------

    @cached_property
    def polling(self) -> Distribution:
        """How long the master is inside a poll or probe."""
        cycle, parts = self.unhurried, []
        for polls, _, way, trouble in self.layout.shares:
            if trouble:
                continue
            for (every, kind), count in polls.items():
                often, failing = count / max(every, cycle), self.costs.failing[kind]
                variance = float(self.times[kind].exchange.variance)
                parts.append(((1 - failing) * often, Distribution.around(self.each[kind] + way, variance)))
                parts.append((failing * often, Distribution.certain(self.costs.lost[kind])))
        parts += [(often, Distribution.certain(time)) for time, often in self.probes()]
        return Distribution.mixture(parts)

    def probes(self) -> list[tuple[float, float]]:
        """Of each dead camera: how long a probe takes, and how many per ns. A probe waits for its turn among the polls
        before its pause begins anew."""
        return [(time, 1 / (POLICY.longest_pause + time + self.unhurried)) for time in self.probed]

    @cached_property
    def polled(self) -> float:
        """Share of the master's time that polls and probes take."""
        cycle = self.unhurried
        polls = sum(occupied / max(every, cycle) for every, occupied in self.paces.items())
        return polls + sum(time * often for time, often in self.probes())

    @cached_property
    def between(self) -> Distribution:
        """Between commands: polls and probes, or short pieces of nothing where these rest."""
        if not self.paces and not self.probed:
            return Distribution.certain(_NOTHING)
        rest = 1 - self.polled - self.moves_load
        if self.saturated or rest <= 0:
            return self.polling
        piece = _PIECE * self.polling.mean
        pieces, polls = rest / piece, self.polled / self.polling.mean
        return Distribution.mixture([(polls, self.polling), (pieces, Distribution.certain(piece))])

    @cached_property
    def waits(self) -> Waits | None:
        """How moves wait; None where nobody moves anything, or where it is not to be exact."""
        if not self.move_rate or not self.exact:
            return None
        if self.case.joysticks or self.relieved:
            return self.written.waits
        if self.saturated or not self.paces:
            return self._chained
        # Polls that rest come in batches, all of one interval together: moves meet nothing but polls, or none at all.
        resting = waits(self.move_rate, self.controls, self.serving, Distribution.certain(_PIECE * self.polling.mean))
        batch = waits(self.move_rate, self.controls, self.serving, self.polling)
        share = self.polled / max(1e-9, 1 - batch.carried * self.service)
        return resting.alternating(batch, min(1.0, share))

    @cached_property
    def _chained(self) -> Waits:
        """How moves wait for polls that always have their turn."""
        return waits(self.move_rate, self.controls, self.serving, self.between, turns=True)

    @cached_property
    def relieved(self) -> bool:
        """True if polls keep their pace only because newer moves replace some: moves meet no polls, or a batch of them,
        and neither for long enough to settle."""
        if self.restless or not self.paces or self.polls_demand + self.move_rate * self.service < 1:
            return False
        return not self.saturated or not self.with_load(self._chained.carried * self.service)

    @cached_property
    def written(self) -> Written:
        """The turns of the master, written out: for moves beside joysticks, and where they relieve polls."""
        return written(self.queue) if self.case.joysticks else written(self.queue, _MOVES, 0)

    @cached_property
    def queue(self) -> Queue:
        """What the master has to do, turn by turn."""
        case, costs, rows = self.case, self.costs, self.layout
        polls = [
            PollTurn(
                self._work(rows.polls[number], self.poll_time(number)),
                float(case.polls[number].every),
                quiet=float(self.timing(number).exchange.pause),
            )
            for number in rows.living
        ]
        polls += [PollTurn(Work(time, 0.0, time, 0.0), 0.0, POLICY.longest_pause) for time in self.probed]
        commands = []
        for number, row in enumerate(rows.moves):
            if case.units[row.unit].trouble:
                commands.append(Work(costs.lost[row.kind], 0.0, 0.0, 0.0))
            else:
                commands.append(self._work(row, self.move_time(number), 1 + case.retries))
        operators = [max(0.0, move.rate - move.steady) / 1e9 for move in case.moves]
        sticks = [Positions(one.moves, float(one.every), float(one.jitter)) for one in case.joysticks]
        return Queue(polls, commands, operators, sticks)

    def _work(self, row: Row, time: float, tries: int = 1) -> Work:
        spread = math.sqrt(12 * float(self.times[row.kind].exchange.variance))
        return Work(time, spread, self.costs.lost[row.kind], self.costs.failing[row.kind], tries)

    @cached_property
    def move_p95(self) -> float:
        """ns within which 95 % of the answered moves are acknowledged. Only where `waits` is not None."""
        return self.moved.quantile(LATE)

    @cached_property
    def moved(self) -> Distribution:
        """From a move until it is acknowledged, of the answered ones. Only where `waits` is not None."""
        assert self.waits is not None
        return self.waits.delay.plus(self.answer)

    @cached_property
    def commands_load(self) -> float:
        """Share of time that commands take, replaced ones left out."""
        if not self.move_rate or self.waits is None:
            return self.sendable
        if self.case.joysticks:
            return self.written.busy
        return self.waits.carried * self.service

    @cached_property
    def cycle(self) -> float:
        """Time for one round of the polls that never rest; 0: all keep their pace; nan: commands leave no time."""
        return self.with_load(self.commands_load) if self.exact else self.unhurried

    def period(self, number: int) -> float:
        """Time between two of this poll, which is alive."""
        return max(float(self.case.polls[number].every), self.cycle)


def costs_of(times: Sequence[Timing], unknown: str) -> Costs:
    """What exchanges of these times cost in one of the cases of their unknowns."""
    each, lost, failing = [], [], []
    for one in times:
        each.append(float(one.occupied(unknown)))
        lost.append(float(one.lost))
        failing.append(float(one.failing))
    return Costs(each, lost, failing)


def exchange_time(exchange: Exchange) -> Distribution:
    """An answered exchange: a fixed time, and the turnaround and both passages, each evenly between its bounds."""
    way = exchange.latency_low + exchange.back_mean - exchange.back_width / 2
    drawn = Distribution.certain(float(exchange.fixed + exchange.turnaround_low + way))
    for width in (
        exchange.turnaround_high - exchange.turnaround_low,
        exchange.latency_high - exchange.latency_low,
        exchange.back_width,
    ):
        if width > 0:
            drawn = drawn.plus(Distribution.uniform(0.0, float(width)))
    return drawn
