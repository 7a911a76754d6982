"""Reduces a failing case: fewer and simpler faults, fewer moves, a shorter run, while the same judge still fails."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace

from busim.testing.fuzzing.case import Case

_MS = 1_000_000
_TAIL = 200_000_000  # ns of running after the last violation that are kept

Fails = Callable[[Case], int | None]  # when the judge finds the first violation, ns; None: it passes


def shrink(case: Case, fails: Fails, tries: int = 60) -> Case:
    """The smallest case found with at most `tries` runs. `case` itself must fail."""
    left = tries
    changed = True
    while changed and left > 0:
        changed = False
        for smaller in _smaller(case):
            left -= 1
            if fails(smaller) is not None:
                case, changed = smaller, True
                break
            if left <= 0:
                break
    at = fails(case)
    if at is not None and at + _TAIL < case.length:
        shorter = replace(case, length=-(-(at + _TAIL) // (100 * _MS)) * 100 * _MS)
        if fails(shorter) is not None:
            return shorter
    return case


def _smaller(case: Case) -> Iterator[Case]:
    """Simpler cases, the boldest first."""
    faults, actions = case.faults, case.actions
    if actions:
        yield replace(case, actions=())
    if len(faults) > 1:
        for one in faults:
            yield replace(case, faults=(one,))
    if len(actions) > 2:
        half = len(actions) // 2
        yield replace(case, actions=actions[:half])
        yield replace(case, actions=actions[half:])
    for number in range(len(faults)):
        yield replace(case, faults=faults[:number] + faults[number + 1 :])
    for number in range(len(actions)):
        yield replace(case, actions=actions[:number] + actions[number + 1 :])
    if case.length > 3000 * _MS:
        yield replace(case, length=case.length * 3 // 4 // _MS * _MS)
    for number, one in enumerate(faults):
        if one.length > 50 * _MS:
            yield replace(case, faults=(*faults[:number], one._replace(length=one.length // 2), *faults[number + 1 :]))
        for name in range(len(one.parameters)):  # a default is simpler
            fewer = one._replace(parameters=one.parameters[:name] + one.parameters[name + 1 :])
            yield replace(case, faults=(*faults[:number], fewer, *faults[number + 1 :]))
        rounded = one.at // (100 * _MS) * 100 * _MS
        if rounded != one.at:
            yield replace(case, faults=(*faults[:number], one._replace(at=rounded), *faults[number + 1 :]))
