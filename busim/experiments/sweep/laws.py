"""The budget's laws over many points, from sums over the polls.

Arrays are [point, cameras]: points of all axes but the number of cameras, and numbers of cameras. `Layout` has the
varied values and the cameras present.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
import numpy.typing as npt

from busim.analysis.budget import (
    Case,
    Move,
    Varied,
    drifts,
    missing_quiet,
    paced_cycle,
    timing,
)
from busim.installation import POLICY
from busim.physics.exchange import MEAN, Numbers

Array = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]


class Layout(Protocol):
    """`counts`: the numbers of cameras; `there`: [unit, cameras]; `points`: their number; `column`: an axis as [point,
    1], None if not varied.
    """

    case: Case
    there: Mask
    counts: npt.NDArray[np.int64]

    @property
    def points(self) -> int: ...

    def column(self, name: str, part: str = "") -> Array | None: ...

    def varied(self) -> Varied: ...


@dataclass(frozen=True, slots=True)
class _Moved:
    """The demand of moves: `rate` per ns, `service` and `square` (ns, ns^2) of one, `wire` a share of time.

    `longest`: ns of the longest one; `most`: the largest share of time they can get: four for each poll.
    """

    rate: Array
    service: Array
    square: Array
    longest: Array
    most: Array
    wire: Array

    @property
    def load(self) -> Array:
        """The share of time that they take, up to the largest."""
        return np.minimum(self.rate * self.service, self.most)


@dataclass(frozen=True, slots=True)
class _Probed:
    """A dead camera: the time of a probe, its request on the wire, and the numbers of cameras that include it."""

    lost: Array
    asked: Array
    there: Mask


def figures(layout: Layout, need: float | None) -> tuple[dict[str, Array], Mask]:
    """Every figure at every point, nan without a steady state; and whether the point is feasible."""
    return _Laws(layout).figures(need)


class _Laws:
    """`every` and the sums have a last axis over the wanted rates; an absent rate is inf."""

    def __init__(self, layout: Layout) -> None:
        self._layout = layout
        case = self._case = layout.case
        self._alive = np.array([not unit.trouble for unit in case.units])
        polls = self._polls = timing(case, case.polls, layout.varied())
        self._unit = np.array([poll.unit for poll in case.polls], dtype=np.int64)
        rates = sorted({poll.every for poll in case.polls})
        self._masks = [
            np.array([poll.every == rate for poll in case.polls]) * self._alive[self._unit] for rate in rates
        ]
        self.occupied = self._sums(np.asarray((1 - polls.failing) * polls.occupied() + polls.failing * polls.lost))
        self.count = self._sums(np.ones(len(case.polls)))
        varied = layout.column("group.every")
        wanted = [np.full((layout.points, 1), float(rate)) if varied is None else varied for rate in rates]
        self.every = np.where(self.count > 0, np.stack(wanted, axis=2), np.inf)
        self._chosen = self._find_chosen()
        self._probed = self._find_probed()
        self.moved = self._find_moved()
        self.cycle = self._find_cycle()
        self.periods = np.maximum(self.every, self.cycle[:, :, np.newaxis])
        self.shortest = self.periods.min(axis=2)
        self.per = np.where(self.count > 0, 1 / self.periods, 0.0)

    def _sums(self, what: Array) -> Array:
        """[point, cameras, rate] from [point, poll]."""
        return np.stack([self._add(what * mask, self._unit) for mask in self._masks], axis=2)

    def _add(self, what: Array, unit: npt.NDArray[np.int64]) -> Array:
        """[point, cameras] from [point, poll]: sums over the first cameras (polls are in their order)."""
        total = np.zeros((self._layout.points, what.shape[-1] + 1))
        np.cumsum(np.broadcast_to(what, (self._layout.points, what.shape[-1])), axis=1, out=total[:, 1:])
        return total[:, np.searchsorted(unit, self._layout.counts)]

    def _most(self, what: Array, unit: npt.NDArray[np.int64]) -> Array:
        """[point, cameras] from [point, poll]: the largest of the first cameras."""
        most = np.zeros((self._layout.points, what.shape[-1] + 1))
        np.maximum.accumulate(np.broadcast_to(what, (self._layout.points, what.shape[-1])), axis=1, out=most[:, 1:])
        return most[:, np.searchsorted(unit, self._layout.counts)]

    def figures(self, need: float | None) -> tuple[dict[str, Array], Mask]:
        polls, per, every, full = self._polls, self.per, self.every, self.moved.load
        demand = np.where(every > 0, self.occupied / every, 0.0).sum(axis=2) + full
        wire = (self._sums(np.asarray(polls.wire)) * per).sum(axis=2) + self.moved.wire
        for one in self._probed:
            demand = demand + one.there * one.lost / (POLICY.longest_pause + one.lost)
            wire = wire + one.there * one.asked / (POLICY.longest_pause + one.lost + self.cycle)
        restless = (every == 0).any(axis=2)
        steady = self._steady() & (self._crowded() < 1) & (self.count.sum(axis=2) > 0)
        late = ((every > 0) & (self.periods > every * (1 + 1e-9))).any(axis=2)
        load = np.where(restless, 1.0, np.where(demand < 1, demand, np.nan))
        exchange = self._sums(np.asarray(polls.exchange.mean))
        values = {
            "exchange": (exchange * per).sum(axis=2) / (self.count * per).sum(axis=2) / 1e9,
            "cycle": self.shortest / 1e9,
            "camera_rate": self._add(self._chosen * (1 - np.asarray(polls.failing)), self._unit)
            / self._add(self._chosen.astype(float), self._unit)
            / self.shortest
            * 1e9,
            "poll_rate": (self._sums(np.asarray(1 - polls.failing)) * per).sum(axis=2) * 1e9,
            "age_mean": self._age() / 1e9,
            "occupancy": wire,
            "load": load,
            "headroom": np.where(restless, np.nan, 1 - load),
        }
        feasible = steady & ~late
        if need is not None:
            feasible = steady & (self._needed(need, demand) < 1 + 1e-9)
        whole = {name: np.where(steady, value, np.nan) for name, value in values.items()}
        return whole, feasible

    def _needed(self, need: float, demand: Array) -> Array:
        """Share of the master's time that everything needs if the values polled most are polled at the needed rate
        instead of their own: what `needs.need` says of a plan."""
        fastest = self.every == self.every.min(axis=2, keepdims=True)
        own = np.where(fastest & (self.every > 0), self.occupied / self.every, 0.0).sum(axis=2)
        asked = np.where(fastest, self.occupied * (need / 1e9), 0.0).sum(axis=2)
        return np.asarray(demand - own + asked)

    def _crowded(self) -> Array:
        """The share of time that moves would need with the turns of polls: from 1 on the master falls behind."""
        time, often = (self.occupied * self.per).sum(axis=2), (self.count * self.per).sum(axis=2)
        for one in self._probed:
            rate = one.there / (POLICY.longest_pause + one.lost + self.cycle)
            time, often = time + rate * one.lost, often + rate
        turn = np.where(self.cycle > 0, time / often / POLICY.commands_in_a_row, 0.0)
        return np.asarray(self.moved.rate * (self.moved.service + turn))

    def _find_moved(self) -> _Moved:
        case, layout = self._case, self._layout
        # Moves of one camera with equal lengths take equal times, so they are counted together.
        alike: dict[tuple[int, float, float], Move] = {}
        for move in case.moves:
            key = (move.unit, move.request, move.reply)
            same = alike.get(key, move._replace(rate=0.0, steady=0.0))
            alike[key] = move._replace(rate=move.rate + same.rate, steady=move.steady + same.steady)
        moves = timing(case, list(alike.values()), layout.varied())
        each = layout.column("panel.moves")
        steady = np.array([move.steady / 1e9 for move in alike.values()])  # of joysticks, whatever operators do
        rates = np.array([move.rate / 1e9 for move in alike.values()])
        rates = rates if each is None else steady + (rates - steady) * each
        unit = np.array([move.unit for move in alike.values()], dtype=np.int64)
        live = self._alive[unit]
        live_rate, dead_rate = self._add(rates * live, unit), self._add(rates * ~live, unit)

        def average(what: Numbers, mask: Mask, total: Array) -> Array:
            return np.where(total > 0, self._add(rates * mask * what, unit) / np.where(total > 0, total, 1.0), 0.0)

        time, failing, lost = (average(what, live, live_rate) for what in (moves.occupied(), moves.failing, moves.lost))
        square = average(moves.occupied() ** 2 + np.asarray(moves.exchange.variance), live, live_rate)
        tries = 1 + case.retries
        mean, squares = np.zeros_like(time), np.zeros_like(time)
        for number in range(tries):
            chance = failing**number * (1 - failing)
            mean += chance * (number * lost + time)
            squares += chance * ((number * lost) ** 2 + 2 * number * lost * time + square)
        mean += failing**tries * tries * lost
        squares += failing**tries * (tries * lost) ** 2
        gone = average(moves.lost, ~live, dead_rate)
        rate = live_rate + dead_rate
        share = np.where(rate > 0, dead_rate / np.where(rate > 0, rate, 1.0), 0.0)
        service = (1 - share) * mean + share * gone
        poll = self.occupied.sum(axis=2) / self.count.sum(axis=2)
        row = POLICY.commands_in_a_row * service
        wire = self._add(rates * np.where(live, moves.wire, moves.asked), unit)
        most = np.where(poll > 0, row / np.where(row > 0, row + poll, 1.0), 1.0)
        failed = np.where(live, tries * np.greater(moves.failing, 0), 1) * np.asarray(moves.lost)
        longest = self._most(np.maximum(np.where(live, moves.occupied(), 0.0), failed) * (rates > 0), unit)
        return _Moved(rate, service, (1 - share) * squares + share * gone**2, longest, most, wire)

    # -- polls ------------------------------------------------------------------------------------------------

    def _find_probed(self) -> list[_Probed]:
        polls = self._polls
        return [
            _Probed(
                np.asarray(np.asarray(polls.lost)[..., self._unit == unit].mean(axis=-1, keepdims=True)),
                np.asarray(np.asarray(polls.asked)[..., self._unit == unit].mean(axis=-1, keepdims=True)),
                self._layout.there[unit],
            )
            for unit in sorted(set(self._unit[~self._alive[self._unit]].tolist()))
        ]

    def _find_cycle(self) -> Array:
        cycle = np.zeros(self.occupied.shape[:2])
        for _ in range(2 if self._probed else 1):  # a probe waits for its turn before its pause starts again
            times = [np.where(one.there, one.lost, 0.0) + 0 * cycle for one in self._probed]
            pauses = [np.where(one.there, POLICY.longest_pause + one.lost + cycle, np.inf) for one in self._probed]
            cycle = paced_cycle(
                np.concatenate([self.occupied, *(time[:, :, np.newaxis] for time in times)], axis=2),
                np.concatenate([self.every, *(pause[:, :, np.newaxis] for pause in pauses)], axis=2),
                self.moved.load,
            )
        return cycle

    def _steady(self) -> Mask:
        """Whether no answered exchange exceeds its time-out, and no request meets the reply before it."""
        case, layout, polls = self._case, self._layout, self._polls
        wrong = np.asarray(polls.exchange.worst) > polls.time_out
        if case.converter and not case.arbitrated:
            packing, latency = layout.column("converter.packing"), layout.column("converter.latency", "low")
            idle = 0.0 if case.at_once else float(case.packing_idle) if packing is None else packing
            both = 2 * (float(case.latency.low) if latency is None else latency)
            wrong = wrong | (missing_quiet(polls, idle, both) > 0)
        return np.asarray(self._add((wrong & self._alive[self._unit]).astype(float), self._unit) == 0)

    def _find_chosen(self) -> Mask:
        """Of each camera that answers one of the polls that come most."""
        chosen: dict[int, int] = {}
        for number, poll in enumerate(self._case.polls):
            best = self._case.polls[chosen.setdefault(poll.unit, number)]
            if (-poll.every, poll.work) > (-best.every, best.work):
                chosen[poll.unit] = number
        mask = np.zeros(len(self._case.polls), dtype=bool)
        mask[list(chosen.values())] = True
        return np.asarray(mask & self._alive[self._unit])

    def _age(self) -> Array:
        """Mean over the cameras of the age of the values polled most, ns."""
        polls, mask = self._polls, self._chosen
        count = self._add(mask.astype(float), self._unit)
        # Repeated until one is answered: a geometric number of polls, of mean 1 / (1 - f), mean square (1 + f) / (1 -
        # f)^2.
        repeated = np.asarray(mask * (1 + polls.failing) / (2 * (1 - polls.failing)), float)
        half = self._add(repeated, self._unit) / count
        delivery = self._add(mask * np.asarray(polls.exchange.delivery(MEAN)), self._unit) / count
        kept = self.shortest <= self.every.min(axis=2)
        late = 2 * self._before(mask) / count * self.moved.rate * self.moved.square / (1 - self.moved.load) ** 2
        variance = np.where(kept, late, self._variance())
        age = half * self.shortest + variance / (2 * self.shortest) + delivery
        # groups of different intervals make each other late, which the timetable of a single point says; what commands
        # add to a round follows from the chain of its moves; and polls that drift apart, or that probes make late, need
        # the law of their lateness
        several = (self.count > 0).sum(axis=2) > 1
        single = several | (~kept & (self.moved.rate > 0)) | (kept & (self._drifts() | self._dead()))
        return np.asarray(np.where(single, np.nan, age))

    def _dead(self) -> Mask:
        """Whether any of the cameras is dead."""
        found = np.zeros(self.shortest.shape, dtype=bool)
        for one in self._probed:
            found |= one.there
        return found

    def _drifts(self) -> Mask:
        """Whether polls of one interval may lose their places: the last one of a round first of all."""
        moved, longest = self.moved, np.asarray(self._polls.occupied()).max(axis=-1, keepdims=True)
        pause = np.asarray(self._polls.exchange.pause).min(axis=-1, keepdims=True)
        before = (self.occupied.sum(axis=2) - longest) / (1 - moved.load)
        answered = longest / (1 - moved.load) - pause
        return drifts(self.shortest, before, answered, moved.rate, moved.square, moved.longest, moved.load)

    def _before(self, mask: Mask) -> Array:
        """ns of a round until the chosen polls begin, summed over them, with the rest of a command under way."""
        moved, polls, case = self.moved, self._polls, self._case
        rest = np.where(moved.service > 0, moved.square / (2 * np.where(moved.service > 0, moved.service, 1.0)), 0.0)
        spent = np.asarray((1 - polls.failing) * polls.occupied() + polls.failing * polls.lost)
        before = np.zeros((self._layout.points, len(case.polls)))
        for living in self._masks:
            own = np.broadcast_to(spent * living, before.shape)
            before += living * (np.cumsum(own, axis=1) - own)
        return self._add(before * mask, self._unit) / (1 - moved.load) + rest * self._add(
            mask.astype(float), self._unit
        )

    def _variance(self) -> Array:
        """ns^2, of the cycle of polls that never rest, without moves: the part of turnarounds and probes."""
        never = self.every < self.cycle[:, :, np.newaxis]
        variance = (self._sums(np.asarray(self._polls.exchange.variance)) * never).sum(axis=2)
        for one in self._probed:
            met = np.minimum(1.0, self.cycle * one.there / (POLICY.longest_pause + one.lost + self.cycle))
            variance = variance + one.lost**2 * met * (1 - met)
        return np.asarray(variance)
