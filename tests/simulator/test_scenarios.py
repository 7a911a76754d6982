"""The scenarios: each shows what its plan teaches, and gives unchanged figures.

Nothing here is an outside check; the numbers are regressions of our own model.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from functools import cache
from typing import Any

import pytest
from regressions import NAMES, SCENARIOS, budget_of, file_of, kept, kept_budget, report

from busim.analysis.budget import Budget, budget, cases, line_budget
from busim.plan import read

_PROGRAM = "import json, regressions, sys; json.dump(regressions.report(sys.argv[1]), sys.stdout)"


@cache
def _report(name: str) -> dict[str, Any]:
    return report(name)


def _figures(name: str) -> dict[str, dict[str, Any]]:
    return {
        line["name"]: {quantity: row["value"] for quantity, row in line["figures"].items()}
        for line in _report(name)["lines"]
    }


def test_there_are_the_climbing_hall_two_that_teach_and_two_with_protocols_of_their_own() -> None:
    assert NAMES == ["climbing-hall", "escaped-frames", "factory-fresh", "lines-of-text", "two-masters"]


@pytest.mark.parametrize("name", NAMES)
def test_the_figures_are_the_ones_kept_beside_the_plan(name: str) -> None:
    """`tools/renew-figures` writes them anew, where a change is meant."""
    assert kept(_report(name)) == json.loads(file_of(name).read_text())


@pytest.mark.parametrize("name", NAMES)
def test_the_budget_is_the_one_kept_beside_the_plan(name: str) -> None:
    """Guards changes that only make it faster: equal to 1e-9, for rounding."""
    _same(kept_budget(name), json.loads(budget_of(name).read_text()), name)


def test_what_a_line_can_do_does_not_depend_on_the_lines_that_are_computed_with_it() -> None:
    plan = read(SCENARIOS / "climbing-hall" / "plan.yaml")
    together = budget(plan)
    alone = [line_budget(case) for case in cases(plan)]
    _same(Budget("", tuple(alone), ()).as_json()["lines"], together.as_json()["lines"], "lines")


def _same(found: Any, kept: Any, where: str) -> None:
    if isinstance(kept, dict):
        assert list(found) == list(kept), where
        for entry in kept:
            _same(found[entry], kept[entry], f"{where}.{entry}")
    elif isinstance(kept, list):
        assert len(found) == len(kept), where
        for number, (one, other) in enumerate(zip(found, kept, strict=True)):
            _same(one, other, f"{where}[{number}]")
    elif isinstance(kept, float):
        assert found == pytest.approx(kept, rel=1e-9, abs=1e-12), where
    else:
        assert found == kept, where


@pytest.mark.parametrize("name", NAMES)
def test_the_same_seed_gives_the_same_figures_in_another_process(name: str) -> None:
    """To the last digit, with another seed for hashes."""
    environment = os.environ | {"PYTHONHASHSEED": "4711", "PYTHONPATH": os.pathsep.join(filter(None, sys.path))}
    done = subprocess.run(
        [sys.executable, "-c", _PROGRAM, name], env=environment, check=True, capture_output=True, text=True
    )
    assert json.loads(done.stdout) == json.loads(json.dumps(_report(name)))


def test_the_climbing_hall_runs_clean() -> None:
    for line in _figures("climbing-hall").values():
        assert line["fast_share"] >= 0.95
        assert line["time_outs"] == line["damaged"] == line["refused"] == line["collisions"] == 0


def test_the_camera_alone_on_its_line_is_asked_much_more_often_than_those_that_share() -> None:
    rates = {
        line["name"]: [camera["figures"]["poll_rate"]["value"] for camera in line["cameras"]]
        for line in _report("climbing-hall")["lines"]
    }
    (alone,) = rates.pop("speed line")
    assert all(alone > 3 * rate for line in rates.values() for rate in line)


def test_two_masters_that_do_not_listen_collide() -> None:
    (line,) = _figures("two-masters").values()
    assert line["collisions"] > 0
    assert line["damaged"] + line["time_outs"] > 0
    assert 0 < line["fast_share"] < 1


def test_cameras_fresh_from_the_factory_answer_all_at_once() -> None:
    (line,) = _figures("factory-fresh").values()
    assert line["collisions"] > 0
    assert line["damaged"] > 0.5 * line["exchanges"]
