"""A report: the figures of a run by line and camera, ready for a table or for JSON."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, TypeVar

from busim.foundation.errors import UserError
from busim.foundation.version import VERSION
from busim.foundation.yaml_source import suggestion
from busim.plan import Plan
from busim.recording.expectations import MISSED, Expectation, Verdict, judge
from busim.recording.figures import SCHEMA, Fold, Value
from busim.runtime.session.lateness import Lateness
from busim.simulator.world import Name

ASSUMPTIONS = (
    "turnaround and latency are drawn uniformly between the plan's bounds, each camera and converter for itself",
    "operators' moves are a Poisson process over the controls of their panel",
    "a receiver finds a start edge without delay; a real 16x UART takes up to 1/16 bit longer",
    "levels switch at once: no rise time, no reflections, no loss along the cable",
)
AT_A_REAL_LINE = (
    "instants are those at which bytes passed busim: the way to the line and back is in every time",
    "a value counts as read when its request passed, so ages are too large rather than too small",
    "requests and replies were paired by the protocol; nobody saw the wire itself",
)
_FIGURES = "`busim explain figures` lists the figures"

_T = TypeVar("_T")


@dataclass(frozen=True, slots=True)
class CameraReport:
    """The figures of one camera: `camera["age_mean"].value`, in the unit `camera["age_mean"].quantity.unit`."""

    name: str
    bus_id: int
    figures: dict[str, Value]

    def __getitem__(self, figure: str) -> Value:
        """The figure of this name. Raises UserError for an unknown name."""
        return _named("figure", figure, self.figures, f"camera {self.name!r}", _FIGURES)


@dataclass(frozen=True, slots=True)
class LineReport:
    """The figures of one line, and its cameras: `line["poll_rate"]`, `line.camera("left")["age_mean"]`."""

    name: str
    figures: dict[str, Value]
    cameras: tuple[CameraReport, ...]

    def camera(self, name: str) -> CameraReport:
        """The camera of this name. Raises UserError for an unknown name."""
        cameras = {camera.name: camera for camera in self.cameras}
        return _named("camera", name, cameras, f"line {self.name!r}")

    def __getitem__(self, figure: str) -> Value:
        """The figure of this name. Raises UserError for an unknown name."""
        return _named("figure", figure, self.figures, f"line {self.name!r}", _FIGURES)


@dataclass(frozen=True, slots=True)
class FaultCount:
    """A fault that was on in a run: its place, its number of effects, first and last (ns, -1: never)."""

    fault: str
    at: str
    count: int
    first: int
    last: int

    def as_json(self) -> dict[str, Any]:
        times = {"first_s": self.first / 1e9, "last_s": self.last / 1e9} if self.count else {}
        return {"fault": self.fault, "at": self.at, "count": self.count, **times}

    @property
    def sentence(self) -> str:
        """The count in a sentence."""
        if not self.count:
            return f"{self.fault} at {self.at} was on and never took effect"
        how_often = "once" if self.count == 1 else f"{self.count} times"
        when = (
            f"at {self.first / 1e9:.3f} s"
            if self.count == 1
            else (f"first at {self.first / 1e9:.3f} s, last at {self.last / 1e9:.3f} s")
        )
        return f"{self.fault} at {self.at} took effect {how_often}, {when}"


@dataclass(frozen=True, slots=True)
class Report:
    """`length`: simulated ns; `assumptions`: behind the figures; `lateness`: only with the wall clock; `verdicts`: one
    per expectation of the plan, at its place in the file `plan_path`; `wrong`: why lines of a controller under test
    were no beliefs, the first of `wrong_count`; `faults`: each that was on.
    """

    plan: str
    seed: int
    clock: str
    length: int
    lines: tuple[LineReport, ...]
    assumptions: tuple[str, ...] = ASSUMPTIONS
    lateness: Lateness | None = None
    verdicts: tuple[Verdict, ...] = ()
    plan_path: str = ""
    wrong: tuple[str, ...] = ()
    wrong_count: int = 0
    faults: tuple[FaultCount, ...] = ()

    def line(self, name: str) -> LineReport:
        """The line of this name. Raises UserError for an unknown name."""
        return _named("line", name, {line.name: line for line in self.lines}, "the plan")

    @property
    def missed(self) -> tuple[Verdict, ...]:
        """The missed expectations of the plan."""
        return tuple(one for one in self.verdicts if one.verdict == MISSED)

    def as_json(self) -> dict[str, Any]:
        """JSON-ready; `schema` rises when a meaning changes."""
        return {
            "schema": SCHEMA,
            "busim": VERSION,
            "plan": self.plan,
            "seed": self.seed,
            "clock": self.clock,
            "length_s": self.length / 1e9,
            "lines": [
                {
                    "name": line.name,
                    "figures": _values(line.figures),
                    "cameras": [
                        {"name": camera.name, "bus_id": camera.bus_id, "figures": _values(camera.figures)}
                        for camera in line.cameras
                    ],
                }
                for line in self.lines
            ],
            **({"wrong_beliefs": {"count": self.wrong_count, "first": list(self.wrong)}} if self.wrong else {}),
            **({"faults": [one.as_json() for one in self.faults]} if self.faults else {}),
            "expectations": [verdict.as_json() for verdict in self.verdicts],
            "assumptions": list(self.assumptions),
            **({} if self.lateness is None else {"lateness": self.lateness.as_json()}),
        }


def _named(kind: str, name: str, known: Mapping[str, _T], owner: str, mend: str = "") -> _T:
    """The entry of `known` under `name`. Raises UserError, with the most similar name if there is one."""
    if name in known:
        return known[name]
    raise UserError(
        f"{owner} has no {kind} of this name", found=repr(name)[:60],
        expected="one of " + ", ".join(known) if known else f"no name: there is no {kind}",
        mend=suggestion(str(name), known, mend or f"use the name of a {kind} as the plan has it"),
    )  # fmt: skip


def _values(values: dict[str, Value]) -> dict[str, Any]:
    rows = {}
    for name, value in values.items():
        row: dict[str, Any] = {
            "value": value.value,
            "unit": value.quantity.unit,
            "kind": value.kind,
            "count": value.count,
        }
        if value.value is None:
            row["not_applicable"] = value.why
        rows[name] = row
    return rows


def make_report(
    plan: Plan, seed: int, clock: str, names: list[Name], fold: Fold, until: int, expected: tuple[Expectation, ...],
    lateness: Lateness | None = None,
) -> Report:  # fmt: skip
    """Collect the figures of every line and camera of `names` after `until` ns, and judge the plan's expectations.

    A camera appears under its bus ID of that instant.
    """
    ids = {camera.name: camera.bus_id for camera in plan.cameras}
    lines = []
    given: dict[tuple[str, str], dict[str, Value]] = {}
    for line in names:
        if line.kind == "line":
            cameras = [
                CameraReport(
                    name.name, fold.bus_ids.get(name.row, ids[name.name]), fold.camera(line.row, name.row, until)
                )
                for name in names
                if name.kind == "camera" and name.parent == line.row
            ]
            lines.append(LineReport(line.name, fold.line(line.row, until), tuple(cameras)))
            given["line", line.name] = lines[-1].figures
            given.update((("camera", camera.name), camera.figures) for camera in cameras)
    verdicts = judge(expected, lambda kind, name, figure: given[kind, name][figure])
    return Report(
        plan.name, seed, clock, until, tuple(lines), lateness=lateness, verdicts=verdicts, plan_path=plan.path
    )
