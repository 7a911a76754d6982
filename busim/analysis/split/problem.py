"""The problem as numbers: the needs of each camera, the limits of each converter, the distances.

Quantities that add up (load, unit loads, watts, IDs) are shares of what the line has, so 1 is full. Others (the length
of the cable, the voltages along it) are checked per group. The solvers know nothing else, and a test gives them
problems that come from no plan.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import numpy.typing as npt

from busim.analysis.split.routes import EXACT, Array, insertion, shortest

_FULL = 1 + 1e-9

Group = frozenset[int]


@dataclass(frozen=True, slots=True)
class Kind:
    """A usable converter, `count` times. `reach`: the longest cable of its line, m.

    `ends`: it must stand at an end of its line. `judge`: whether a group that fits otherwise can be fed, and so on.
    """

    name: str
    reach: float = np.inf
    count: int = 1
    ends: bool = False
    judge: Callable[[Group], bool] | None = None


@dataclass(frozen=True)
class Problem:
    """`needs`: [kind, camera, what], shares of what a line of the kind has, inf if the camera cannot be on it.

    `label`: of each camera; two of one label cannot be on one line. `apart`: [camera, camera] metres; `away`: [kind,
    camera] metres from the converter; inf if unknown. `what`: names of the shares.
    """

    cameras: tuple[str, ...]
    kinds: tuple[Kind, ...]
    what: tuple[str, ...]
    needs: npt.NDArray[np.float64]
    label: tuple[int, ...]
    apart: Array
    away: Array
    planned: tuple[Group, ...] = ()  # by kind: its present cameras, a possible start
    _known: dict[tuple[int, Group], tuple[list[int], float]] = field(default_factory=dict, compare=False)
    _judged: dict[tuple[int, Group], bool] = field(default_factory=dict, compare=False)

    @property
    def count(self) -> int:
        return len(self.cameras)

    @cached_property
    def rows(self) -> list[list[list[float]]]:
        """Of each kind: metres as lists, the converter after the cameras."""
        return [self.metres(kind, range(self.count)).tolist() for kind in range(len(self.kinds))]

    @cached_property
    def alone(self) -> npt.NDArray[np.bool_]:
        """[kind, camera]: whether the camera fits alone on the line."""
        fits = (self.needs <= _FULL).all(axis=2) & (self.away <= [[kind.reach] for kind in self.kinds])
        for kind, camera in zip(*np.nonzero(fits), strict=True):
            fits[kind, camera] = self.judged(int(kind), frozenset((int(camera),)))
        return np.asarray(fits)

    def metres(self, kind: int, cameras: Iterable[int]) -> Array:
        """Between these cameras and, last, the converter."""
        chosen = list(cameras)
        found = np.zeros((len(chosen) + 1, len(chosen) + 1))
        found[:-1, :-1] = self.apart[np.ix_(chosen, chosen)]
        found[-1, :-1] = found[:-1, -1] = self.away[kind, chosen]
        return found

    def route(self, kind: int, group: Group) -> tuple[list[int], float]:
        """Cameras in the order of the cable, with the converter as `count`, and its metres."""
        key = kind, group
        if key not in self._known:
            chosen = sorted(group)
            order, metres = shortest(self.metres(kind, chosen), len(chosen) if self.kinds[kind].ends else None)
            names = [*chosen, self.count]
            order = [names[at] for at in order]
            if order[-1] == self.count or (order[0] != self.count and order[0] > order[-1]):
                order.reverse()  # of two directions the one from the converter, or from the first camera
            self._known[key] = order, metres
        return self._known[key]

    def adds_up(self, kind: int, group: Iterable[int]) -> bool:
        """Whether the shares of a group fit, and no label appears twice."""
        chosen = list(group)
        labels = [self.label[camera] for camera in chosen]
        return len(set(labels)) == len(labels) and bool((self.needs[kind, chosen].sum(axis=0) <= _FULL).all())

    def judged(self, kind: int, group: Group) -> bool:
        """Whether the judge of the kind accepts the group."""
        judge = self.kinds[kind].judge
        if judge is None or not group:
            return True
        if (kind, group) not in self._judged:
            self._judged[kind, group] = judge(group)
        return self._judged[kind, group]

    def holds(self, kind: int, group: Group) -> bool:
        """Whether a group can be on a line of this kind, by all limits."""
        if not self.adds_up(kind, group):
            return False
        return self.route(kind, group)[1] <= self.kinds[kind].reach and self.judged(kind, group)

    @cached_property
    def least(self) -> int:
        """A lower bound of the number of lines: the total need of the scarcest share, and the most cameras of one
        label.
        """
        if not self.count:
            return 0
        cheapest = np.where(self.alone[:, :, np.newaxis], self.needs, np.inf).min(axis=0)
        cheapest = np.where(np.isinf(cheapest), 0.0, cheapest)
        labels = max(self.label.count(label) for label in self.label)
        return max(int(np.ceil(cheapest.sum(axis=0).max(initial=0.0) - 1e-6)), labels, 1)


@dataclass
class Line:
    """A line in the making: `route` as `Problem.route` returns it."""

    kind: int
    route: list[int]
    metres: float = 0.0

    def group(self, problem: Problem) -> Group:
        return frozenset(self.route) - {problem.count}


@dataclass
class Answer:
    """Lines, and the cameras without a line. `proven`: no solution has fewer lines; `shortest`: nor fewer metres."""

    lines: list[Line]
    left: list[int]
    proven: bool = False
    shortest: bool = False

    @property
    def metres(self) -> float:
        return sum(line.metres for line in self.lines)

    @property
    def rank(self) -> tuple[int, int, float]:
        """The smaller the better."""
        return len(self.left), len(self.lines), round(self.metres, 6)


def line_of(problem: Problem, kind: int, group: Group) -> Line:
    """The line of a group, in the best order."""
    return Line(kind, *problem.route(kind, group))


def joined(problem: Problem, line: Line, camera: int) -> Line | None:
    """The line with one more camera; None if that does not hold, before the judge."""
    group = line.group(problem) | {camera}
    if not problem.alone[line.kind, camera] or not problem.adds_up(line.kind, group):
        return None
    kind = problem.kinds[line.kind]
    if len(group) < EXACT:
        found = line_of(problem, line.kind, group)
    else:
        place, more = insertion(problem.rows[line.kind], line.route, camera, int(kind.ends))
        found = Line(line.kind, [*line.route[:place], camera, *line.route[place:]], line.metres + more)
        if found.metres > kind.reach:
            found = line_of(problem, line.kind, group)
    return None if found.metres > kind.reach else found


def free_kinds(problem: Problem, lines: Sequence[Line]) -> list[int]:
    """Kinds of which another one is free."""
    used = [line.kind for line in lines]
    return [number for number, kind in enumerate(problem.kinds) if used.count(number) < kind.count]
