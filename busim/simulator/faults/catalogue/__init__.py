"""Every fault, one module each, found by its module.

A module holds `FAULT` and has the fault's name (`late_reply.py` holds `late-reply`). No list of them exists, so two
people who add faults have no conflict.
"""

from __future__ import annotations

from functools import cache
from importlib import import_module
from pkgutil import iter_modules

from busim.foundation.errors import UserError
from busim.foundation.yaml_source import suggestion
from busim.simulator.faults.declaration import Fault

_GROUPS = "PDLBCM"  # pair, direction, line settings, bus devices, converter and network, the master from outside


@cache
def all_faults() -> dict[str, Fault]:
    """Every fault by its name, in the order of the catalogue."""
    found: list[Fault] = [import_module(f"{__name__}.{module.name}").FAULT for module in iter_modules(__path__)]
    return {fault.name: fault for fault in sorted(found, key=_order)}


def _order(fault: Fault) -> tuple[int, int, str]:
    return _GROUPS.index(fault.code[0]), int(fault.code[1:]), fault.name


def find_fault(name: str) -> Fault:
    """The fault of this name. Raises UserError."""
    fault = all_faults().get(name)
    if fault is None:
        raise UserError(
            "there is no fault of this name", found=repr(name[:60]), expected="one of " + ", ".join(all_faults()),
            mend=suggestion(name, all_faults(), "`busim explain faults` lists them"),
        )  # fmt: skip
    return fault


__all__ = ["all_faults", "find_fault"]
