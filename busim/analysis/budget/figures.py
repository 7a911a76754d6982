"""The expected figures of a line and its cameras: the same quantities, by the same names, as a run measures."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cached_property

from busim.analysis.budget import probing
from busim.analysis.budget.age import mean_age, worst_age
from busim.analysis.budget.command_delay import COMMANDS_IN_A_ROW
from busim.analysis.budget.distribution import Distribution
from busim.analysis.budget.drift import Commands, lateness_left
from busim.analysis.budget.latency import latency, value
from busim.analysis.budget.lost_places import comes_every, lost_places
from busim.analysis.budget.poll_schedule import PollSchedule
from busim.analysis.budget.timetable import Regular, Slot, regularity, relative_variance, settles
from busim.installation import POLICY
from busim.physics.exchange import MEAN, WORST
from busim.recording.figures import Value

_AS_OFTEN = 0.01  # polls whose rates differ by less count as polled as often; as the figures of a run have it
_NOISY = "noise may damage any number of exchanges in a row"


class Expected:
    """The figures that follow from a case on average (`mean`) and at the bad end of its unknowns (`worst`)."""

    def __init__(self, mean: PollSchedule, worst: PollSchedule) -> None:
        self.mean, self.worst = mean, worst
        self.noisy = mean.failing > 0

    @cached_property
    def good(self) -> dict[int, float]:
        """Polls answered well, per ns, of each poll that is alive."""
        pace = self.mean
        sound, rows = [1 - failing for failing in pace.costs.failing], pace.layout.polls
        return {number: sound[rows[number].kind] / period for number, period in self.periods.items()}

    @cached_property
    def carried(self) -> float:
        """The share of moves that is sent."""
        pace = self.mean
        return pace.waits.carried / pace.move_rate if pace.move_rate and pace.waits else 0.0

    @property
    def answers_moves(self) -> bool:
        """True if any move is ever answered."""
        return bool(self.mean.layout.moved) and self.carried > 0

    @cached_property
    def follows_moves(self) -> bool:
        """True if the latency of moves can be stated."""
        return self.mean.followed and self.answers_moves

    @cached_property
    def longest_command(self) -> float:
        """ns that the master may be inside one command, once."""
        return max(_inside(self.worst), default=0.0)

    @cached_property
    def longest_poll(self) -> float:
        """ns that the master may be inside one poll or probe."""
        pace = self.worst
        return max(
            [
                pace.costs.lost[kind] if share.trouble else pace.each[kind] + share.way
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
            wire += many.count * float(pace.times[kind].wire) / max(every, pace.cycle)
        for kind, moved in pace.layout.moved.items():
            wire += self.carried * moved.count * float(pace.times[kind].wire)
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

    @cached_property
    def latencies(self) -> list[dict[str, Value]]:
        """Latency quantiles of the answered exchanges: of each camera in turn, and of all together at the end."""
        pace = self.mean
        worst = [float(one.exchange.worst) for one in pace.times]
        found, everything, most = [], [], 0.0
        for way, rates in self._answered():
            parts = [(rate, pace.latencies[kind].shifted(way)) for kind, rate in rates.items()]
            longest = max([worst[kind] + way for kind in rates], default=0.0)
            found.append(latency(parts, longest))
            everything += parts
            most = max(most, longest)
        return [*found, latency(everything, most)]

    def _answered(self) -> Iterator[tuple[float, dict[int, float]]]:
        """Of each camera: propagation there and back, and how many exchanges of each kind are answered per ns."""
        pace, carried, cycle, failing = self.mean, self.carried, self.mean.cycle, self.mean.costs.failing
        for polls, moves, way, trouble in pace.layout.shares:
            rates: dict[int, float] = {}
            if not trouble:
                for (every, kind), count in polls.items():
                    rates[kind] = rates.get(kind, 0.0) + count * (1 - failing[kind]) / max(every, cycle)
                for kind, often in moves.items():
                    rates[kind] = rates.get(kind, 0.0) + often * carried
            yield way, {kind: rate for kind, rate in rates.items() if rate > 0}

    def _moves(self) -> dict[str, Value]:
        pace = self.mean
        if not pace.move_rate:
            return {name: value(name, None, "no operator moves anything") for name in ("move_p95", "move_max")}
        if not pace.followed:
            why = f"moves need {pace.crowded:.0%} of the master's time"
            return {name: value(name, None, why) for name in ("move_p95", "move_max")}
        if not self.answers_moves:
            return {name: value(name, None, "no move is answered") for name in ("move_p95", "move_max")}
        bound = self.move_bound
        return {
            "move_p95": value("move_p95", pace.move_p95 / 1e9),
            "move_max": value("move_max", None if bound is None else bound / 1e9, _NOISY, "bound"),
        }

    @cached_property
    def move_bound(self) -> float | None:
        """ns that no answered move exceeds: one command under way, every other control waiting before it, and polls
        that take each turn they may.
        """
        if self.noisy or not self.mean.move_rate:
            return None
        pace, inside = self.worst, _inside(self.worst)
        turns = 1 + (len(inside) - 1) // COMMANDS_IN_A_ROW
        last = max(pace.times[kind].exchange.worst - pace.each[kind] for kind in pace.layout.moved)
        return float(self.longest_command + sum(inside) + turns * self.longest_poll + last)

    # -- a camera ---------------------------------------------------------------------------------------------

    def camera(self, unit: int) -> dict[str, Value]:
        """The figures of one camera, counted as in `Case.units`."""
        pace, own = self.mean, self.own.get(unit)
        values = dict(self.latencies[unit])
        if not own:
            why = pace.case.units[unit].trouble or "it is not polled"
            return values | {name: value(name, None, why) for name in ("poll_rate", "age_mean", "age_worst")}
        values["poll_rate"] = value("poll_rate", max(self.good[number] for number in own) * 1e9)
        oldest = self.oldest(own)
        values["age_mean"] = value("age_mean", max(self.age(number) for number in oldest) / 1e9)
        worst = None if self.noisy else max(self.worst_age(number) for number in oldest) / 1e9
        values["age_worst"] = value("age_worst", worst, _NOISY, "bound")
        return values

    def oldest(self, own: list[int]) -> list[int]:
        """Of the polls of a camera, those of its most polled group: one of them is the oldest."""
        polls, most = self.mean.case.polls, max(self.good[number] for number in own)
        groups = {polls[number].group for number in own if self.good[number] >= (1 - _AS_OFTEN) * most}
        return [number for number in own if polls[number].group in groups]

    @cached_property
    def own(self) -> dict[int, list[int]]:
        """The living polls of each unit that has any."""
        rows = self.mean.layout.polls
        found: dict[int, list[int]] = {}
        for number in self.mean.layout.living:
            found.setdefault(rows[number].unit, []).append(number)
        return found

    def age(self, number: int) -> float:
        """Mean age in ns of what this poll brings: E[I^2] / (2 E[I]) + D, with I between two answered polls and D from
        the reading in the camera to the arrival (`age.mean_age`)."""
        pace, row, period = self.mean, self.mean.layout.polls[number], self.periods[number]
        late = pace.cycle > pace.case.polls[number].every
        variance = self.cycle_variance if late else self.interval_variance[number]
        failing = pace.costs.failing[row.kind]
        # so many polls until one is answered: a geometric number
        tries, square = 1 / (1 - failing), (1 + failing) / (1 - failing) ** 2
        delivery = float(pace.times[row.kind].exchange.delivery(MEAN)) + row.way / 2
        return float(mean_age(tries * period, square * period**2 + tries * variance, delivery))

    @cached_property
    def interval_variance(self) -> dict[int, float]:
        """ns^2 by poll, of the time between two polls that keep a wanted interval.

        Three causes: other groups that are due first (`timetable`); commands before the poll in its round, which
        `Commands.added` says, and by which each of two neighbouring polls may be late; and probes (`probing`).
        """
        pace, stops, slots = self.mean, self.stops, self._slots(1 - self.stops.commands)
        if self.pushed:
            return {number: one.variance for number, one in self.pushed.items()}
        added = rest = 0.0
        if pace.waits is not None and (pace.layout.moved or not stops.apart):
            commands = self.answered_commands if stops.apart else self.commands
            added, rest = commands.added, commands.serving.residual
        found = {}
        for number, slot, relative in zip(pace.layout.living, slots, self._irregular, strict=True):
            squares = relative * slot.every**2 + 2 * added * (rest + self.late[number])
            squares += stops.added(slot, self.elapsed[number])
            longer = self.periods[number] - slot.every
            found[number] = squares if not stops.apart else squares * (1 + longer / slot.every) - longer**2
        return found

    @cached_property
    def periods(self) -> dict[int, float]:
        """ns between two of each living poll."""
        pace, lost = self.mean, [0.0 for _ in self.slots]
        if self.pushed:
            return {number: comes_every(one, pace.period(number)) for number, one in self.pushed.items()}
        if self.stops.apart:
            lost = [self.stops.lost(slot) for slot in self._slots(1 - self.stops.commands)]
        return {
            number: pace.period(number) / (1 - share) for number, share in zip(pace.layout.living, lost, strict=True)
        }

    @cached_property
    def pushed(self) -> dict[int, Distribution]:
        """The time between two of each living poll, if polls lose places behind commands and other groups."""
        return {} if self.stops.apart else lost_places(self.mean)

    @cached_property
    def stops(self) -> probing.Stops:
        """Time-outs of dead cameras for which polls that keep an interval wait."""
        pace, before = self.mean, [self.elapsed[number] for number in self.mean.layout.living]
        probes, moves = [], []
        if not pace.cycle:
            probes = pace.probes()
            moves = [(pace.costs.lost[kind], often * pace.sent) for kind, often in pace.layout.lost.items()]
        return probing.stops(self.slots, before, probes, moves, pace.polls_demand, pace.commands_load)

    @cached_property
    def commands(self) -> Commands:
        """What commands take, replaced ones left out. Only where moves are followed by `waits`."""
        pace = self.mean
        assert pace.waits is not None
        return Commands(pace.waits.carried, pace.serving, pace.commands_load)

    @property
    def answered_commands(self) -> Commands:
        """The same of moves to cameras that answer, of which there are some."""
        pace = self.mean
        often = pace.sent * sum(moved.count for moved in pace.layout.moved.values())
        return Commands(often, pace.serving_answered, self.stops.commands)

    @cached_property
    def late(self) -> dict[int, float]:
        """ns by poll: the time before it in which commands make it late, of polls that keep a wanted interval.

        Of several intervals it is the wait for others that the timetable has; of one interval the round until it
        begins, less and less as polls drift apart (`drift`).
        """
        pace, living = self.mean, self.mean.layout.living
        if any(one.intervals for one in self.begun):
            return {number: one.late for number, one in zip(living, self.settled, strict=True)}
        before = [self.elapsed[number] for number in living]
        shares = [1.0] * len(before)
        if pace.waits is not None and not pace.cycle:
            shares = lateness_left(self.slots, before, self.commands)
        return {number: share * time for number, share, time in zip(living, shares, before, strict=True)}

    @cached_property
    def elapsed(self) -> dict[int, float]:
        """ns by poll, of the round until it begins, among those wanted as often."""
        before: dict[float, float] = {}
        found = {}
        for number, slot in zip(self.mean.layout.living, self.slots, strict=True):
            found[number] = before.get(slot.every, 0.0)
            before[slot.every] = found[number] + slot.occupied
        return found

    @cached_property
    def slots(self) -> list[Slot]:
        """What the living polls take of a timetable that commands stretch."""
        return self._slots(1 - self.mean.commands_load)

    def _slots(self, left: float) -> list[Slot]:
        pace, slots, polls = self.mean, [], self.mean.case.polls
        for number in pace.layout.living:
            time = pace.poll_cost(number) / left
            slots.append(Slot(float(polls[number].every), time, time - float(pace.timing(number).exchange.pause)))
        return slots

    @cached_property
    def settled(self) -> list[Regular]:
        """How regular each living poll is once all have found their places; empty `intervals` where all are wanted as
        often."""
        pace, slots = self.mean, self.slots
        if not any(one.intervals for one in self.begun):
            return self.begun
        longest, probed = max(_inside(pace), default=0.0), sum(pace.probed)
        lasting = settles(slots, probed + COMMANDS_IN_A_ROW * longest)
        return regularity(slots, probed + longest) if lasting else self.begun

    @cached_property
    def begun(self) -> list[Regular]:
        """The same soon after a start."""
        if len({slot.every for slot in self.slots}) > 1:
            return regularity(self.slots)
        return [Regular([], 0.0) for _ in self.slots]

    @cached_property
    def _irregular(self) -> list[float]:
        """Of each living poll: variance of the time between two over its squared mean, by groups of other intervals."""
        return [relative_variance(found.intervals) for found in self.settled]

    @cached_property
    def cycle_variance(self) -> float:
        """ns^2, of the cycle of polls that never rest: what turnarounds, commands, paced polls and probes add.

        A probe that comes with the chance p in a round and takes x of it adds p (1 - p) x^2 (a Bernoulli variable);
        for commands see `command_delay.Turn`, for polls with a pace `timetable`.
        """
        pace = self.mean
        variance = self.drawn + self.commands_variance
        late = [one for one, slot in zip(self._irregular, self.slots, strict=True) if slot.every < pace.cycle]
        variance += pace.cycle**2 * sum(late) / max(1, len(late))
        for time, often in pace.probes():
            chance = min(1.0, pace.cycle * often)
            variance += time**2 * chance * (1 - chance)
        return variance

    @cached_property
    def drawn(self) -> float:
        """ns^2, of the turnarounds and passages in a cycle of polls that never rest."""
        pace = self.mean
        return sum(
            many.count * float(pace.times[kind].exchange.variance)
            for (every, kind), many in pace.layout.paces.items()
            if every < pace.cycle
        )

    @cached_property
    def commands_variance(self) -> float:
        """ns^2, of the commands in a cycle of polls that never rest."""
        pace = self.mean
        if pace.waits is None or pace.waits.turn is None:
            return 0.0
        turns = sum(many.count / max(every, pace.cycle) for (every, _), many in pace.layout.paces.items())
        return pace.waits.turn.added(pace.cycle * (turns + sum([often for _, often in pace.probes()])))

    @cached_property
    def _waiting(self) -> float:
        """ns from the instant at which a poll is due until its answer, and the pause, at the most: every poll once."""
        pace = self.worst
        lost = sum(float(pace.timing(number).lost) for number, alive in enumerate(pace.layout.alive) if not alive)
        commands = COMMANDS_IN_A_ROW * len(pace.layout.alive) * self.longest_command if pace.move_rate else 0.0
        return pace.occupied + lost + commands

    def worst_age(self, number: int) -> float:
        """ns that the age of what this poll brings never exceeds, while nothing is damaged.

        Whatever operators do: four commands between any two polls. Dead cameras cost what they do until given up. A
        poll that began on time is due again after its wanted interval. Then every other poll goes before it once at
        most: whatever was served since is due later.
        """
        pace = self.worst
        delivery = pace.timing(number).exchange.delivery(WORST) + pace.layout.polls[number].way / 2
        return float(worst_age(float(pace.case.polls[number].every) + self._waiting, delivery))


def _inside(pace: PollSchedule) -> list[float]:
    """ns that the master may be inside each command that is ever given, once."""
    units, each, lost = pace.case.units, pace.costs.each, pace.costs.lost
    return [
        lost[kind] if units[unit].trouble else each[kind] + way
        for (kind, unit, way), move in zip(pace.layout.moves, pace.case.moves, strict=True)
        if move.rate
    ]
