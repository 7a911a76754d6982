"""How many questions each procedure puts: all derived here, on the assumption that whoever collides is garbled.

Where collisions decode cleanly, or replies of different cameras do not overlap, it takes fewer questions or as many;
the bounds hold whatever happens on a line without noise. Times are questions x the time each is listened for (`Pace`).
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache
from math import comb, factorial

from busim.commissioning.scan_methods.questions import Pace
from busim.commissioning.scan_methods.serials import IDLE_ROUNDS, MOST_ROUNDS, gaps
from busim.protocols import MOST_SLOTS, SERIALS


def scan_questions(ids: int, answering: int, checks: int) -> int:
    """Of a scan of so many IDs, of which `answering` have one or more cameras."""
    return ids + answering * checks


@cache
def probes(count: int) -> float:
    """Mean of a search by halves for `count` serials anywhere in a span that is large beside their number.

    A span with n >= 2 is one question and falls apart in two, k and n - k by a fair coin each; with 1 it is three (the
    reply, and silence on both sides), with none one:
    T(0) = 1, T(1) = 3, T(n) = (1 + 2 T(0)/2^n + sum over 0 < k < n of C(n, k) (T(k) + T(n-k)) / 2^n) / (1 - 2^(1-n)).
    Without the two for silence it is the tree algorithm for random access (Capetanakis 1979; Bertsekas and Gallager,
    Data Networks, 4.3; from memory), which takes about 2.885 n.
    """
    return _tree(count, 3.0)


@cache
def _tree(count: int, one: float) -> float:
    if count < 2:
        return one if count else 1.0
    inner = sum(comb(count, k) * (_tree(k, one) + _tree(count - k, one)) for k in range(1, count))
    return (1 + (2 + inner) / 2.0**count) / (1 - 2.0 ** (1 - count))


def probes_of(serials: Iterable[int], low: int, high: int) -> int:
    """Of a search by halves for just these serials."""
    inside = sorted({serial for serial in serials if low <= serial <= high})
    if not inside:
        return 1
    if len(inside) == 1:
        return 1 + len(gaps(inside, low, high))
    middle = (low + high) // 2
    return 1 + probes_of(inside, low, middle) + probes_of(inside, middle + 1, high)


def most_probes(count: int, bits: int = 32) -> int:
    """Bound of a search by halves for `count` different serials of so many bits.

    A span that was garbled after g garbled ones around it has at most 2^(bits-g) serials and at least two cameras, and
    those of one g do not overlap: at most `count` // 2 of each, g from 0 to bits - 1. Each leads to two questions. A
    clean one with k replies leads to at most k + 1 <= 2 k, and no camera is in two of them.
    """
    return 1 + 2 * bits * (count // 2) + 2 * count


def alone(count: int, slots: int) -> list[float]:
    """Chance that just s of `count` cameras are alone in their slots, s from 0 to `count`.

    By inclusion and exclusion over the slots that hold one: sum over i >= s of (-1)^(i-s) C(i, s) C(L, i) n!/(n-i)!
    (L-i)^(n-i) / L^n (any text on occupancy problems; from memory). Whole numbers up to the division, so exact.
    """
    whole = slots**count
    chances = []
    for s in range(count + 1):
        total = 0
        for i in range(s, min(count, slots) + 1):
            ways = comb(slots, i) * factorial(count) // factorial(count - i) * (slots - i) ** (count - i)
            total += (-1) ** (i - s) * comb(i, s) * ways
        chances.append(total / whole)
    return chances


def rounds(count: int, slots: int) -> tuple[float, float]:
    """Means of a slotted search for `count` cameras: rounds, and cameras missed when these end.

    A round that leaves s cameras alone brings j new ones of the u not known yet, hypergeometric: C(u, j) C(n-u, s-j) /
    C(n, s). It is the last where s = n (no garble), or where j = 0 as in the round before. So with u unknown after i
    rounds without news: R(u, i) = 1 + sum of chances x R(u - j, 0), or x R(u, i + 1) where j = 0.
    """
    chances = alone(count, slots)
    ends: dict[tuple[int, int], tuple[float, float]] = {}
    for unknown in range(count + 1):
        ends[unknown, IDLE_ROUNDS] = (0.0, float(unknown))
        for idle in reversed(range(IDLE_ROUNDS)):
            mean, missed = 1.0, 0.0
            for s, chance in enumerate(chances[:-1]):
                for j in range(min(unknown, s) + 1):
                    share = chance * comb(unknown, j) * comb(count - unknown, s - j) / comb(count, s)
                    then = ends[unknown - j, 0] if j else ends[unknown, idle + 1]
                    mean += share * then[0]
                    missed += share * then[1]
            ends[unknown, idle] = mean, missed
    return ends[count, 0]


def slotted_time(count: int, slots: int, pace: Pace, spans: int | None = None) -> float:
    """Mean ns of a slotted search: its rounds, the spans between the serials (`spans`, None: one more than cameras),
    and one question more for each camera that the rounds missed (as good as never are two of them in one span)."""
    mean, missed = rounds(count, slots)
    return mean * pace.round(slots) + (missed + (count + 1 if spans is None else spans)) * pace.probe


def spans_of(serials: Iterable[int]) -> int:
    """How many spans lie between these serials, below and above: neighbours have none between them."""
    return len(gaps(sorted(set(serials)), 0, SERIALS - 1))


def most_slotted(count: int, slots: int, pace: Pace) -> int:
    """Bound of a slotted search, ns: all its rounds, and as many probes as halving takes and one."""
    return MOST_ROUNDS * pace.round(slots) + (most_probes(count) + 1) * pace.probe


def best_slots(count: int, pace: Pace) -> int:
    """The number of slots with the shortest mean for so many cameras."""
    some = sorted({min(MOST_SLOTS, max(2, round(count * share))) for share in (0.5, 1, 1.5, 2, 3, 4, 6)})
    return min(some, key=lambda slots: slotted_time(count, slots, pace))
