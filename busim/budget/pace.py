"""The pace of one master on its line: how often each poll comes round, and what of its time everything takes.

Dead cameras are taken as their master takes them once it knows: single probes at a pause. Noise makes a part of the
exchanges fail, each for its time-out and the drain after it. What happens before a dead camera counts as offline is
in `dead`.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from busim.budget.case import Case, Poll
from busim.budget.cycle import paced_cycle
from busim.budget.moves import IN_A_ROW, Mix, Waits, waits
from busim.budget.spreads import quantiles
from busim.budget.timing import Timing, timing
from busim.exchange import MEAN

Array = npt.NDArray[np.float64]

PROBE_PAUSE = 5_000_000_000.0  # ns between two probes of a camera that has been offline for long: as masters do
_SHARES = tuple((number + 0.5) / 20 for number in range(20))
_SLICE = 1e-3  # of a poll: how finely a line that rests is cut where the chain of moves needs something to do


@dataclass(frozen=True)
class Pace:
    """One case in one of the cases BEST, MEAN, WORST of its unknowns. Times in ns, rates per ns.

    `exact`: that some moves replace others is counted; else every move is sent, which is quicker to work out and
    enough for comparing.
    """

    case: Case
    unknown: str = MEAN
    exact: bool = True

    @cached_property
    def polls(self) -> Timing:
        return timing(self.case, self.case.polls)

    @cached_property
    def moves(self) -> Timing:
        return timing(self.case, self.case.moves)

    @cached_property
    def alive(self) -> npt.NDArray[np.bool_]:
        """Which polls are of cameras that answer."""
        return np.array([not self.case.units[poll.unit].trouble for poll in self.case.polls], dtype=bool)

    @cached_property
    def living(self) -> list[Poll]:
        """The polls that are alive; the arrays below go over these."""
        return [poll for poll, alive in zip(self.case.polls, self.alive, strict=True) if alive]

    @cached_property
    def every(self) -> Array:
        """The wanted time between two."""
        return np.array([poll.every for poll in self.living], dtype=float)

    @cached_property
    def occupied(self) -> Array:
        """What one poll takes of the master's time, failures counted in."""
        failing, alive = self.polls.failing[self.alive], self.alive
        return (1 - failing) * self.polls.occupied(self.unknown)[alive] + failing * self.polls.lost[alive]

    @cached_property
    def probed(self) -> Array:
        """What one probe takes, for each dead camera that is polled."""
        units = {poll.unit for poll in self.case.polls if self.case.units[poll.unit].trouble}
        return np.array([self.polls.lost[self.polls.unit == unit].mean() for unit in sorted(units)])

    @cached_property
    def restless(self) -> bool:
        """Whether some polls have no wanted rate."""
        return bool(len(self.every)) and bool((self.every == 0).any())

    def under(self, unknown: str) -> Pace:
        """The same in another case of its unknowns, and not exact."""
        other = self.like(self.case, unknown)
        other.__dict__.update(alive=self.alive, living=self.living, every=self.every, move_rates=self.move_rates)
        return other

    def like(self, case: Case, unknown: str = MEAN) -> Pace:
        """A case whose exchanges take the same times as in this one."""
        other = Pace(case, unknown, exact=False)
        other.__dict__.update(polls=self.polls, moves=self.moves)
        return other

    # -- commands ---------------------------------------------------------------------------------------------

    @cached_property
    def move_rates(self) -> Array:
        return np.array([move.rate / 1e9 for move in self.case.moves])

    @cached_property
    def move_rate(self) -> float:
        """Moves per ns, all together."""
        return float(self.move_rates.sum())

    @cached_property
    def service(self) -> Mix:
        """How long the master is inside one command, its repeats counted in."""
        timing, tries = self.moves, 1 + self.case.retries
        share = self.move_rates / self.move_rate
        dead = np.array([bool(self.case.units[move.unit].trouble) for move in self.case.moves])
        mix: Mix | None = None
        sound = share * ~dead
        if sound.sum() > 0:
            held = sound > 0
            variance = np.asarray(timing.exchange.variance)[held]
            mix = Mix.of(timing.occupied(self.unknown)[held], sound[held], variance)
            mix = mix.shrunk() if len(mix.values) > 4 else mix
            failing = float(timing.failing @ sound / sound.sum())
            if failing > 0:
                lost = float(timing.lost @ sound / sound.sum())
                chances = np.array([failing**number * (1 - failing) for number in range(tries)] + [failing**tries])
                times = np.array([number * lost + mix.mean for number in range(tries)] + [tries * lost])
                spread = np.full(tries + 1, mix.square - mix.mean**2)
                mix = Mix.of(times, chances, spread)
        lost_time = Mix(np.array([float(timing.lost @ (share * dead)) / max(1e-300, float(share @ dead))]), np.ones(1))
        return lost_time if mix is None else mix.joined(lost_time, float(share @ dead))

    @cached_property
    def answer(self) -> Mix:
        """From the sending of a command until it is acknowledged, repeats counted in; of cameras that answer."""
        share = self.move_rates * np.array([not self.case.units[move.unit].trouble for move in self.case.moves])
        held = share > 0
        exchange = self.moves.exchange
        mix = Mix.of(getattr(exchange, self.unknown)[held], share[held], np.asarray(exchange.variance)[held])
        failing = float(self.moves.failing[held] @ share[held] / share.sum())
        if self.unknown == MEAN:
            # as it is spread, not only how widely: where a move hardly waits, its quantiles are those of the answer
            found = quantiles(exchange, share[np.newaxis], _SHARES)[0]
            mix = Mix(found + (mix.mean - found.mean()), np.full(len(_SHARES), 1 / len(_SHARES)))
        if failing <= 0:
            return mix
        lost = float(self.moves.lost[held] @ share[held] / share.sum())
        times = np.array([number * lost + mix.mean for number in range(1 + self.case.retries)])
        chances = np.array([failing**number for number in range(1 + self.case.retries)])
        weights = np.outer(chances / chances.sum(), mix.weights).ravel()
        return Mix((times[:, np.newaxis] + mix.values - mix.mean).ravel(), weights)

    @cached_property
    def controls(self) -> float:
        """How many controls are moved, counted as equally busy ones."""
        return float(self.move_rate**2 / (self.move_rates**2).sum())

    @cached_property
    def moves_load(self) -> float:
        """Share of time that commands take if every move is sent."""
        return self.move_rate * self.service.mean if self.move_rate else 0.0

    @cached_property
    def crowded(self) -> float:
        """The same with the turn that polls get after four commands: from 1 on, moves cannot be followed."""
        if not self.move_rate:
            return 0.0
        turn = self.between.mean if self.saturated else 0.0
        return self.move_rate * (self.service.mean + turn / IN_A_ROW)

    # -- polls ------------------------------------------------------------------------------------------------

    def _cycle(self, load: float) -> float:
        """The cycle with this load of commands; 0 where everything keeps its pace."""
        if not len(self.occupied):
            return 0.0
        if not len(self.probed):
            return float(paced_cycle(self.occupied, self.every, load))
        occupied = np.concatenate([self.occupied, self.probed])
        cycle = 0.0
        for _ in range(2):  # a probe waits for its turn before its pause begins anew
            probes = PROBE_PAUSE + self.probed + cycle
            cycle = float(paced_cycle(occupied, np.concatenate([self.every, probes]), load))
        return cycle

    @cached_property
    def _most_commands(self) -> float:
        """The largest share of time that commands can have: four of them for each poll, where polls are always due."""
        if not len(self.occupied):
            return 1.0
        row = IN_A_ROW * self.service.mean
        return row / (row + float(self.occupied.mean()))

    @cached_property
    def unhurried(self) -> float:
        """The cycle that moves would leave if every one were sent that can be."""
        return self._cycle(min(self.moves_load, self._most_commands)) if self.move_rate else self._cycle(0.0)

    @cached_property
    def saturated(self) -> bool:
        """Whether the master never rests, because it need not or because it cannot."""
        return self.unhurried > 0

    @cached_property
    def polling(self) -> Mix:
        """Polls and probes, as often as they come: what the master does while no command waits and some are due."""
        return self._asked[0]

    @cached_property
    def between(self) -> Mix:
        """What the master does while no command waits: the same, or a bit of nothing where polls rest."""
        if not len(self.occupied) and not len(self.probed):
            return Mix(np.array([1000.0]), np.ones(1))
        mix, often, taken = self._asked
        rest = 1 - taken - self.moves_load
        if self.saturated or rest <= 0:
            return mix
        piece = _SLICE * mix.mean
        count = rest / piece
        return mix.joined(Mix(np.array([piece]), np.ones(1)), count / (count + often))

    @cached_property
    def _asked(self) -> tuple[Mix, float, float]:
        """Polls and probes: how long, how many per ns, which share of the time."""
        periods = np.maximum(self.every, self.unhurried)
        alive = self.alive
        variance = np.asarray(self.polls.exchange.variance)[alive]
        times = np.concatenate([self.polls.occupied(self.unknown)[alive], self.polls.lost[alive], self.probed])
        failing = self.polls.failing[alive]
        rates = np.concatenate(
            [(1 - failing) / periods, failing / periods, 1 / (PROBE_PAUSE + self.probed + self.unhurried)]
        )
        spreads = np.concatenate([variance, np.zeros(len(alive.nonzero()[0]) + len(self.probed))])
        held = rates > 0
        mix = Mix.of(times[held], rates[held], spreads[held])
        rare = failing.max(initial=0.0) > 0 or len(self.probed)
        mix = mix if rare or len(mix.values) <= 4 else mix.shrunk()
        return mix, float(rates.sum()), float(rates @ times)

    @cached_property
    def waits(self) -> Waits | None:
        """How moves wait; None where nobody moves anything, or where it is not to be exact."""
        if not self.move_rate or not self.exact:
            return None
        if self.saturated or not len(self.occupied):
            return waits(self.move_rate, self.controls, self.service, self.between)
        # Polls that rest come in batches, all that have one pace: moves then meet nothing but polls, or none.
        piece = Mix(np.array([_SLICE * self.polling.mean]), np.ones(1))
        batch, quiet = (waits(self.move_rate, self.controls, self.service, mix) for mix in (self.polling, piece))
        share = self._asked[2] / max(1e-9, 1 - batch.carried * self.service.mean)
        return quiet.mixed(batch, min(1.0, share))

    @cached_property
    def move_p95(self) -> float:
        """ns within which 95 % of the answered moves are acknowledged; only where `waits` is."""
        assert self.waits is not None
        return self.waits.quantile(0.95, self.answer)

    @cached_property
    def commands_load(self) -> float:
        """Share of time that commands take, replaced ones left out."""
        if not self.move_rate:
            return 0.0
        if self.waits is None:
            return min(self.moves_load, self._most_commands)
        return self.waits.carried * self.service.mean

    @cached_property
    def cycle(self) -> float:
        """Time for one round of the polls that never rest; 0: all keep their pace; nan: commands leave no time."""
        return self._cycle(self.commands_load) if self.exact else self.unhurried

    def round_with(self, load: float) -> float:
        """The shortest time between two of a poll when commands take this share; 0 where nothing is polled."""
        return max(self._cycle(load), float(self.every.min())) if len(self.every) else 0.0

    @cached_property
    def periods(self) -> Array:
        """Time between two of each poll that is alive."""
        return np.maximum(self.every, self.cycle)

    @cached_property
    def demand(self) -> float:
        """Share of the master's time that everything with a wanted rate needs; more than 1: it is not reached."""
        paced = self.every > 0
        polls = float((self.occupied[paced] / self.every[paced]).sum())
        return polls + self.commands_load + float((self.probed / (PROBE_PAUSE + self.probed)).sum())
