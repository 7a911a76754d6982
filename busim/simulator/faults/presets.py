"""Presets: faults that occur together in the field, under one name. They are data, in `presets.yaml`."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from busim.foundation.errors import Defect, UserError
from busim.foundation.yaml_source import load, suggestion
from busim.simulator.faults.catalogue import find_fault
from busim.simulator.faults.declaration import Fault, On
from busim.simulator.faults.parameters import Values

_FILE = Path(__file__).with_name("presets.yaml")


@dataclass(frozen=True, slots=True)
class Preset:
    """Several faults with their values, all at one place of the kind `on`."""

    name: str
    title: str
    on: On
    faults: tuple[tuple[Fault, Values], ...]

    def page(self) -> str:
        """Its page, as markdown."""
        rows = "\n".join(
            f"- `{fault.name}`: " + ", ".join(f"{name} {value}" for name, value in fault.written(values).items()) + "."
            for fault, values in self.faults
        )
        return (
            f"# {self.title}\n\n`{self.name}`, a preset of faults of a {self.on}:\n\n{rows}\n\n"
            f"In a plan:\n\n```yaml\nfaults:\n  - fault: {self.name}\n    on: NAME OF A {self.on.upper()}\n```\n\n"
            f"Typed into `busim serve`:\n\n```text\nfault {self.name} on NAME\nfault {self.name} off\n```\n"
        )


@cache
def all_presets() -> dict[str, Preset]:
    """Every preset by its name."""
    entries: Mapping[str, Any] = load(_FILE).value
    return {name: _preset(name, entry) for name, entry in entries.items()}


def _preset(name: str, entry: Mapping[str, Any]) -> Preset:
    faults = []
    for fault_name, given in entry["faults"].items():
        fault = find_fault(fault_name)
        faults.append((fault, fault.read({key: getattr(one, "text", one) for key, one in (given or {}).items()})))
    kinds = {fault.on for fault, _ in faults}
    if len(kinds) != 1:
        raise Defect(f"preset {name} has faults of {' and '.join(sorted(kinds))}")
    return Preset(name, entry["title"], kinds.pop(), tuple(faults))


def is_preset(name: str) -> bool:
    """Whether a preset has this name."""
    return name in all_presets()


def find_preset(name: str) -> Preset:
    """The preset of this name. Raises UserError."""
    preset = all_presets().get(name)
    if preset is None:
        raise UserError(
            "there is no preset of this name", found=repr(name[:60]), expected="one of " + ", ".join(all_presets()),
            mend=suggestion(name, all_presets(), "`busim explain faults` lists them"),
        )  # fmt: skip
    return preset
