"""From the `faults` of a plan to a schedule, or to all mistakes in it.

A plan knows no faults, so only this layer can check fault names, places and parameters.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property

from busim.foundation.diagnostics import Finding, Findings
from busim.foundation.errors import UserError
from busim.foundation.yaml_source import suggestion
from busim.installation import resolve
from busim.plan import FaultPlan, Plan, locate
from busim.protocols import BusProtocol
from busim.simulator.faults import Fault, Values, find_fault, find_preset, is_preset


@dataclass(frozen=True, slots=True)
class FaultEntry:
    """One fault at one place. Times in ns: it goes on at `at`, off `length` later (0: never), and again `every`.

    `after`: the event from which `at` counts (mark, change or effect; text; of which entity, "" for any), each time it
    comes while the fault is off.
    """

    fault: Fault
    on: str
    values: Values
    at: int
    length: int
    every: int
    after: tuple[str, str, str] | None = None


def fault_entries(plan: Plan) -> tuple[FaultEntry, ...]:
    """The schedule of a plan whose faults are valid."""
    reading = _Reading(plan)
    return tuple(reading.entries())


def wrong_faults(plan: Plan) -> tuple[Finding, ...]:
    """Every mistake in the faults of a plan, each with its place."""
    reading = _Reading(plan)
    for _ in reading.entries():
        pass
    return tuple(reading.findings)


class _Reading:
    def __init__(self, plan: Plan) -> None:
        self._plan = plan
        standing = {(place.kind, place.name) for line in plan.lines for place in line.order}
        self._known = {
            "camera": [one.name for one in plan.cameras if one.present and ("camera", one.name) in standing],
            "converter": [one.name for one in plan.converters if ("converter", one.name) in standing],
            "line": [one.name for one in plan.lines],
        }
        self.findings: list[Finding] = []

    def entries(self) -> Iterator[FaultEntry]:
        for number, entry in enumerate(self._plan.faults):
            field = f"faults[{number}]"
            for fault, values in self._faults(field, entry):
                for name in self._places(field, entry, fault):
                    if self._fits(field, fault, values, name):
                        yield FaultEntry(fault, name, values, entry.at, entry.length, entry.every, entry.after)

    def _faults(self, field: str, entry: FaultPlan) -> Iterator[tuple[Fault, Values]]:
        try:
            if is_preset(entry.fault):
                preset = find_preset(entry.fault)
                if entry.parameters:
                    raise UserError(
                        "a preset has no parameters", field=next(iter(entry.parameters)),
                        found=", ".join(entry.parameters), expected="none",
                        mend="name its faults instead: " + ", ".join(fault.name for fault, _ in preset.faults),
                    )  # fmt: skip
                yield from preset.faults
                return
            fault = find_fault(entry.fault)
        except UserError as error:
            self._add(f"{field}.{error.field or 'fault'}", "no-such-fault", error)
            return
        try:
            yield fault, fault.read(entry.parameters)
        except UserError as error:
            self._add(f"{field}.{error.field}", "bad-fault", error)

    def _places(self, field: str, entry: FaultPlan, fault: Fault) -> Iterator[str]:
        known = self._known[fault.on]
        if entry.on == (f"every {fault.on}",):
            yield from known
            return
        for name in entry.on:
            if name in known:
                yield name
                continue
            self._add(f"{field}.on", "no-such-place", UserError(
                f"{fault.name} is a fault of a {fault.on}, and there is none of this name", found=repr(name[:60]),
                expected=("one of " + ", ".join(known)[:300] if known else f"a plan with a {fault.on}"),
                mend=suggestion(name, known, f"name a {fault.on}, or write `every {fault.on}`"),
            ))  # fmt: skip

    def _fits(self, field: str, fault: Fault, values: Values, place: str) -> bool:
        """Whether the protocol of this place has messages for what the fault says."""
        if fault.says is None or place not in self._speaks:
            return True
        try:
            fault.fits(self._speaks[place], values)
        except UserError as error:
            self._add(f"{field}.{error.field}", "bad-fault", error)
            return False
        return True

    @cached_property
    def _speaks(self) -> dict[str, BusProtocol]:
        try:
            site = resolve(self._plan)
        except Findings:
            return {}  # those who build the plan are told why
        return {place.name: line.speaks for line in site.lines for place in line.line.order}

    def _add(self, field: str, code: str, error: UserError) -> None:
        line, column = locate(self._plan, field)
        finding = Finding.of(error, code)
        self.findings.append(replace(finding, file=self._plan.path or None, line=line, column=column, field=field))
