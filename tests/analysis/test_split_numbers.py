"""Cameras on lines as a problem of numbers, against the result of trying everything."""

from __future__ import annotations

from dataclasses import replace
from itertools import permutations, product
from math import ceil, floor

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from busim.analysis.split.greedy import greedy
from busim.analysis.split.optimal import optimal
from busim.analysis.split.problem import Answer, Kind, Problem
from busim.analysis.split.routes import length, shortest

POINTS = st.tuples(st.integers(0, 30), st.integers(0, 30))


def distances(points: list[tuple[int, int]]) -> np.ndarray:
    at = np.array(points, dtype=float).reshape(-1, 2)
    return np.abs(at[:, np.newaxis] - at).sum(axis=2)


def question(
    cameras: list[tuple[int, int]],
    converters: list[tuple[int, int]],
    shares: list[list[float]],
    *,
    labels: list[int] | None = None,
    kinds: list[Kind] | None = None,
) -> Problem:
    apart = distances([*cameras, *converters])
    count = len(cameras)
    kinds = kinds or [Kind(f"box {number}") for number in range(len(converters))]
    needs = np.repeat(np.array(shares, dtype=float).reshape(1, count, -1), len(kinds), axis=0)
    return Problem(
        tuple(f"c{number}" for number in range(count)),
        tuple(kinds),
        ("load", "unit loads")[: needs.shape[2]],
        needs,
        tuple(labels or range(count)),
        apart[:count, :count],
        apart[count:, :count],
    )


@st.composite
def questions(draw: st.DrawFn) -> Problem:
    cameras = draw(st.lists(POINTS, min_size=1, max_size=6))
    converters = draw(st.lists(POINTS, min_size=1, max_size=3))
    share = st.integers(1, 12).map(lambda tenth: tenth / 10)
    count = len(cameras)
    kinds = [
        Kind(
            f"box {number}",
            reach=draw(st.sampled_from([15.0, 40.0, np.inf])),
            count=draw(st.sampled_from([1, 1, 2])),
            ends=draw(st.booleans()),
            judge=draw(st.sampled_from([None, lambda group: sum(group) % 4 != 3])),
        )
        for number in range(len(converters))
    ]
    return question(
        cameras,
        converters,
        draw(st.lists(st.tuples(share, share), min_size=count, max_size=count)),
        labels=draw(st.lists(st.integers(1, 5), min_size=count, max_size=count)),
        kinds=kinds,
    )


def by_trying(problem: Problem) -> tuple[int, float] | None:
    """Fewest lines and then metres over every assignment, each line in the best of all orders; None: there is none."""
    slots = [kind for kind, one in enumerate(problem.kinds) for _ in range(one.count)]
    lengths: dict[tuple[int, frozenset[int]], float] = {}

    def metres(kind: int, group: frozenset[int]) -> float:
        if (kind, group) not in lengths:
            one = problem.kinds[kind]
            fits = (problem.needs[kind, list(group)].sum(axis=0) <= 1 + 1e-9).all()
            labels = [problem.label[camera] for camera in group]
            best = np.inf
            if fits and len(set(labels)) == len(labels) and (one.judge is None or one.judge(group)):
                matrix = problem.metres(kind, sorted(group))
                last = len(group)
                for order in permutations(range(last + 1)):
                    if not one.ends or last in (order[0], order[-1]):
                        best = min(best, length(matrix, list(order)))
            lengths[kind, group] = best if best <= one.reach else np.inf
        return lengths[kind, group]

    best: tuple[int, float] | None = None
    for choice in product(range(len(slots)), repeat=problem.count):
        groups = [frozenset(c for c, at in enumerate(choice) if at == slot) for slot in range(len(slots))]
        if not all(problem.alone[slots[at], camera] for camera, at in enumerate(choice)):
            continue  # no camera goes to a place where it would not work alone
        used = [(slots[slot], group) for slot, group in enumerate(groups) if group]
        if best is not None and len(used) > best[0]:
            continue
        total = sum(metres(*one) for one in used)
        if total < np.inf and (best is None or (len(used), total) < best):
            best = len(used), total
    return best


def check_holds(problem: Problem, answer: Answer) -> None:
    """Every camera once, every line within everything, no kind more often than there is."""
    cameras = [camera for line in answer.lines for camera in line.group(problem)]
    assert sorted([*cameras, *answer.left]) == list(range(problem.count))
    for kind, one in enumerate(problem.kinds):
        assert sum(line.kind == kind for line in answer.lines) <= one.count
    for line in answer.lines:
        order = [problem.count if at == problem.count else at for at in line.route]
        assert line.metres == pytest.approx(length(np.array(problem.rows[line.kind]), order))
        assert problem.holds(line.kind, line.group(problem))
        if problem.kinds[line.kind].ends:
            assert problem.count in (line.route[0], line.route[-1])


