"""One quantity of one line, step by step: every intermediate number, its equation and the source of that.

Each step is computed from the steps above it and from the plan, so a reader can follow the number with a pocket
calculator. The last step is the quantity as `busim budget` shows it; a test holds the two equal.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from busim.analysis.budget.case import Case
from busim.analysis.budget.command_delay import COMMANDS_IN_A_ROW
from busim.analysis.budget.figures import Expected
from busim.analysis.budget.line import line_budget
from busim.analysis.budget.poll_schedule import PollSchedule
from busim.analysis.budget.waiting import vacation_wait
from busim.foundation.errors import UserError
from busim.foundation.units import Spread
from busim.foundation.yaml_source import suggestion
from busim.physics.exchange import MEAN, WORST


@dataclass(frozen=True, slots=True)
class Step:
    """`value` in `unit`. `kind`: planned or computed. `equation`: its derivation; `source`: "" for arithmetic."""

    name: str
    value: float
    unit: str
    kind: str
    equation: str
    source: str = ""


def explain(case: Case, quantity: str) -> tuple[Step, ...]:
    """The steps to a quantity of `EXPLAINED`. Raises UserError for an unknown name, and if the line has no such
    number.
    """
    if quantity not in EXPLAINED:
        raise UserError(
            "the budget explains no such quantity",
            found=repr(quantity[:60]),
            expected=", ".join(EXPLAINED),
            mend=suggestion(quantity, EXPLAINED, f"write for example --explain '{case.line}.cycle'"),
        )
    found = line_budget(case, what_ifs=False)
    if found.obstacles or found.arbitrated:
        why = found.obstacles[0] if found.obstacles else "its masters take turns behind an arbitrating converter"
        raise UserError(f"line {case.line!r} has no {quantity}", found=why, mend="see busim explain budget")
    mean = PollSchedule(case)
    expected = Expected(mean, mean.under(WORST))
    if quantity in ("move_mean", "move_p95") and not expected.follows_moves:
        raise UserError(
            f"line {case.line!r} has no {quantity}",
            found="no operator moves anything that can be followed",
            mend="give a panel of its master moves; busim explain plan has the key",
        )
    if quantity not in ("move_mean", "move_p95", "load") and not mean.layout.living:
        raise UserError(
            f"line {case.line!r} has no {quantity}",
            found="nothing is polled on it",
            mend=f"give master {case.master!r} a group of values to poll, or ask for load, move_mean or move_p95",
        )
    return tuple(EXPLAINED[quantity](expected))


# -- an exchange -------------------------------------------------------------------------------------------------


def _oldest(expected: Expected) -> int:
    """The poll that is explained: of the first camera that answers, the oldest read of its most polled group."""
    mean = expected.mean
    first = mean.case.polls[mean.layout.living[0]].unit
    own = [number for number in mean.layout.living if mean.case.polls[number].unit == first]
    return max(expected.oldest(own), key=expected.age)


def _exchange(expected: Expected) -> Iterator[Step]:
    mean, number = expected.mean, _oldest(expected)
    case, poll, one = mean.case, mean.case.polls[number], mean.timing(number)
    unit, exchange, wire = case.units[poll.unit], one.exchange, mean.wire
    way = mean.layout.polls[number].way / 2
    bits = case.format.half_bits / 2
    yield Step(f"poll {poll.work!r} of camera {unit.name!r}", poll.size, "values", "planned", "one exchange reads them")
    yield Step("bit", 1e3 / float(case.baud) * 1e3, "us", "planned", f"1 / {float(case.baud):.10g} Bd")
    yield Step(
        "character", float(wire.character) / 1e3, "us", "computed", f"{bits:g} bits ({case.format})",
        "MODBUS over Serial Line V1.02, 2.5.1 for 8E1 and 8N1",
    )  # fmt: skip
    yield Step("way", way / 1e3, "us", "computed", "cable to the camera over its speed; once each way")
    yield _ms("request", float(exchange.request) + way, f"{poll.request:g} characters, driver lead, way")
    yield _ms("silence", float(exchange.silence), f"by which {case.protocol.name} ends a request")
    yield _ms(
        "turnaround",
        (unit.turnaround.low + unit.turnaround.high) / 2,
        f"middle of {_range(unit.turnaround)}",
        kind="planned",
    )
    yield _ms("reply", float(exchange.reply) + way, f"{poll.reply:g} characters to the last byte, driver lead, way")
    if case.converter:
        yield _ms("packing", float(exchange.packing), "idle time by which the converter sends the reply on")
        yield _ms("converter", float(exchange.latency(MEAN)), f"both ways, each {_range(case.latency)}", kind="planned")
    yield _ms("exchange", float(exchange.mean) + 2 * way, "sum of request to converter")


def _range(spread: Spread) -> str:
    low, high = spread.low, spread.high
    return f"{low / 1e6:g} ms" if low == high else f"{low / 1e6:g} to {high / 1e6:g} ms"


def _ms(name: str, ns: float, equation: str, source: str = "", kind: str = "computed") -> Step:
    return Step(name, ns / 1e6, "ms", kind, equation, source)


# -- cycle, load, age --------------------------------------------------------------------------------------------


def _load(expected: Expected) -> Iterator[Step]:
    """Shares of the master's time that do not depend on the cycle."""
    mean = expected.mean
    for (every, kind), many in sorted(mean.layout.paces.items()):
        if every:
            time = mean.costs.polls([(every, kind, many.count, many.way)])[every]
            yield _ms(f"polls every {every / 1e6:g} ms", time, f"{many.count:g} exchanges with their pauses, once each")
    yield Step("polls with a wanted interval", mean.polls_demand, "", "computed", "sum of their time / interval")
    if mean.move_rate:
        yield Step("moves", mean.move_rate * 1e9, "/s", "planned", "all panels of this master")
        yield _ms("service", mean.service, "one command with its pause, failed attempts included")
        sent = expected.carried
        yield Step("moves sent", sent, "", "computed", "share that no newer move replaces", "command_delay.py")
    yield Step("commands", mean.commands_load, "", "computed", "moves x sent x service")
    probes = mean.demand - mean.polls_demand - mean.commands_load
    if mean.probed:
        yield Step("probes", probes, "", "computed", "time-out / (pause + time-out) for each dead camera")
    yield Step("load", mean.demand, "", "computed", "polls with a wanted interval + commands + probes")


