"""Worst case: the wait of the last of several streams on a line without preemption.

The revised analysis takes every instance in the busy period, not only the first: a later one may have the worst
response (Davis, Burns, Bril, Lukkien, "Controller Area Network (CAN) schedulability analysis: refuted, revisited and
revised", Real-Time Systems 35, 2007).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

_ROUNDS = 100_000  # far beyond any busy period that ends while the load is below 1 by more than rounding


class Flow(NamedTuple):
    """A stream of commands: `cost` ns each, at least `period` ns apart, up to `jitter` ns late."""

    cost: int
    period: int
    jitter: int = 0


def worst_responses(flows: Sequence[Flow], blocking: int = 0, tick: int = 1) -> list[int | None]:
    """Worst response of each flow, ns, from its release until it is over; the first has the highest priority.

    `blocking`: the longest that anything below the last flow holds the line; `tick`: the smallest difference of
    two instants. None: the flows down to this one fill the line, so that there is no bound.
    """
    return [worst_response(flows, number, blocking, tick) for number in range(len(flows))]


def worst_response(flows: Sequence[Flow], number: int, blocking: int = 0, tick: int = 1) -> int | None:
    """That of one flow, counted as in `flows`."""
    own, above, upto = flows[number], flows[:number], flows[: number + 1]
    held = max([blocking, *[flow.cost for flow in flows[number + 1 :]]])
    if sum([flow.cost / flow.period for flow in upto]) >= 1:
        return None
    busy = own.cost + held
    for _ in range(_ROUNDS):
        longer = held + sum([-(-(busy + flow.jitter) // flow.period) * flow.cost for flow in upto])
        if longer == busy:
            break
        busy = longer
    else:
        return None
    instances = -(-(busy + own.jitter) // own.period)
    worst = 0
    wait = held
    for instance in range(instances):
        wait = max(wait, held + instance * own.cost)
        while True:
            interference = sum([-(-(wait + flow.jitter + tick) // flow.period) * flow.cost for flow in above])
            longer = held + instance * own.cost + interference
            if longer == wait:
                break
            wait = longer
        worst = max(worst, own.jitter + wait - instance * own.period + own.cost)
    return worst


def lowest_response(flow: Flow, count: int, blocking: int = 0) -> int | None:
    """Worst response (ns) of the lowest of `count` flows alike without jitter: the last of `worst_responses`, at once.
    None: they fill the line.

    Before it goes, those above have as many turns as begin until then: the fewest that are over before the next are
    due. Its first instance waits longest. The next is released a period later, and has to let pass at most one command
    of its own and one turn of those above more, which together take less than a period.
    """
    if count * flow.cost >= flow.period:
        return None
    above = (count - 1) * flow.cost
    turns = 1 + blocking // (flow.period - above)
    return blocking + turns * above + flow.cost
