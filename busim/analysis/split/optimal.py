"""The fewest lines, proven, by mixed-integer programming (HiGHS through scipy, the extra `optimal`).

For few cameras, every group that holds is a column, and the solution covers each camera once: fewest lines and, among
those, fewest metres, both proven. For many cameras, the program assigns cameras to lines by shares that add up. Limits
that do not add up (the cable, the voltages along it) are checked afterwards, and a group that fails is forbidden with
all groups that contain it, until a solution stands. Then the number of lines is proven if nothing had to be forbidden
(a long cable is not known to be the shortest), and the metres are not.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, NamedTuple

import numpy as np

from busim.analysis.split.greedy import greedy, mended
from busim.analysis.split.problem import Answer, Group, Problem, line_of
from busim.analysis.split.routes import Array, subsets
from busim.foundation.errors import not_installed

SECONDS = 30.0  # for one call of the solver; its result by then counts, unproven
_ROUNDS = 200
_FEW = 10  # cameras, of which every group is checked


def optimal(problem: Problem) -> Answer:
    """The split with the fewest lines. Raises UserError without the extra.

    `left` is not empty if no split was found; it is then `proven` that there is none, or the solver ran out of time.
    """
    quick = greedy(problem)
    if not problem.alone.any(axis=0).all():
        quick.proven = True  # a camera fits nowhere, not even alone
        return quick
    if problem.count <= _FEW:
        return _by_groups(problem) or _no_way(quick)
    if quick.proven:
        return quick
    return _by_cameras(problem, quick)


def _no_way(quick: Answer) -> Answer:
    quick.proven = True
    return quick


class _Column(NamedTuple):
    kind: int
    group: Group
    metres: float


def _by_groups(problem: Problem) -> Answer | None:
    """A cover by groups; None if there is none, which is proven."""
    columns = list(_columns(problem))
    while columns:
        chosen = _cover(problem, columns)
        if chosen is None:
            return None
        wrong = [column for column in chosen if not problem.judged(column.kind, column.group)]
        if not wrong:
            lines = [line_of(problem, column.kind, column.group) for column in chosen]
            return Answer(lines, [], proven=True, shortest=True)
        # Only this group: a larger one may have another order and another place of its supply.
        columns = [column for column in columns if column not in wrong]
    return None


def _columns(problem: Problem) -> Iterator[_Column]:
    """Every group that holds on some kind, before the judge."""
    count = problem.count
    for number, kind in enumerate(problem.kinds):
        metres = problem.metres(number, range(count))
        best = subsets(metres, count if kind.ends else None)
        able = [camera for camera in range(count) if problem.alone[number, camera]]
        allowed = sum(1 << camera for camera in able)
        for mask in range(1, 1 << count):
            if mask & ~allowed:
                continue
            group = frozenset(camera for camera in able if mask >> camera & 1)
            length = float(best[mask | 1 << count].min())
            if length <= kind.reach and problem.adds_up(number, group):
                yield _Column(number, group, length)


def _cover(problem: Problem, columns: list[_Column]) -> list[_Column] | None:
    """The fewest columns that hold each camera once, and the fewest metres among those."""
    rows = np.zeros((problem.count + len(problem.kinds), len(columns)))
    for at, column in enumerate(columns):
        rows[list(column.group), at] = 1.0
        rows[problem.count + column.kind, at] = 1.0
    low = np.concatenate([np.ones(problem.count), np.zeros(len(problem.kinds))])
    high = np.concatenate([np.ones(problem.count), [kind.count for kind in problem.kinds]])
    fewest = _solved(np.ones(len(columns)), rows, low, high)
    if fewest is None:
        return None
    lines = round(float(fewest.sum()))
    rows, low, high = np.vstack([rows, np.ones(len(columns))]), np.append(low, lines), np.append(high, lines)
    chosen = _solved(np.array([column.metres for column in columns]), rows, low, high)
    chosen = fewest if chosen is None else chosen
    return [column for column, taken in zip(columns, chosen, strict=True) if taken]


def _by_cameras(problem: Problem, quick: Answer) -> Answer:
    """An assignment; the quick answer if nothing has fewer lines."""
    most = len(quick.lines) - 1 if not quick.left else problem.count
    forbidden: list[tuple[int, Group]] = []
    for _ in range(_ROUNDS):
        found, certain = _assigned(problem, most, forbidden)
        if found is None:
            quick.proven = certain and not forbidden
            return quick
        wrong = [(kind, group) for kind, group in found if not problem.holds(kind, group)]
        if not wrong:
            answer = Answer([line_of(problem, kind, group) for kind, group in found], [])
            answer.proven = len(answer.lines) <= problem.least or (certain and not forbidden)
            mended(problem, answer)
            return answer
        forbidden += wrong
    return quick


def _assigned(
    problem: Problem, most: int, forbidden: list[tuple[int, Group]]
) -> tuple[list[tuple[int, Group]] | None, bool]:
    """Groups with the fewest lines, up to a limit, and whether that is certain; None if there are none.

    Variables: per possible line, whether it is used, and per camera whether it is on it.
    """
    slots = [kind for kind, one in enumerate(problem.kinds) for _ in range(min(one.count, most))]
    cameras, shares = problem.count, len(problem.what)
    width = 1 + cameras
    rows: list[tuple[Array, float, float]] = []

    def row(low: float, high: float, **terms: Any) -> None:
        coefficients = np.zeros(len(slots) * width)
        for at, value in terms["at"]:
            coefficients[at] += value
        rows.append((coefficients, low, high))

    upper = np.ones(len(slots) * width)
    for slot, kind in enumerate(slots):
        first = slot * width
        for camera in range(cameras):
            upper[first + 1 + camera] = float(problem.alone[kind, camera])
        for what in range(shares):
            needs = problem.needs[kind, :, what]
            terms = [(first + 1 + camera, needs[camera]) for camera in range(cameras) if problem.alone[kind, camera]]
            row(-np.inf, 0.0, at=[*terms, (first, -1.0)])
        for label in set(problem.label):
            alike = [first + 1 + camera for camera in range(cameras) if problem.label[camera] == label]
            row(-np.inf, 0.0, at=[*((at, 1.0) for at in alike), (first, -1.0)])
        if slot and slots[slot - 1] == kind:  # of equal lines the first ones are used
            row(0.0, np.inf, at=[(first - width, 1.0), (first, -1.0)])
        for banned, group in forbidden:
            if banned == kind:
                row(-np.inf, len(group) - 1.0, at=[(first + 1 + camera, 1.0) for camera in group])
    for camera in range(cameras):
        row(1.0, 1.0, at=[(slot * width + 1 + camera, 1.0) for slot in range(len(slots))])
    used = [(slot * width, 1.0) for slot in range(len(slots))]
    row(problem.least, most, at=used)
    if not slots:
        return None, True
    cost = np.zeros(len(slots) * width)
    cost[::width] = 1.0
    matrix, low, high = (np.array(part) for part in zip(*rows, strict=True))
    return _groups(slots, width, cost, matrix, low, high, upper)


def _groups(
    slots: list[int], width: int, cost: Array, matrix: Array, low: Array, high: Array, upper: Array
) -> tuple[list[tuple[int, Group]] | None, bool]:
    found, certain = _asked(cost, matrix, low, high, upper)
    if found is None:
        return None, certain
    taken = found.reshape(len(slots), width)[:, 1:]
    groups = [(kind, frozenset(np.nonzero(row)[0].tolist())) for kind, row in zip(slots, taken, strict=True)]
    return [(kind, group) for kind, group in groups if group], certain


def _solved(cost: Array, matrix: Array, low: Array, high: Array) -> Array | None:
    return _asked(cost, matrix, low, high, np.ones(len(cost)))[0]


def _asked(cost: Array, matrix: Array, low: Array, high: Array, upper: Array) -> tuple[Array | None, bool]:
    """The variables that are 1 at the least cost, None without a solution; and whether that is certain."""
    try:
        from scipy.optimize import Bounds, LinearConstraint, milp
        from scipy.sparse import csr_array
    except ImportError:
        raise not_installed("scipy", "optimal", "the best split", ", or leave --optimal out") from None
    result = milp(
        cost,
        integrality=np.ones(len(cost)),
        bounds=Bounds(0, upper),
        constraints=LinearConstraint(csr_array(matrix), low, high),
        options={"time_limit": SECONDS, "mip_rel_gap": 0.0},
    )
    # 0: solved; 1: out of time, perhaps with a solution; 2: no solution
    found = None if result.x is None else np.round(result.x)
    return found, result.status in (0, 2)
