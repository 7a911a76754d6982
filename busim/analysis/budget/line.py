"""The budget of one master on one line, put together."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from busim.analysis.budget.arbitrated import arbitrated, spoilt
from busim.analysis.budget.case import Case
from busim.analysis.budget.changes import changes, limit
from busim.analysis.budget.figures import Expected
from busim.analysis.budget.joysticks import joysticks
from busim.analysis.budget.layout import Row
from busim.analysis.budget.masters import second_master
from busim.analysis.budget.needs import more_cameras, need
from busim.analysis.budget.obstacles import KEPT, obstacles, pushed, remarks, uncertain
from busim.analysis.budget.poll_schedule import PollSchedule
from busim.analysis.budget.result import CameraBudget, ExchangeBudget, GroupBudget, LineBudget, Range
from busim.analysis.budget.scenarios import dead, jobs, moves, noise
from busim.analysis.budget.streams import streams
from busim.analysis.budget.usual_longest import UsualLongest
from busim.foundation.units import Spread, show_time
from busim.physics.exchange import BEST, MEAN, PARTS, WORST, Exchange, Numbers


def line_budget(
    case: Case,
    wanted: float | None = None,
    *,
    what_ifs: bool = True,
    more_streams: bool = True,
    masters: Sequence[Case] = (),
) -> LineBudget:
    """Everything about one case. `wanted`: polls per second that the most polled values should have.

    `what_ifs` False leaves out all that the plan does not have: streams, dead cameras, noise, changes; `more_streams`
    False the streams alone.
    `masters`: the cases of all masters of the line, this one among them, where there are several.
    """
    mean = PollSchedule(case)
    line = _Line(mean, mean.under(BEST), mean.under(WORST), masters)
    return line.without() or line.whole(wanted, what_ifs, what_ifs and more_streams)


def line_summary(mean: PollSchedule, best: PollSchedule, worst: PollSchedule) -> LineBudget:
    """The part of a budget that rules of the check need: load, groups and moves.

    All three schedules are of one case, with its unknowns at their means, at their best and at their worst.
    """
    line = _Line(mean, best, worst, ())
    return line.without() or line.summary()


class _Line:
    """One case in the making."""

    def __init__(self, mean: PollSchedule, best: PollSchedule, worst: PollSchedule, masters: Sequence[Case]) -> None:
        self.case = case = mean.case
        self.mean, self.best, self.worst, self.masters = mean, best, worst, masters
        self.expected = Expected(mean, worst)
        self.load = Range(best.demand, mean.demand, worst.demand) if not mean.restless and mean.demand < 1 else None
        self._head = {"line": case.line, "master": case.master, "converter": case.converter, "baud": float(case.baud)}

    def without(self) -> LineBudget | None:
        """The result if nothing more can be computed, or needs to be; else None."""
        case, mean = self.case, self.mean
        against = tuple(obstacles(self.best, self.worst))
        if not against and case.arbitrated and len(self.masters) > 1:
            paces = [mean if one is case else PollSchedule(one, exact=False) for one in self.masters]
            against = tuple(spoilt(paces))
            if not against:
                return LineBudget(
                    **self._head,  # type: ignore[arg-type]
                    obstacles=(),
                    remarks=tuple(_left_out(case)),
                    exchanges=tuple(_exchanges(mean)),
                    second_master=second_master(mean),
                    arbitrated=arbitrated(paces, paces.index(mean)),
                )
        if not against:
            return None
        exchanges = tuple(_exchanges(mean)) if case.polls else ()
        others = second_master(mean) if case.polls else ()
        return LineBudget(**self._head, obstacles=against, remarks=(), exchanges=exchanges, second_master=others)  # type: ignore[arg-type]

    def summary(self) -> LineBudget:
        """Load, groups and moves."""
        periods = {number: self.mean.period(number) for number in self.mean.layout.living}
        groups = tuple(_groups(self.best, periods, self.worst))
        return LineBudget(
            **self._head,  # type: ignore[arg-type]
            obstacles=(),
            remarks=(),
            load=self.load,
            groups=groups,
            moves=moves(self.expected),
        )

    def whole(self, wanted: float | None, what_ifs: bool, more_streams: bool) -> LineBudget:
        """Everything."""
        case, expected, best, mean, worst = self.case, self.expected, self.best, self.mean, self.worst
        longest = UsualLongest(expected)
        return LineBudget(
            **self._head,  # type: ignore[arg-type]
            obstacles=(),
            remarks=(*remarks(mean, worst), *pushed(expected)),
            uncertain=tuple(uncertain(mean)),
            limit=limit(mean),
            unknown=_unknown(mean),
            more_cameras=more_cameras(mean) if self.load is not None else None,
            figures=expected.line(),
            load=self.load,
            exchanges=tuple(_exchanges(mean)),
            groups=tuple(_groups(best, expected.periods, worst)),
            cameras=tuple(
                CameraBudget(
                    unit.name, unit.bus_id, unit.trouble, expected.camera(number), _seconds(longest.age(number))
                )
                for number, unit in enumerate(case.units)
            ),
            moves=moves(expected),
            joysticks=joysticks(expected),
            streams=streams(expected) if more_streams else (),
            jobs=jobs(expected),
            dead=dead(mean) if what_ifs else (),
            noise=noise(mean) if what_ifs else (),
            second_master=second_master(mean) if case.polls else (),
            changes=changes(mean) if what_ifs else (),
            need=None if wanted is None else need(case, wanted),
        )


def _seconds(time: float | None) -> float | None:
    return None if time is None else time / 1e9


def _left_out(case: Case) -> Iterator[str]:
    """The parts not computed for several masters behind an arbitrating converter."""
    if case.moves:
        yield "what moves add is not computed where several masters share a converter"


def _exchanges(mean: PollSchedule) -> Iterator[ExchangeBudget]:
    """Every poll of every camera, answered or not yet: its parts do not depend on whether it is there."""
    case = mean.case
    kinds: dict[int, tuple[dict[str, Range], Range]] = {}
    rows: dict[Row, tuple[dict[str, Range], Range]] = {}  # polls of one kind and camera are alike
    for poll, row in zip(case.polls, mean.layout.polls, strict=True):
        one = mean.times[row.kind]
        if row.kind not in kinds:
            kinds[row.kind] = _parts(one.exchange)
        if row not in rows:
            parts, total = kinds[row.kind]
            way, own = row.way / 1e9, parts.copy()
            own["request"], own["reply"] = own["request"].later(way / 2), own["reply"].later(way / 2)
            rows[row] = own, total.later(way)
        yield ExchangeBudget(case.units[poll.unit].name, poll.work, poll.size, *rows[row], float(one.time_out) / 1e9)


def _parts(exchange: Exchange) -> tuple[dict[str, Range], Range]:
    """Seconds of each part, and of all but the pause, as if the camera stood beside the asker."""
    best, mean, worst = (exchange.parts(unknown) for unknown in (BEST, MEAN, WORST))
    each = {part: _range(best[part], mean[part], worst[part]) for part in PARTS}
    return each, _range(exchange.best, exchange.mean, exchange.worst)


def _range(best: Numbers, mean: Numbers, worst: Numbers) -> Range:
    """Seconds from ns."""
    return Range(float(best) / 1e9, float(mean) / 1e9, float(worst) / 1e9)


def _groups(best: PollSchedule, periods: Mapping[int, float], worst: PollSchedule) -> Iterator[GroupBudget]:
    """`periods`: ns between two of each living poll, with the unknowns at their means."""
    polls = worst.case.polls
    first: dict[str, int] = {}
    for number in periods:
        first.setdefault(polls[number].group, number)
    for name, number in first.items():
        mean = periods[number]
        cycle = Range(best.period(number) / 1e9, mean / 1e9, max(mean, worst.period(number)) / 1e9)
        rate = Range(1 / cycle.best, 1 / cycle.mean, 1 / cycle.worst)
        wanted = polls[number].every / 1e9
        yield GroupBudget(name, wanted, cycle, rate, cycle.mean <= wanted * KEPT)


def _unknown(mean: PollSchedule) -> str:
    """Which unknown moves the cycle most."""
    case, counted = mean.case, mean.layout
    if not counted.living:
        return ""
    rounds, shortest = 0.0, mean.shortest
    swings = []
    for unit, share in zip(case.units, counted.shares, strict=True):
        often = 0.0  # polls of it in a round
        if not share.trouble:
            often = sum([shortest / max(every, mean.cycle) * count for (every, _), count in share.polls.items()])
        swings.append((unit.turnaround.high - unit.turnaround.low) * often)
        rounds += often
    largest = max(swings)
    of_converter = 2 * (case.latency.high - case.latency.low) * rounds if case.converter else 0.0
    if of_converter > largest:
        largest, name = of_converter, f"the latency of converter {case.converter!r} ({_bounds(case.latency)})"
    else:
        unit = case.units[swings.index(largest)]
        name = f"the turnaround of camera {unit.name!r} ({_bounds(unit.turnaround)})"
    return f"{name} matters most: {show_time(largest)} of a round between its bounds" if largest else ""


def _bounds(spread: Spread) -> str:
    return f"{show_time(spread.low)} to {show_time(spread.high)}"
