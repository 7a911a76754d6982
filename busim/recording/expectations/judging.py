"""Expectations against the figures of a run: met, missed, or inconclusive if the figure does not apply.

A figure that does not apply is not met: a run without moves says nothing about the time of a move. It is not missed
either, so one plan serves runs with and without the controller of these figures.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

from busim.recording.expectations.reading import Expectation
from busim.recording.figures import Value

MET, MISSED, INCONCLUSIVE = "met", "missed", "inconclusive"

_CAMERA_GONE = "a camera that is dead, not connected or on another ID; a time-out that is shorter than the line needs"
_BUSY = "`busim budget` of the plan: turnaround, packing and latency, and how many cameras share the line"
_MET_ON_THE_LINE = "doubled IDs, a second master, noise, a missing bias, a baud or format that differs"
_OPERATOR = "load of the line and polls that a move waits for, then time-outs: a move is repeated after each"
_LENS = "how long the controller holds a move before it sends it, polls that are sent first, then time-outs"
# figure -> what to look at if it is missed
LOOK = {
    "exchanges": "whether the controller connected and asked, in the trace's inputs",
    "poll_rate": f"time-outs first ({_CAMERA_GONE}), then {_BUSY}",
    "age_mean": f"poll rate and time-outs of this camera, then {_BUSY}",
    "age_worst": "lost polls: time-outs and damaged frames of this camera around that time",
    "latency_p50": _BUSY,
    "latency_p95": "who else is on the line, and how much turnaround and latency vary",
    "latency_p99": "who else is on the line, and how much turnaround and latency vary",
    "latency_max": "who else is on the line, and how much turnaround and latency vary",
    "move_p95": _OPERATOR,
    "move_max": _OPERATOR,
    "time_outs": _CAMERA_GONE,
    "ran_together": "clients that share a converter without arbitration, or a master without a gap between requests",
    "retries": "time-outs and damaged frames: commands are repeated after each",
    "damaged": _MET_ON_THE_LINE,
    "refused": "locks of the camera's model, and what it does not have",
    "collisions": _MET_ON_THE_LINE,
    "occupancy": "baud, and how many values a poll brings",
    "load": _BUSY,
    "headroom": _BUSY,
    "fast_share": _MET_ON_THE_LINE,
    "intents": "the panels of the plan and their `moves`",
    "intent_p95": _LENS,
    "intent_max": _LENS,
    "intents_left": "whether the controller reads its intents, time-outs, and refusals (a lock of the camera)",
    "beliefs": "whether the controller writes its beliefs a line at a time, at once and not when its buffer is full",
    "belief_share": "polls of that camera, and beliefs that are kept after a write was refused or lost",
    "behind_p95": "age of what is polled, and how long a belief waits in the controller",
    "behind_max": "lost polls around that time, and values that are polled rarely or never",
}


@dataclass(frozen=True, slots=True)
class Verdict:
    """The result of one expectation: `verdict` is met, missed or inconclusive."""

    expectation: Expectation
    value: Value
    verdict: str

    def sentence(self, file: str = "") -> str:
        """One line for people: expected, measured, count, and for a missed bound what to look at."""
        expected, value = self.expectation, self.value
        place = f"{file}:{expected.line}:{expected.column}: " if file else ""
        head = f"{place}{self.verdict}: {value.quantity.title} of {expected.name}"
        if value.value is None:
            head = f"{place}{self.verdict}: {value.why}: {value.quantity.title} of {expected.name}"
            return f"{head}; expected {expected.written}"
        measured = f"{_shown(value.value)}{_UNITS[value.quantity.unit]}"
        text = f"{head} is {measured} ({value.kind}, count {value.count}), expected {expected.written}"
        return text if self.verdict == MET else f"{text}. Look at {LOOK[value.quantity.name]}."

    def as_json(self) -> dict[str, Any]:
        """JSON-ready."""
        expected, value = self.expectation, self.value
        return {
            "figure": value.quantity.name,
            "kind": expected.kind,
            "of": expected.name,
            "expected": expected.written,
            "at_least": expected.at_least,
            "at_most": expected.at_most,
            "unit": value.quantity.unit,
            value.kind: value.value,
            "count": value.count,
            "verdict": self.verdict,
            **({"not_applicable": value.why} if value.value is None else {}),
            **({"look_at": LOOK[value.quantity.name]} if self.verdict == MISSED else {}),
            "line": expected.line,
        }


_UNITS = {"": "", "1": " (a share)", "/s": " /s", "s": " s"}


def judge(expected: Iterable[Expectation], figure: Callable[[str, str, str], Value]) -> tuple[Verdict, ...]:
    """Compare each expectation with the value that `figure(kind, name, figure)` returns."""
    return tuple(
        Verdict(one, value, _verdict(one, value))
        for one, value in ((one, figure(one.kind, one.name, one.quantity.name)) for one in expected)
    )


def _verdict(expected: Expectation, value: Value) -> str:
    if value.value is None:
        return INCONCLUSIVE
    low, high = expected.at_least, expected.at_most
    held = (low is None or value.value >= low) and (high is None or value.value <= high)
    return MET if held else MISSED


def _shown(value: float) -> str:
    """Six digits: fewer could hide a narrow miss."""
    return f"{value:.0f}" if value == round(value) else f"{value:.6g}"