@given(questions())
@settings(max_examples=150, deadline=None)
def test_the_optimal_split_is_what_trying_everything_finds_and_greed_is_never_better(problem: Problem) -> None:
    best, found, quick = by_trying(problem), optimal(problem), greedy(problem)
    check_holds(problem, found)
    check_holds(problem, quick)
    if best is None:
        assert found.left
        assert found.proven
        assert quick.left
        return
    assert found.proven
    assert found.shortest
    assert not found.left
    assert len(found.lines) == best[0]
    assert found.metres == pytest.approx(best[1])
    assert problem.least <= best[0]
    if not quick.left:
        assert (len(quick.lines), round(quick.metres, 6)) >= (best[0], round(best[1], 6))
        if quick.proven:
            assert len(quick.lines) == best[0]


@given(st.lists(st.integers(1, 60), min_size=8, max_size=40), st.integers(2, 12), st.data())
@settings(max_examples=15, deadline=None)
def test_of_many_cameras_each_has_one_place_wherever_they_hung_before(
    shares: list[int], converters: int, data: st.DataObject
) -> None:
    count = len(shares)
    spots = st.lists(POINTS, min_size=count, max_size=count)
    problem = question(data.draw(spots), data.draw(spots)[:converters], [[share / 100] for share in shares])
    at = data.draw(st.lists(st.integers(0, len(problem.kinds) - 1), min_size=count, max_size=count))
    groups = tuple(frozenset(c for c, kind in enumerate(at) if kind == own) for own in range(len(problem.kinds)))
    check_holds(problem, greedy(problem))
    check_holds(problem, greedy(replace(problem, planned=groups, _known={}, _judged={})))


@given(st.lists(st.integers(1, 100), min_size=1, max_size=12))
@settings(max_examples=60, deadline=None)
def test_with_lines_all_alike_the_greedy_split_keeps_the_bound_of_first_fit_decreasing(shares: list[int]) -> None:
    """11/9 OPT + 6/9: Dosa, "The tight bound of first fit decreasing bin-packing", 2007 (from memory)."""
    spot = (0, 0)
    kinds = [Kind("box", count=len(shares))]
    problem = question([spot] * len(shares), [spot], [[share / 100] for share in shares], kinds=kinds)
    quick, best = greedy(problem), optimal(problem)
    assert not best.left
    assert best.proven
    assert len(best.lines) <= len(quick.lines) <= floor(11 / 9 * len(best.lines) + 6 / 9 + 1e-9)
    assert problem.least <= len(best.lines)
    assert problem.least >= ceil(sum(shares) / 100 - 1e-6)


def _first_fit_decreasing(shares: list[int], room: int) -> int:
    """Number of lines that the textbook rule takes: largest first, each onto the first line with room for it."""
    lines: list[int] = []
    for share in sorted(shares, reverse=True):
        at = next((n for n, used in enumerate(lines) if used + share <= room), len(lines))
        lines[at:] = [(lines[at] if at < len(lines) else 0) + share, *lines[at + 1 :]]
    return len(lines)


def test_shares_for_which_first_fit_decreasing_takes_four_lines_are_split_over_three() -> None:
    """Sizes 44 .. 6 with room for 60 fill three; with 61 the rule takes four (textbook example, from memory)."""
    shares = [44, 24, 24, 22, 21, 17, 8, 8, 6, 6]
    assert (_first_fit_decreasing(shares, 60), _first_fit_decreasing(shares, 61)) == (3, 4)
    problem = question([(0, 0)] * 10, [(0, 0)], [[share / 61] for share in shares], kinds=[Kind("box", count=10)])
    assert len(optimal(problem).lines) == 3
    assert 3 <= len(greedy(problem).lines) <= 4


@given(st.lists(POINTS, min_size=1, max_size=7), st.booleans())
@settings(max_examples=100, deadline=None)
def test_a_short_cable_is_the_shortest_of_all_orders(points: list[tuple[int, int]], fixed: bool) -> None:
    matrix = distances(points)
    order, metres = shortest(matrix, 0 if fixed else None)
    everything = [list(one) for one in permutations(range(len(points))) if not fixed or one[0] == 0]
    assert order in everything
    assert metres == pytest.approx(min(length(matrix, one) for one in everything))
    assert metres == pytest.approx(length(matrix, order))


@given(st.lists(POINTS, min_size=10, max_size=24, unique=True))
@settings(max_examples=40, deadline=None)
def test_a_long_cable_passes_every_station_once_and_is_never_longer_than_twice_a_spanning_tree(
    points: list[tuple[int, int]],
) -> None:
    """A shortest path is at most twice a minimum spanning tree, and never shorter than it (any textbook)."""
    from scipy.sparse.csgraph import minimum_spanning_tree

    matrix = distances(points)
    order, metres = shortest(matrix)
    tree = float(minimum_spanning_tree(matrix).sum())
    assert sorted(order) == list(range(len(points)))
    assert tree - 1e-9 <= metres <= 2 * tree


@pytest.mark.parametrize("count", [2, 5, 12])
def test_stations_between_which_nobody_knows_a_way_have_no_cable(count: int) -> None:
    matrix = distances([(at, 0) for at in range(count)])
    matrix[:-1, -1] = matrix[-1, :-1] = np.inf
    order, metres = shortest(matrix)
    assert sorted(order) == list(range(count))
    assert metres == np.inf


def test_on_a_straight_wall_a_long_cable_runs_from_one_end_to_the_other() -> None:
    points = [(at * 7 % 40, 0) for at in range(40)]
    assert shortest(distances(points))[1] == 39
