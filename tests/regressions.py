"""Figures and budgets of the scenarios, kept beside their plans.

`tools/renew-figures` writes them, test_scenarios compares.

They come from busim itself, so they show that a figure changed, not that it is right. If you renew them, look at the
difference and give its reason in the commit.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from places import SCENARIOS

from busim.analysis.budget import budget
from busim.plan import read
from busim.runtime.session import Run

NAMES = sorted(path.parent.name for path in SCENARIOS.glob("*/plan.yaml"))
LENGTH_S, SEED = 60, 1
ABOUT = (
    "Regression figures of busim's own model, no outside check: a change here is a change of behaviour, meant or not. "
    "tools/renew-figures writes this file."
)


def report(name: str) -> dict[str, Any]:
    """The whole report of a scenario, as `busim run --for 60s --seed 1 --json` gives it."""
    run = Run(read(SCENARIOS / name / "plan.yaml"), SEED)
    run.advance(LENGTH_S * 10**9)
    run.finish()
    return run.report().as_json()


def kept(report: dict[str, Any]) -> dict[str, Any]:
    """The kept part of a report: each value with 6 significant digits, or the reason for its absence."""
    return {
        "about": ABOUT,
        "length_s": LENGTH_S,
        "seed": SEED,
        "lines": {
            line["name"]: {
                "figures": _values(line["figures"]),
                "cameras": {camera["name"]: _values(camera["figures"]) for camera in line["cameras"]},
            }
            for line in report["lines"]
        },
    }


def _values(figures: dict[str, Any]) -> dict[str, Any]:
    return {
        name: _rounded(row["value"]) if row["value"] is not None else row["not_applicable"]
        for name, row in figures.items()
        if row.get("not_applicable") != "no hook"  # these need a controller
    }


def _rounded(value: float) -> float:
    return value if isinstance(value, int) else float(f"{value:.6g}")


def file_of(name: str) -> Path:
    return SCENARIOS / name / "figures.json"


def kept_budget(name: str) -> dict[str, Any]:
    """The whole budget of a scenario, as `busim budget --json` gives it, its numbers with 11 significant digits."""
    found = budget(read(SCENARIOS / name / "plan.yaml")).as_json()
    del found["assumptions"]
    return {"about": ABOUT, **_digits(found)}


def _digits(value: Any) -> Any:
    if isinstance(value, dict):
        return {name: _digits(entry) for name, entry in value.items()}
    if isinstance(value, list):
        return [_digits(entry) for entry in value]
    return float(f"{value:.11g}") if isinstance(value, float) else value


def budget_of(name: str) -> Path:
    return SCENARIOS / name / "budget.json"


if __name__ == "__main__":
    for scenario in NAMES:
        budget_of(scenario).write_text(json.dumps(kept_budget(scenario), indent=1, ensure_ascii=False) + "\n")
        file_of(scenario).write_text(json.dumps(kept(report(scenario)), indent=1, ensure_ascii=False) + "\n")
