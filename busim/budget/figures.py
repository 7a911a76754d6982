"""The expected figures of a line and its cameras: the same quantities, by the same names, as a run measures."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from busim.budget.age import mean_age, worst_age
from busim.budget.moves import IN_A_ROW
from busim.budget.pace import PROBE_PAUSE, Pace
from busim.budget.spreads import quantiles
from busim.budget.timing import joined
from busim.exchange import MEAN, WORST
from busim.figures import QUANTITIES, Value

Array = npt.NDArray[np.float64]

_SHARES = {"latency_p50": 0.5, "latency_p95": 0.95, "latency_p99": 0.99}
_NOISY = "noise may damage any number of exchanges in a row"


def value(name: str, number: float | None, why: str = "", kind: str = "computed") -> Value:
    """A figure that was computed and not counted."""
    return Value(QUANTITIES[name], number, 0, "" if number is not None else why, kind)


@dataclass(frozen=True)
class Expected:
    """The figures that follow from a case on average (`mean`) and at the bad end of its unknowns (`worst`)."""

    mean: Pace
    worst: Pace

    @cached_property
    def noisy(self) -> bool:
        return bool(self.mean.polls.failing.max(initial=0.0) > 0)

    @cached_property
    def good(self) -> Array:
        """Polls answered well, per ns, of each poll that is alive."""
        return np.asarray((1 - self.mean.polls.failing[self.mean.alive]) / self.mean.periods)

    @cached_property
    def answered_moves(self) -> Array:
        """Commands answered, per ns, of each move of the case."""
        pace = self.mean
        if not pace.move_rate:
            return np.zeros(len(pace.case.moves))
        carried = pace.waits.carried / pace.move_rate if pace.waits else 0.0
        dead = np.array([bool(pace.case.units[move.unit].trouble) for move in pace.case.moves])
        return np.asarray(pace.move_rates * carried * ~dead)

    @cached_property
    def longest_command(self) -> float:
        """ns that the master may be inside one command, once."""
        return float(self.inside_commands.max(initial=0.0))

    @cached_property
    def inside_commands(self) -> Array:
        """ns that the master may be inside each command that is ever given, once."""
        pace = self.worst
        dead = np.array([bool(pace.case.units[move.unit].trouble) for move in pace.case.moves], dtype=bool)
        return np.where(dead, pace.moves.lost, pace.moves.occupied(WORST))[pace.move_rates > 0]

    @cached_property
    def longest_poll(self) -> float:
        """ns that the master may be inside one poll or probe."""
        polls = self.worst.polls
        return float(np.where(self.mean.alive, polls.occupied(WORST), polls.lost).max(initial=0.0))

    # -- the line ---------------------------------------------------------------------------------------------

    def line(self) -> dict[str, Value]:
        """The figures of the line."""
        pace = self.mean
        values = {"poll_rate": value("poll_rate", float(self.good.sum()) * 1e9)}
        values |= self.latencies[-1] | self._moves()
        wire = (pace.polls.wire[pace.alive] / pace.periods).sum() + self.answered_moves @ pace.moves.wire
        wire += self._unanswered()
        values["occupancy"] = value("occupancy", float(wire))
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
        pace = self.mean
        dead = np.array([bool(pace.case.units[move.unit].trouble) for move in pace.case.moves], dtype=bool)
        share = 0.0
        if dead.any() and pace.move_rate and pace.waits:
            share = float(pace.move_rates[dead] @ pace.moves.asked[dead]) * pace.waits.carried / pace.move_rate
        if len(pace.probed):
            units = sorted(set(pace.polls.unit[~pace.alive].tolist()))
            asked = np.array([pace.polls.asked[pace.polls.unit == unit].mean() for unit in units])
            share += float((asked / (PROBE_PAUSE + pace.probed + pace.cycle)).sum())
        return share

    @cached_property
    def latencies(self) -> list[dict[str, Value]]:
        """Latency quantiles of the answered exchanges: of each camera in turn, and of all together at the end."""
        pace = self.mean
        rates = np.zeros(len(pace.alive))
        rates[pace.alive] = self.good
        rates = np.concatenate([rates, self.answered_moves])
        units = np.concatenate([pace.polls.unit, pace.moves.unit])
        exchanges = joined(pace.polls.exchange, pace.moves.exchange)
        own = units == np.arange(len(pace.case.units))[:, np.newaxis]
        mixtures = np.concatenate([own, np.ones((1, len(units)), dtype=bool)]) * rates
        found = quantiles(exchanges, mixtures, tuple(_SHARES.values())) / 1e9
        longest = np.asarray(exchanges.worst) / 1e9
        return [_latency(row, longest, weights) for row, weights in zip(found.tolist(), mixtures, strict=True)]

    def _moves(self) -> dict[str, Value]:
        pace = self.mean
        if not pace.move_rate:
            return {name: value(name, None, "no operator moves anything") for name in ("move_p95", "move_max")}
        if pace.waits is None or pace.crowded >= 1:
            why = f"moves need {pace.crowded:.0%} of the master's time"
            return {name: value(name, None, why) for name in ("move_p95", "move_max")}
        if not self.answered_moves.sum():
            return {name: value(name, None, "no move is answered") for name in ("move_p95", "move_max")}
        bound = self.move_bound
        return {
            "move_p95": value("move_p95", pace.move_p95 / 1e9),
            "move_max": value("move_max", None if bound is None else bound / 1e9, _NOISY, "bound"),
        }

    @cached_property
    def move_bound(self) -> float | None:
        """ns that no answered move exceeds: every other control waits before it, and polls take each turn they may."""
        if self.noisy or not self.mean.move_rate:
            return None
        pace = self.worst
        ahead = len(self.inside_commands) - 1
        answer = np.asarray(pace.moves.exchange.worst)[self.answered_moves > 0].max()
        turns = 1 + ahead // IN_A_ROW
        return float((ahead + 1) * self.longest_command + turns * self.longest_poll + answer)

    # -- a camera ---------------------------------------------------------------------------------------------

    def camera(self, unit: int) -> dict[str, Value]:
        """The figures of one camera, counted as in `Case.units`."""
        pace = self.mean
        units = pace.polls.unit[pace.alive]
        own = units == unit
        values = dict(self.latencies[unit])
        if not own.any():
            why = pace.case.units[unit].trouble or "it is not polled"
            return values | {name: value(name, None, why) for name in ("poll_rate", "age_mean", "age_worst")}
        chosen = max(np.nonzero(own)[0], key=lambda number: (self.good[number], pace.living[number].work))
        values["poll_rate"] = value("poll_rate", float(self.good[chosen]) * 1e9)
        index = int(np.nonzero(pace.alive)[0][chosen])
        values["age_mean"] = value("age_mean", self.age(int(chosen), index) / 1e9)
        worst = None if self.noisy else self.worst_age(int(chosen), index) / 1e9
        values["age_worst"] = value("age_worst", worst, _NOISY, "bound")
        return values

    def age(self, number: int, index: int) -> float:
        """Mean age in ns of what poll `number` of the living (`index` of all) brings."""
        pace = self.mean
        period = float(pace.periods[number])
        variance = self.cycle_variance if period > pace.every[number] else 0.0
        failing = float(pace.polls.failing[index])
        # so many tries until one is answered: a geometric number
        tries, square = 1 / (1 - failing), (1 + failing) / (1 - failing) ** 2
        delivery = float(np.asarray(pace.polls.exchange.delivery(MEAN))[index])
        return float(mean_age(tries * period, square * period**2 + tries * variance, delivery))

    @cached_property
    def cycle_variance(self) -> float:
        """ns^2, of the cycle of polls that never rest: what turnarounds, commands and batches of paced polls add."""
        pace = self.mean
        never = pace.every < pace.cycle
        left = 1 - pace.commands_load
        drawn = float(np.asarray(pace.polls.exchange.variance)[pace.alive][never].sum())
        variance = drawn / left**2
        if pace.waits is not None:
            walk = float(pace.occupied[never].sum())
            variance += walk * pace.waits.carried * pace.service.square / left**3
        for every in np.unique(pace.every[~never]):
            batch = float(pace.occupied[pace.every == every].sum()) / left
            chance = min(1.0, pace.cycle / every)
            variance += batch**2 * chance * (1 - chance)
        return variance

    def worst_age(self, number: int, index: int) -> float:
        """ns that the age of what this poll brings never exceeds, while nothing is damaged.

        Whatever operators do: four commands between any two polls. Dead cameras cost what they do until given up.
        """
        pace = self.worst
        occupied, every = pace.occupied, pace.every
        never = every < pace.cycle
        round_time = float(occupied.sum() + pace.polls.lost[~pace.alive].sum())
        count = len(pace.alive)
        rest = 0.0 if never[number] else float(every[number])
        between = round_time + (IN_A_ROW * count * self.longest_command if pace.move_rate else 0.0)
        for other, (time, wanted) in enumerate(zip(occupied, every, strict=True)):
            if other != number and not never[other]:
                between += int(between // wanted) * float(time)
        delivery = float(np.asarray(pace.polls.exchange.delivery(WORST))[index])
        return float(worst_age(rest + between, delivery))


def _latency(found: list[float], longest: Array, weights: Array) -> dict[str, Value]:
    if not weights.any():
        return {name: value(name, None, "no exchange is answered") for name in (*_SHARES, "latency_max")}
    values = {name: value(name, seconds) for name, seconds in zip(_SHARES, found, strict=True)}
    values["latency_max"] = value("latency_max", float(longest[weights > 0].max()), kind="bound")
    return values