def _cycle(expected: Expected) -> Iterator[Step]:
    mean = expected.mean
    yield from _exchange(expected)
    one = mean.timing(_oldest(expected))
    yield _ms("pause", float(one.exchange.pause), "silence of the protocol, or the gap of the master if that is longer")
    if mean.failing:
        yield Step(
            "failing", mean.failing, "", "computed", "1 - e^(-bits x bit error rate), at most of a kind", "noise.py"
        )
        yield _ms("lost", float(one.lost), "time-out and drain of a poll that noise damages")
    yield from _load(expected)
    restless = mean.paces.get(0.0)
    if restless:
        count = sum(many.count for (every, _), many in mean.layout.paces.items() if not every)
        yield _ms("walk", restless, f"the {count:g} polls without a wanted interval, once each, with their pauses")
        yield _ms("cycle", mean.shortest, "walk / (1 - load)", "Takagi 1986 (from memory): E[C] = R / (1 - rho)")
    elif mean.cycle:
        text = "sum of time / max(interval, cycle) = 1 - commands: the load is more than 1, so polls come late"
        yield _ms("cycle", mean.shortest, text)
    elif expected.pushed:
        yield _ms("interval", mean.shortest, "the smallest wanted one: the load is less than 1", kind="planned")
        text = "mean of the turns written out: polls that are answered after they were due again lose their places"
        yield _ms("cycle", expected.periods[_oldest(expected)], text, "lost_places.py")
    elif expected.stops.apart:
        every, cycle = mean.shortest, expected.periods[_oldest(expected)]
        yield _ms("interval", every, "the smallest wanted one: the load is less than 1", kind="planned")
        yield Step("polls lost", 1 - every / cycle, "", "computed", "share that time-outs cost", "probing.py")
        yield _ms("cycle", cycle, "interval / (1 - polls lost)")
    else:
        yield _ms("cycle", mean.shortest, "the smallest wanted interval: the load is less than 1", kind="planned")


