"""Each fault does the same on the fast path as on the exact one, to the nanosecond on the wire.

The good master polls and moves beside it, on a line with silence between frames and on one without.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial

import pytest
from fuzzed_halls import HALLS, MOVES, MS, STEPPED, behind_a_box

from busim.recording.trace import BURST, CHANGE, EXCHANGE, Record
from busim.simulator.faults import Fault, all_faults
from busim.simulator.world import build
from busim.testing.fuzzing import Action, Case, FaultEvent, pure, run_pure

PLACES = {"camera": "c2", "line": "wall", "converter": "box"}
# In which halls the quick run looks; the long one looks in both.
WITH_SILENCE, WITHOUT = "rates", "steps"

Values = tuple[tuple[str, str], ...]


def as_made_for(fault: Fault) -> Iterator[Values]:
    """Its default values, and those with which whatever may happen happens each time; each of its words."""
    always = tuple((one.name, "1") for one in fault.parameters if one.kind == "share")
    yield always
    for one in fault.parameters:
        for word in one.words:
            yield (*always, (one.name, word))


def moves(hall: str) -> tuple[Action, ...]:
    """The moves of the halls, from 150 ms on."""
    return tuple(one._replace(at=one.at - 1350 * MS) for one in (STEPPED if hall == WITHOUT else MOVES))


def on_the_wire(
    fault: Fault, values: Values, hall: str, patch: pytest.MonkeyPatch, *, exact: bool
) -> dict[tuple[int, int], list[Record]]:
    """Bursts, exchanges and changes by their source; without the column that names the path."""
    patch.setattr(pure, "build", partial(build, always_exact=exact))
    plan = behind_a_box(HALLS[hall]) if fault.on == "converter" else HALLS[hall]
    case = Case(7, 800 * MS, (FaultEvent(fault.name, PLACES[fault.on], 150 * MS, 500 * MS, values),), moves(hall))
    made: dict[tuple[int, int], list[Record]] = {}
    for record in run_pure(plan, case, (), keep=True).records:
        if record[0] in (BURST, EXCHANGE):
            made.setdefault((record[0], record[2]), []).append(record[:-1])
        elif record[0] == CHANGE:
            made.setdefault((record[0], record[2]), []).append(record)
    return made


def differences(fault: Fault, values: Values, hall: str, patch: pytest.MonkeyPatch) -> list[str]:
    fast, exact = (on_the_wire(fault, values, hall, patch, exact=exact) for exact in (False, True))
    found = []
    for who in fast.keys() | exact.keys():
        one, other = fast.get(who, []), exact.get(who, [])
        if one != other:
            at = next(
                (n for n, (a, b) in enumerate(zip(one, other, strict=False)) if a != b), min(len(one), len(other))
            )
            found.append(
                f"{fault.name} {values} at {hall}: record {at} of {who}: {one[at : at + 1]}, {other[at : at + 1]}"
            )
    return found


@pytest.mark.parametrize("name", all_faults())
def test_a_fault_does_the_same_on_both_paths(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    fault = all_faults()[name]
    assert differences(fault, next(as_made_for(fault)), WITHOUT, monkeypatch) == []


@pytest.mark.long
@pytest.mark.timeout(600)
@pytest.mark.parametrize("hall", [WITH_SILENCE, WITHOUT])
@pytest.mark.parametrize("name", all_faults())
def test_a_fault_does_the_same_on_both_paths_with_each_of_its_words(
    name: str, hall: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    fault = all_faults()[name]
    found = [one for values in as_made_for(fault) for one in differences(fault, values, hall, monkeypatch)]
    assert found == []
