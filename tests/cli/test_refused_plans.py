"""A plan that one command refuses, every command that works on a plan refuses, with the same findings."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import pytest
from screens import shown

from busim.analysis.check import SOUND
from busim.foundation.diagnostics import Findings

# Only `check`, `sheet` and `plan show`, `diff` and `set` take a plan with such a mistake: to show it or to mend it.
COMMANDS: dict[str, tuple[str, ...]] = {
    "run": ("--for", "10ms"), "budget": (), "budget --verify": ("--verify",), "rehearse": (), "scan": (),
    "sweep": ("--vary", "line.baud=9600"), "plan split": (), "serve": (), "with": ("--", sys.executable, "-c", ""),
    "fuzz": ("--master", "good"),
}  # fmt: skip
MISTAKES = [
    ("values: [tally, temperature]", "values: [tally, temperatur]", "polled-value-nobody-has"),
    ("masters:\n", "rehearsal: {steps: [{do: round, line: no such}]}\nmasters:\n", "no-such-line"),
    ("masters:\n", "faults: [{fault: lost-replies, on: no such}]\nmasters:\n", None),
]


@pytest.mark.parametrize(("was", "is_now", "code"), MISTAKES, ids=["a value", "a step", "a fault"])
def test_a_mistake_that_one_command_refuses_all_refuse_in_the_same_words(
    tmp_path: Path, was: str, is_now: str, code: str | None
) -> None:
    assert SOUND.count(was) == 1
    path = tmp_path / "plan.yaml"
    path.write_text(SOUND.replace(was, is_now), encoding="utf-8")
    refusals = {}
    for name, options in COMMANDS.items():
        words = name.removesuffix(" --verify").split()
        done = shown(*words, str(path), *options)
        assert isinstance(done.exception, Findings), (name, done.output)
        refusals[name] = [(one.code, one.line, one.column, one.what, one.mend) for one in done.exception.findings]
    assert refusals["run"]
    assert code is None or refusals["run"][0][0] == code
    assert [name for name, told in refusals.items() if told != refusals["run"]] == []
    checked = json.loads(shown("check", str(path), "--json").stdout)
    listed = {(one["rule"], one["line"], one["column"]) for one in checked["findings"]}
    assert {told[:3] for told in refusals["run"]} <= listed