def _age(expected: Expected) -> Iterator[Step]:
    yield from _cycle(expected)
    mean, number = expected.mean, _oldest(expected)
    every, one = mean.case.polls[number].every, mean.timing(number)
    period, slow = expected.periods[number], mean.cycle > every
    variance = expected.cycle_variance if slow else expected.interval_variance[number]
    delivery = float(one.exchange.delivery(MEAN)) + mean.layout.polls[number].way / 2
    yield _ms("E[C]", period, "time between two of this poll")
    if slow:
        yield _ms("spread by turnarounds", expected.drawn**0.5, "deviation of a round by turnarounds and passages")
        yield _ms(
            "spread by commands", expected.commands_variance**0.5, "the same by commands in it", "command_delay.py"
        )
        rest = max(0.0, variance - expected.drawn - expected.commands_variance)
        yield _ms("spread by others", rest**0.5, "the same by paced polls and probes in it", "timetable.py")
        why = "root of the sum of the squared spreads"
    else:
        why = "other groups, commands before it, probes"
    source = "timetable.py, drift.py, probing.py"
    if slow or expected.pushed:
        source = "" if slow else "lost_places.py"
    yield _ms("standard deviation of C", variance**0.5, why, source)
    yield Step("E[C^2]", (period**2 + variance) / 1e12, "ms^2", "computed", "E[C]^2 + variance")
    yield _ms("D", delivery, "from the reading in the camera to the arrival: turnaround, reply, packing, converter")
    source = "Kaul, Yates, Gruteser, INFOCOM 2012 (from memory)"
    if one.failing:
        yield Step("f", float(one.failing), "", "computed", "share of these polls that noise damages")
        yield _ms("age_mean", expected.age(number), "(E[C^2] + 2 f E[C]^2 / (1 - f)) / (2 E[C]) + D", source)
    else:
        yield _ms("age_mean", expected.age(number), "E[C^2] / (2 E[C]) + D", source)


# -- moves -------------------------------------------------------------------------------------------------------


def _moves(expected: Expected) -> Iterator[Step]:
    mean = expected.mean
    waits = mean.waits
    assert waits is not None
    service, between = mean.serving, mean.between
    yield Step("moves", mean.move_rate * 1e9, "/s", "planned", "all panels of this master")
    yield Step("controls", mean.controls, "", "computed", "(sum of rates)^2 / sum of squared rates")
    yield _ms("E[S]", service.mean, "one command with its pause")
    yield _ms("E[V]", between.mean, "one poll with its pause; short pieces of nothing where polls rest")
    yield _ms("E[V^2] / (2 E[V])", between.residual, "rest of the poll that is under way", "renewal theory")
    law = float(vacation_wait(mean.move_rate, service.mean, service.square, between.mean, between.square))
    source = "M/G/1 with vacations: Doshi 1986 (from memory)"
    text = "r E[S^2] / (2 (1 - r E[S])) + E[V^2] / (2 E[V]): what it is if no move is replaced and no poll has a turn"
    yield _ms("wait by the textbook", law, text, source)
    rules = f"a poll after {COMMANDS_IN_A_ROW} commands, newer moves replace waiting ones"
    if mean.case.joysticks or mean.relieved:
        among = ", positions of joysticks among them" if mean.case.joysticks else ""
        yield _ms("wait", waits.mean, f"turns written out{among}: {rules}", "written_out.py")
    else:
        yield _ms("wait", waits.mean, f"chain of waiting moves: {rules}", "command_delay.py")
    yield Step("replaced", waits.replaced, "", "computed", "share of moves that a newer one replaces")
    yield _ms("answer", mean.answer.mean, "from the sending of the command to its acknowledgement")


def _move_mean(expected: Expected) -> Iterator[Step]:
    yield from _moves(expected)
    mean = expected.mean
    assert mean.waits is not None
    yield _ms("move_mean", mean.waits.mean + mean.answer.mean, "wait + answer")


def _move_p95(expected: Expected) -> Iterator[Step]:
    yield from _moves(expected)
    yield _ms("move_p95", expected.mean.move_p95, "0.95 quantile of the sum of wait and answer", "distribution.py")


EXPLAINED: dict[str, Callable[[Expected], Iterator[Step]]] = {
    "exchange": _exchange,
    "cycle": _cycle,
    "load": _load,
    "age_mean": _age,
    "move_mean": _move_mean,
    "move_p95": _move_p95,
}
