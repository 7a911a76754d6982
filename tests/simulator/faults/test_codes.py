"""Every code of the catalogue of faults has a fault, or the plan says it; and each of them has a test."""

from __future__ import annotations

import pytest

from busim.cli.handbook_render import fields
from busim.simulator.faults import all_faults

# How many codes each group has: pair, direction, line settings, bus devices, converter and network, master.
COUNTS = {"P": 12, "D": 7, "L": 5, "B": 15, "C": 23, "M": 14}
CODES = [f"{group}{number + 1}" for group, count in COUNTS.items() for number in range(count)]
IN_A_PLAN = {  # code -> shape and fields of the plan that make it, where no fault is needed for it
    "M4": [("Panel", "moves"), ("Group", "every")],  # a load of polls, and operators beside it
}
ALSO_IN_A_PLAN = {  # behaviour of a box or a camera that a plan can have from the start
    "B4": [("Camera", "model")],  # models say when a bus ID takes effect, and when it is kept
    "C2": [("Packing", "idle"), ("Packing", "length")],
    "C4": [("Clients", "sharing")],
    "C5": [("Clients", "when_full"), ("Clients", "most")],
    "C6": [("Clients", "hold_slot")],
    "C7": [("Clients", "idle_close"), ("Clients", "idle_way")],
    "C8": [("Clients", "stale")],
    "C10": [("Clients", "greeting"), ("Clients", "keep_alive")],
    "C12": [("Converter", "rfc2217")],
    "C16": [("Converter", "reboots")],
    "P5": [("Driver", "swapped")],
    "P11": [("Driver", "clock")],
    "P12": [("Camera", "unpowered")],
}


@pytest.mark.parametrize("code", CODES)
def test_each_code_of_the_catalogue_is_a_fault_or_stands_in_a_plan(code: str) -> None:
    served = [fault.name for fault in all_faults().values() if code in fault.codes]
    assert served or code in IN_A_PLAN


def test_no_fault_has_a_code_that_the_catalogue_has_not() -> None:
    assert {code for fault in all_faults().values() for code in fault.codes} <= set(CODES)


@pytest.mark.parametrize(("code", "wanted"), [*IN_A_PLAN.items(), *ALSO_IN_A_PLAN.items()])
def test_what_a_plan_says_instead_is_a_field_of_it(code: str, wanted: list[tuple[str, str]]) -> None:
    for shape, field in wanted:
        assert f"`{field}`" in fields(shape), f"{code}: {shape}.{field}"
