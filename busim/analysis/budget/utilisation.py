"""The utilisation of a master: the time of its polls, probes and commands, and the resulting round.

Written once, for the plan and for its what-ifs (`variants`): sums over exchanges, each kind with its count and the sum
of its distances. Times in ns, rates per ns.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import cached_property
from typing import NamedTuple

from busim.analysis.budget.command_delay import COMMANDS_IN_A_ROW
from busim.analysis.budget.cycle import one_cycle
from busim.installation import POLICY


class Commands(NamedTuple):
    """Moves to cameras that answer: their rate, the mean time of one, of a lost one, and the share lost."""

    rate: float = 0.0
    time: float = 0.0
    lost: float = 0.0
    failing: float = 0.0

    def served(self, tries: int) -> float:
        """Mean time of the master inside one, repeats included."""
        _, time, lost, failing = self
        if failing <= 0:
            return time
        mean = failing**tries * tries * lost
        return mean + sum([failing**n * (1 - failing) * (n * lost + time) for n in range(tries)])


class Costs(NamedTuple):
    """Of each kind of exchange: how long the master is inside one that is answered, its camera beside the asker; inside
    one that is not; and which share noise damages."""

    each: list[float]
    lost: list[float]
    failing: list[float]

    def polls(self, asked: Iterable[tuple[float, int, float, float]]) -> dict[float, float]:
        """What polls take, once each, by the wanted time between two. `asked`: that time, kind, how many, ns of all
        their ways."""
        each, lost, failing = self
        paces: dict[float, float] = {}
        for every, kind, count, way in asked:
            time, fails = count * each[kind] + way, failing[kind]
            if fails:
                time = (1 - fails) * time + count * fails * lost[kind]
            paces[every] = paces.get(every, 0.0) + time
        return paces

    def beside(self, more: Costs) -> Costs:
        """These kinds, and others behind them."""
        return Costs(*(own + other for own, other in zip(self, more, strict=True)))

    def probe(self, polls: Iterable[tuple[int, float]]) -> float:
        """What a probe of a camera takes, on average over its polls: kinds, and how many of each."""
        time = many = 0.0
        for kind, count in polls:
            time += self.lost[kind] * count
            many += count
        return time / many

    def moves(self, asked: Iterable[tuple[int, float, float]]) -> Commands:
        """Of moves to cameras that answer: kind, how often, ways weighted by it."""
        each, one_lost, fails = self
        rate = time = lost = failing = 0.0
        for kind, often, way in asked:
            rate += often
            time += often * each[kind] + way
            lost += often * one_lost[kind]
            failing += often * fails[kind]
        return Commands(rate, time / rate, lost / rate, failing / rate) if rate else Commands()

    def service(self, given: Commands, tries: int, wasted: Mapping[int, float]) -> float:
        """How long the master is inside one command on average; to cameras that never answer (`wasted`: kind to how
        often) a single attempt."""
        if not wasted:
            return given.served(tries) if given.rate else 0.0
        time = sum([often * self.lost[kind] for kind, often in wasted.items()])
        rate = given.rate + sum(wasted.values())
        return (given.rate * given.served(tries) + time) / rate if rate else 0.0


class Utilisation:
    """How busy a master is while moves are sent as far as there is time for them.

    `paces`: what all living polls take, once each, failures counted in, by the wanted time between two, `occupied` all
    of it; `polls`: how many they are; `probed`: what a probe takes, of each dead camera that is polled; `move_rate`:
    moves of all panels; `service`: how long the master is inside one command, on average; `sent`: the share of moves
    that no newer one replaces. `moves_load`: the share of time that commands take if every move is sent; `sendable`: if
    those are that are not replaced, but no more than four for each poll where polls are always due.
    """

    def __init__(
        self, paces: dict[float, float], polls: int, probed: list[float], move_rate: float, service: float,
        sent: float = 1.0,
    ) -> None:  # fmt: skip
        self.paces, self.polls, self.probed = paces, polls, probed
        self.move_rate, self.service = move_rate, service
        self.occupied = sum(paces.values())
        self.moves_load = move_rate * service
        self.sendable = sent * self.moves_load
        if move_rate:
            row = COMMANDS_IN_A_ROW * service
            self.sendable = min(self.sendable, row / (row + self.occupied / polls) if polls else 1.0)

    @property
    def restless(self) -> bool:
        """True if some polls have no wanted rate."""
        return 0.0 in self.paces

    @property
    def fastest(self) -> float:
        """The smallest wanted time between two polls."""
        return min(self.paces)

    def with_load(self, load: float) -> float:
        """The cycle with this load of commands; 0 where everything keeps its pace, or nothing is polled."""
        if not self.paces:
            return 0.0
        if not self.probed:
            return one_cycle(self.paces.items(), load)
        cycle = 0.0
        for _ in range(2):  # a probe waits for its turn before its pause begins anew
            probes = [(POLICY.longest_pause + probe + cycle, probe) for probe in self.probed]
            cycle = one_cycle((*self.paces.items(), *probes), load)
        return cycle

    def round_with(self, load: float) -> float:
        """The shortest time between two of a poll when commands take this share; 0 where nothing is polled."""
        return max(self.with_load(load), self.fastest) if self.paces else 0.0

    @cached_property
    def unhurried(self) -> float:
        """The cycle that is left if every command is sent that can be."""
        return self.with_load(self.sendable)

    @property
    def saturated(self) -> bool:
        """True if the master never rests, by plan or by lack of time."""
        return self.unhurried > 0

    @property
    def commands_load(self) -> float:
        """Share of time that commands take."""
        return self.sendable

    @property
    def cycle(self) -> float:
        """Time for one round of the polls that never rest; 0: all keep their pace; nan: commands leave no time."""
        return self.unhurried

    @property
    def shortest(self) -> float:
        """Time between two of the values polled most."""
        return max(self.cycle, self.fastest)

    @cached_property
    def polls_demand(self) -> float:
        """Share of the master's time that living polls with a wanted rate need."""
        return sum([occupied / every for every, occupied in self.paces.items() if every])

    @cached_property
    def demand(self) -> float:
        """Share of the master's time that everything with a wanted rate needs; more than 1: it is not reached."""
        probes = sum([time / (POLICY.longest_pause + time) for time in self.probed]) if self.probed else 0.0
        return self.polls_demand + self.commands_load + probes
