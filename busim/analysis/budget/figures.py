"""The expected figures of a line and its cameras: the same quantities, by the same names, as a run measures."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from busim.analysis.budget.age import mean_age, worst_age
from busim.analysis.budget.cached import kept
from busim.analysis.budget.command_delay import IN_A_ROW
from busim.analysis.budget.poll_schedule import Pace
from busim.analysis.budget.spreads import Mixtures, quantiles
from busim.installation import POLICY
from busim.physics.exchange import MEAN, WORST
from busim.recording.figures import QUANTITIES, Value

Array = npt.NDArray[np.float64]

_SHARES = {"latency_p50": 0.5, "latency_p95": 0.95, "latency_p99": 0.99}
_NOISY = "noise may damage any number of exchanges in a row"


def value(name: str, number: float | None, why: str = "", kind: str = "computed") -> Value:
    """A figure that was computed and not counted."""
    return Value(QUANTITIES[name], number, 0, "" if number is not None else why, kind)


class Expected:
    """The figures that follow from a case on average (`mean`) and at the bad end of its unknowns (`worst`)."""

    def __init__(self, mean: Pace, worst: Pace) -> None:
        self.mean, self.worst = mean, worst
        self.noisy = mean.failing > 0

    @kept
    def good(self) -> dict[int, float]:
        """Polls answered well, per ns, of each poll that is alive."""
        pace = self.mean
        polls, rows, cycle = pace.case.polls, pace.layout.polls, pace.cycle
        sound = [1 - one.failing for one in pace.times]
        return {number: sound[rows[number].kind] / max(polls[number].every, cycle) for number in pace.layout.living}

    @kept
    def carried(self) -> float:
        """The share of moves that are sent."""
        pace = self.mean
        return pace.waits.carried / pace.move_rate if pace.move_rate and pace.waits else 0.0

    @property
    def answers_moves(self) -> bool:
        """Whether any move is ever answered."""
        return bool(self.mean.layout.moved) and self.carried > 0

    @kept
    def follows_moves(self) -> bool:
        """Whether moves have a latency that can be stated."""
        return self.mean.waits is not None and self.mean.crowded < 1 and self.answers_moves

    @kept
    def inside_commands(self) -> list[float]:
        """ns that the master may be inside each command that is ever given, once."""
        pace, units = self.worst, self.worst.case.units
        each, lost = pace.costs.each, pace.costs.lost
        return [
            lost[kind] if units[unit].trouble else each[kind] + way
            for (kind, unit, way), move in zip(pace.layout.moves, pace.case.moves, strict=True)
            if move.rate
        ]

    @kept
    def longest_command(self) -> float:
        """ns that the master may be inside one command, once."""
        return max(self.inside_commands, default=0.0)

    @kept
    def longest_poll(self) -> float:
        """ns that the master may be inside one poll or probe."""
        pace = self.worst
        return max(
            [
                pace.times[kind].lost if share.trouble else pace.each[kind] + share.way
                for share in pace.layout.shares
                for _, kind in share.polls
            ],
            default=0.0,
        )

    # -- the line ---------------------------------------------------------------------------------------------

    def line(self) -> dict[str, Value]:
        """The figures of the line."""
        pace = self.mean
        values = {"poll_rate": value("poll_rate", sum(self.good.values()) * 1e9)}
        values |= self.latencies[-1] | self._moves()
        wire = 0.0
        for (every, kind), many in pace.layout.paces.items():
            wire += many.count * pace.times[kind].wire / max(every, pace.cycle)
        wire += self.carried * sum(moved.count * pace.times[kind].wire for kind, moved in pace.layout.moved.items())
        values["occupancy"] = value("occupancy", wire + self._unanswered())
        if pace.restless:
            values["load"] = value("load", 1.0)
            values["headroom"] = value("headroom", None, "polls never rest: no rate is wanted")
        elif pace.demand >= 1:
            why = f"the wanted rates need {pace.demand:.0%} of the master's time"
            values["load"], values["headroom"] = value("load", None, why), value("headroom", None, why)
        else:
            values["load"] = value("load", pace.demand)
            values["headroom"] = value("headroom", 1 - pace.demand)
        return values

    def _unanswered(self) -> float:
        """The share of time in which requests to cameras that never answer are on the wire."""
        pace, counted = self.mean, self.mean.layout
        share = self.carried * sum(rate * pace.times[kind].asked for kind, rate in counted.lost.items())
        for probed, polls in zip(pace.probed, counted.dead.values(), strict=True):
            asked = sum(pace.times[kind].asked * count for kind, count in polls.items()) / sum(polls.values())
            share += asked / (POLICY.longest_pause + probed + pace.cycle)
        return float(share)

    @kept
    def latencies(self) -> list[dict[str, Value]]:
        """Latency quantiles of the answered exchanges: of each camera in turn, and of all together at the end."""
        return self.latencies_of(quantiles([self.answered])[0])

    @kept
    def _answered(self) -> list[tuple[int, int, float, float]]:
        """Exchanges answered, of each camera and kind that there are any of: unit, kind, way, how many per ns."""
        pace, carried, cycle = self.mean, self.carried, self.mean.cycle
        failing = pace.costs.failing
        found = []
        for unit, (polls, moves, way, trouble) in enumerate(pace.layout.shares):
            if trouble:
                continue
            rates: dict[int, float] = {}
            for (every, kind), count in polls.items():
                rates[kind] = rates.get(kind, 0.0) + count * (1 - failing[kind]) / max(every, cycle)
            for kind, often in moves.items():
                rates[kind] = rates.get(kind, 0.0) + often * carried
            found += [(unit, kind, way, rate) for kind, rate in rates.items() if rate > 0]
        return found

    @property
    def answered(self) -> Mixtures:
        """The answered exchanges of each camera in turn, and all together."""
        units = len(self.mean.case.units)
        found = Mixtures.of(self.mean.entries, self._answered, units + 1, tuple(_SHARES.values()))
        found.weights[-1] = found.weights.sum(axis=0)
        return found

    def latencies_of(self, found: Array) -> list[dict[str, Value]]:
        """`latencies` from the quantiles of `answered`."""
        worst = [one.exchange.worst for one in self.mean.times]
        longest: list[float] = [0.0] * len(found)
        for unit, kind, way, _ in self._answered:
            most = worst[kind] + way
            longest[unit] = max(longest[unit], most)
            longest[-1] = max(longest[-1], most)
        return [_latency(row, most) for row, most in zip((found / 1e9).tolist(), longest, strict=True)]

    def _moves(self) -> dict[str, Value]:
        pace = self.mean
        if not pace.move_rate:
            return {name: value(name, None, "no operator moves anything") for name in ("move_p95", "move_max")}
        if pace.waits is None or pace.crowded >= 1:
            why = f"moves need {pace.crowded:.0%} of the master's time"
            return {name: value(name, None, why) for name in ("move_p95", "move_max")}
        if not self.answers_moves:
            return {name: value(name, None, "no move is answered") for name in ("move_p95", "move_max")}
        bound = self.move_bound
        return {
            "move_p95": value("move_p95", pace.move_p95 / 1e9),
            "move_max": value("move_max", None if bound is None else bound / 1e9, _NOISY, "bound"),
        }

    @kept
    def move_bound(self) -> float | None:
        """ns that no answered move exceeds: one command under way, every other control waiting before it, and polls
        that take each turn they may.
        """
        if self.noisy or not self.mean.move_rate:
            return None
        pace, inside = self.worst, self.inside_commands
        turns = 1 + (len(inside) - 1) // IN_A_ROW
        last = max(pace.times[kind].exchange.worst - pace.each[kind] for kind in pace.layout.moved)
        return float(self.longest_command + sum(inside) + turns * self.longest_poll + last)

    # -- a camera ---------------------------------------------------------------------------------------------

    def camera(self, unit: int) -> dict[str, Value]:
        """The figures of one camera, counted as in `Case.units`."""
        pace, own = self.mean, self._own.get(unit)
        values = dict(self.latencies[unit])
        if not own:
            why = pace.case.units[unit].trouble or "it is not polled"
            return values | {name: value(name, None, why) for name in ("poll_rate", "age_mean", "age_worst")}
        chosen = max(own, key=lambda number: (self.good[number], pace.case.polls[number].work))
        values["poll_rate"] = value("poll_rate", self.good[chosen] * 1e9)
        values["age_mean"] = value("age_mean", self.age(chosen) / 1e9)
        worst = None if self.noisy else self.worst_age(chosen) / 1e9
        values["age_worst"] = value("age_worst", worst, _NOISY, "bound")
        return values

    @kept
    def _own(self) -> dict[int, list[int]]:
        """The living polls of each unit that has any."""
        rows = self.mean.layout.polls
        found: dict[int, list[int]] = {}
        for number in self.mean.layout.living:
            found.setdefault(rows[number].unit, []).append(number)
        return found

    def age(self, number: int) -> float:
        """Mean age in ns of what this poll brings."""
        row, every = self.mean.layout.polls[number], self.mean.case.polls[number].every
        if (row.kind, every) not in self._ages:
            self._ages[row.kind, every] = self._age(row.kind, every)
        return self._ages[row.kind, every] + row.way / 2

    @kept
    def _ages(self) -> dict[tuple[int, int], float]:
        """Those of polls whose camera stands beside the asker, by kind and wanted time between two."""
        return {}

    def _age(self, kind: int, every: int) -> float:
        one, period = self.mean.times[kind], max(every, self.mean.cycle)
        variance = self.cycle_variance if period > every else 0.0
        failing = one.failing
        # so many tries until one is answered: a geometric number
        tries, square = 1 / (1 - failing), (1 + failing) / (1 - failing) ** 2
        return float(mean_age(tries * period, square * period**2 + tries * variance, one.exchange.delivery(MEAN)))

    @kept
    def cycle_variance(self) -> float:
        """ns^2, of the cycle of polls that never rest: what turnarounds, commands and batches of paced polls add."""
        pace = self.mean
        left = 1 - pace.commands_load
        drawn = walk = variance = 0.0
        batches: dict[float, float] = {}
        for (every, kind), many in pace.layout.paces.items():
            one = pace.times[kind]
            time = (1 - one.failing) * (many.count * one.occupied() + many.way) + many.count * one.failing * one.lost
            if every < pace.cycle:
                drawn += many.count * one.exchange.variance
                walk += time
            else:
                batches[every] = batches.get(every, 0.0) + time
        variance = drawn / left**2
        if pace.waits is not None:
            variance += walk * pace.waits.carried * pace.serving.square / left**3
        for every, time in batches.items():
            chance = min(1.0, pace.cycle / every)
            variance += (time / left) ** 2 * chance * (1 - chance)
        return variance

    @kept
    def _between(self) -> tuple[float, list[tuple[int, float, float]]]:
        """ns between two polls at the most, but for polls that keep their pace; and those: number, time, every."""
        pace, case = self.worst, self.worst.case
        lost = sum(pace.timing(number).lost for number, alive in enumerate(pace.layout.alive) if not alive)
        commands = IN_A_ROW * len(pace.layout.alive) * self.longest_command if pace.move_rate else 0.0
        polls, cycle = case.polls, pace.cycle
        paced = [
            (number, pace.poll_cost(number), float(polls[number].every))
            for number in pace.layout.living
            if polls[number].every >= cycle
        ]
        return pace.occupied + lost + commands, paced

    def worst_age(self, number: int) -> float:
        """ns that the age of what this poll brings never exceeds, while nothing is damaged.

        Whatever operators do: four commands between any two polls. Dead cameras cost what they do until given up.
        """
        pace = self.worst
        between, paced = self._between
        rest = 0.0
        for other, time, every in paced:
            if other == number:
                rest = every
            else:
                between += int(between // every) * time
        delivery = pace.timing(number).exchange.delivery(WORST) + pace.layout.polls[number].way / 2
        return float(worst_age(rest + between, delivery))


def _latency(found: list[float], longest: float) -> dict[str, Value]:
    if not longest:
        return {name: value(name, None, "no exchange is answered") for name in (*_SHARES, "latency_max")}
    values = {name: value(name, seconds) for name, seconds in zip(_SHARES, found, strict=True)}
    values["latency_max"] = value("latency_max", longest / 1e9, kind="bound")
    return values
