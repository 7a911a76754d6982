"""The good master passes every judge of a controller, whatever values a fault has: its weakest, strongest, each word.

A campaign draws usual values. Here each parameter goes to the ends that its fault allows, for most of a run.
"""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from fuzzed_halls import HALLS, MS, QUICK, SECOND, behind_a_box

from busim.foundation.diagnostics import Findings
from busim.foundation.errors import UserError
from busim.simulator.faults import Fault, all_faults
from busim.testing.fuzzing import NOT_DRAWN, Case, FaultEvent, Link, PureRun
from busim.testing.fuzzing.drawing import usual_values
from busim.testing.judge_catalogue import all_judges
from busim.testing.judging import FAIL, Judge

_OF_THE_INSTALLATION = ("address-plan", "transparency")  # they fail whoever asks
JUDGES: tuple[type[Judge], ...] = tuple(one for name, one in all_judges().items() if name not in _OF_THE_INSTALLATION)
FAULTS = {name: fault for name, fault in all_faults().items() if name not in NOT_DRAWN}
PLACES = {"camera": "c2", "line": "wall", "converter": "box"}
# At 50 Bd a request takes 1.6 s, so a converter holds back minutes of them, and no record says so.
_TOO_SLOW = "wrong-port-settings", "baud", "50"

Values = tuple[tuple[str, str], ...]


def strongest(fault: Fault) -> Values:
    """Whatever has a chance to happen happens each time."""
    return tuple((one.name, "1") for one in fault.parameters if one.kind == "share")


def at_bounds(fault: Fault) -> Iterator[Values]:
    """Each parameter at each usual value and at both ends, alone and with what may happen happening each time."""
    always = dict(strongest(fault))
    yield ()
    for one in fault.parameters:
        for text in dict.fromkeys((*usual_values(one), one.low, one.high)):
            try:
                one.read(text)
            except UserError:
                continue
            if (fault.name, one.name, text) != _TOO_SLOW:
                yield ((one.name, text),)
                yield tuple((always | {one.name: text}).items())


def blamed(run: PureRun, fault: Fault, values: Values, length: int) -> list[str]:
    """The judges that fail the good master on this fault from 1.5 s on, and why."""
    case = Case(7, 12 * SECOND, (FaultEvent(fault.name, PLACES[fault.on], 1500 * MS, length, values),))
    try:
        verdicts = run(case).verdicts
    except Findings:
        return []  # the protocol has no message for these values
    return [f"{fault.name} {values}: {one.judge}: {one.why}" for one in verdicts if one.outcome == FAIL]


@pytest.mark.parametrize("name", FAULTS)
def test_the_good_master_is_not_blamed_for_a_fault_at_its_strongest(name: str) -> None:
    fault = FAULTS[name]
    if fault.on == "converter":
        run = PureRun(behind_a_box(HALLS["restless"]), JUDGES, link=Link)
    else:
        run = PureRun(HALLS["restless"], JUDGES)
    assert blamed(run, fault, strongest(fault), 8 * SECOND) == []


@pytest.mark.long
@pytest.mark.timeout(3600)
@pytest.mark.parametrize("hall", HALLS)
@pytest.mark.parametrize("behind", ["", "box", "wire", "quick"])
def test_the_good_master_is_not_blamed_for_a_fault_at_any_bound(behind: str, hall: str) -> None:
    if behind:
        plan = behind_a_box(HALLS[hall], *([QUICK] if behind == "quick" else []))
        run = PureRun(plan, JUDGES, link=Link, wire_only=behind != "box")
    else:
        run = PureRun(HALLS[hall], JUDGES)
    found = []
    for fault in FAULTS.values():
        if behind or fault.on != "converter":
            for values in dict.fromkeys(at_bounds(fault)):
                found += blamed(run, fault, values, 8 * SECOND) + blamed(run, fault, values, 600 * MS)
    assert found == []
