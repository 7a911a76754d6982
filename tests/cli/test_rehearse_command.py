"""`busim rehearse`: its output and its exit codes."""

from __future__ import annotations

import json
from pathlib import Path

from places import SCENARIOS
from screens import flat
from typer.testing import CliRunner, Result

from busim.cli.app import app
from busim.commissioning.rehearse import what_ifs
from busim.foundation.errors import UserError
from busim.runtime.session import replay

FRESH = SCENARIOS / "factory-fresh" / "plan.yaml"
HALL = SCENARIOS / "climbing-hall" / "plan.yaml"


def rehearse(*options: str) -> Result:
    return CliRunner().invoke(app, ["rehearse", *options])


def test_a_commissioning_that_passes_ends_with_0_and_says_how_long_it_takes() -> None:
    result = rehearse(str(HALL))
    assert result.exit_code == 0
    for line in ("boulder line", "rope line", "speed line"):
        assert line in result.stdout
    assert "all 99 steps of the commissioning pass\nIt takes " in result.stdout
    assert "(simulated)" in result.stdout
    assert "(assumed)" in result.stdout
    assert "Caution:" in result.stdout
    assert "look: " not in result.stdout


def test_every_step_is_shown_when_asked_for_of_one_line_or_of_all() -> None:
    every = rehearse(str(HALL), "--detail").stdout
    one = rehearse(str(HALL), "--line", "speed line").stdout
    for words in ("look: bars on the input of speed finish", "99 ok: bindings ID 21 speed finish"):
        assert words in flat(every)
        assert words in flat(one)
    assert " 1 ok: listen" in flat(every)
    assert " 1 ok: listen" not in flat(one)


def test_proposed_ids_are_said() -> None:
    assert "Proposed instead: first out of the box 2," in flat(rehearse(str(FRESH)).stdout)


def test_a_step_that_fails_ends_with_1_and_says_what_was_heard_and_why(tmp_path: Path) -> None:
    plan = tmp_path / "plan.yaml"
    first = "first out of the box"
    plan.write_text(
        FRESH.read_text() + f"rehearsal:\n  steps:\n  - {{do: connect, camera: {first}}}\n"
        f"  - {{do: read-back, camera: {first}, bus_id: 1}}\n"
    )
    result = rehearse(str(plan))
    line = FRESH.read_text().count("\n") + 4
    assert result.exit_code == 1
    said = flat(result.stdout)
    assert f"Step 2, read-back {first} (line {line}, column 5 of the plan): '{first}' has no power" in said
    assert "heard nothing within" in said
    assert " do " in said


def test_a_mistake_in_the_plans_own_steps_is_the_users_to_mend(tmp_path: Path) -> None:
    plan = tmp_path / "plan.yaml"
    plan.write_text(FRESH.read_text() + "rehearsal: {steps: [{do: konnect}]}\n")
    assert isinstance(rehearse(str(plan)).exception, UserError)  # app.main makes that exit code 2


def test_a_what_if_that_goes_wrong_as_told_ends_with_0_and_tells_how_to_find_and_mend_it() -> None:
    result = rehearse(str(FRESH), "--what-if", "swapped-pair")
    assert result.exit_code == 0
    for word in ("goes wrong", "looks like", "find it", "mend it", "1 of 35 steps failed"):
        assert word in flat(result.stdout)


def test_all_what_ifs_make_one_table() -> None:
    result = rehearse(str(HALL), "--what-if", "all")
    assert result.exit_code == 0
    assert all(name in result.stdout for name in what_ifs())
    # all cameras of the chosen line come at its settings
    assert flat(result.stdout).count("cannot happen here: every camera of the line comes at its settings") == 1
    assert result.stdout.count(" yes  ") == len(what_ifs()) - 1


def test_on_a_line_with_one_camera_those_that_cannot_happen_say_so() -> None:
    result = rehearse(str(HALL), "--what-if", "all", "--line", "speed line")
    assert result.exit_code == 0
    assert flat(result.stdout).count("cannot happen here: it needs two cameras") == 3
    assert result.stdout.count(" yes  ") == len(what_ifs()) - 3


def test_a_what_if_that_cannot_happen_on_a_line_says_so_and_ends_with_0() -> None:
    for options in ((), ("--json",)):
        result = rehearse(str(HALL), "--what-if", "everything-first", "--line", "speed line", *options)
        assert result.exit_code == 0
        assert "two cameras" in result.stdout


def test_the_list_of_what_ifs_needs_no_plan() -> None:
    result = rehearse("--what-ifs")
    assert result.exit_code == 0
    assert all(name in result.stdout for name in what_ifs())


def test_json_has_every_step_and_nothing_else_on_standard_output() -> None:
    data = json.loads(rehearse(str(FRESH), "--json").stdout)
    assert (data["schema"], data["ok"], len(data["steps"])) == (1, True, 34)
    told = json.loads(rehearse(str(FRESH), "--json", "--what-if", "wrong-baud").stdout)["told"]
    assert (told["what_if"], told["as_told"]) == ("wrong-baud", True)
    everything = json.loads(rehearse(str(FRESH), "--json", "--what-if", "all").stdout)
    assert [one["what_if"] for one in everything["what_ifs"]] == list(what_ifs())
    assert everything["schema"] == 1


def test_a_rehearsal_can_be_recorded_and_replayed(tmp_path: Path) -> None:
    path = tmp_path / "r.busim"
    said = rehearse(str(FRESH), "--what-if", "spare-in-show", "--trace", str(path)).stdout
    assert f"Trace:{path}" in "".join(said.split())  # however the line is wrapped
    assert replay(path).difference is None


def test_one_seed_gives_the_same_rehearsal() -> None:
    first, second = (rehearse(str(FRESH), "--json", "--seed", "5", "--what-if", "everything-first") for _ in range(2))
    assert first.stdout == second.stdout


def test_options_that_do_not_go_together_are_told() -> None:
    for options in (
        (str(FRESH), "--what-if", "all", "--trace", "x.busim"), (str(FRESH), "--line", "old chain"), (),
        (str(FRESH), "--what-if", "rain"), (str(FRESH), "--what-if", "swapped-pair", "--line", "old chain"),
    ):  # fmt: skip
        error = rehearse(*options).exception
        assert isinstance(error, UserError)
        assert error.mend
