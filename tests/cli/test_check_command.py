"""`busim check`: its output, its files and its exit codes."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from screens import flat
from typer.testing import CliRunner, Result

from busim.analysis.check import SOUND, all_rules, marked
from busim.cli.app import app
from busim.foundation.errors import UserError

DOUBLED, ((LINE, COLUMN),) = marked((("boulder right, bus_id: 3", "boulder right, bus_id: «2"),))


def checked(place: Path, text: str, *options: str) -> Result:
    plan = place / "plan.yaml"
    plan.write_text(text, encoding="utf-8")
    return CliRunner().invoke(app, ["check", str(plan), *options])


def test_a_sound_plan_ends_with_0_and_says_what_was_checked(tmp_path: Path) -> None:
    result = checked(tmp_path, SOUND)
    assert result.exit_code == 0
    said = flat(result.stdout)
    assert "sound hall: 0 errors, 0 warnings, 0 notes" in said
    assert f"{len(all_rules())} rules over 2 lines, 5 cameras, 2 converters, 1 master, 1 panel." in said
    assert "nothing was measured" in said


def test_an_error_ends_with_1_and_stands_at_its_place_with_the_remedy(tmp_path: Path) -> None:
    assert checked(tmp_path, DOUBLED).exit_code == 1
    result = checked(tmp_path, DOUBLED, "--detail")
    assert result.exit_code == 1
    place = f"{tmp_path / 'plan.yaml'}:{LINE}:{COLUMN}"
    assert f"{place} error same-id-on-line: camera 'boulder right'" in flat(result.stdout)
    for word in ("found:", "expected:", "to do:", "why:"):
        assert word in result.stdout


def test_the_reason_of_a_rule_is_said_once(tmp_path: Path) -> None:
    result = checked(tmp_path, DOUBLED.replace("mats, bus_id: 4", "mats, bus_id: 2"), "--detail")
    assert result.stdout.count("error same-id-on-line") == 2
    assert result.stdout.count("why:") == 1


def test_a_plan_that_cannot_be_read_ends_with_2_with_the_reader_s_findings_in_every_form(tmp_path: Path) -> None:
    broken = SOUND.replace("    baud: 115200 Bd", "    baud: fast")  # of the speed line alone
    result = checked(tmp_path, broken, "--json", "--sarif", str(tmp_path / "out.sarif"))
    assert result.exit_code == 2
    said = json.loads(result.stdout)
    assert said["readable"] is False
    assert [one["rule"] for one in said["findings"]] == ["bad-value"]
    log = json.loads((tmp_path / "out.sarif").read_text())
    assert [one["ruleId"] for one in log["runs"][0]["results"]] == ["bad-value"]
    assert checked(tmp_path, broken).exit_code == 2


def test_json_has_a_schema_and_every_part_of_a_finding(tmp_path: Path) -> None:
    said = json.loads(checked(tmp_path, DOUBLED, "--json").stdout)
    assert (said["schema"], said["plan"], said["counts"]["errors"]) == (1, "sound hall", 1)
    (finding,) = said["findings"]
    assert {name for name, value in finding.items() if value} == {
        "rule", "severity", "file", "line", "column", "field", "what", "found", "expected", "mend", "why"
    }  # fmt: skip


def test_the_rules_are_listed_by_area() -> None:
    said = CliRunner().invoke(app, ["check", "--rules"]).stdout
    assert all(rule.id in said and rule.area in said for rule in all_rules().values())


def test_without_a_plan_it_says_what_it_wants() -> None:
    result = CliRunner().invoke(app, ["check"])
    assert isinstance(result.exception, UserError)


def test_findings_of_one_cause_stand_together_with_their_places_and_one_remedy(tmp_path: Path) -> None:
    said = checked(tmp_path, DOUBLED.replace("mats, bus_id: 4", "mats, bus_id: 2")).stdout
    assert said.count("same-id-on-line (plan.yaml:") == 1
    assert "(and 1 more like this)" in flat(said)
    assert said.count("do: ") == 1


def test_the_screen_counts_the_findings_of_each_line_of_the_installation(tmp_path: Path) -> None:
    assert "boulder line: 1 error; speed line: nothing found." in flat(checked(tmp_path, DOUBLED).stdout)


def test_one_line_of_the_installation_can_be_asked_for_alone(tmp_path: Path) -> None:
    assert "same-id-on-line" in checked(tmp_path, DOUBLED, "--line", "boulder line").stdout
    assert "same-id-on-line" not in checked(tmp_path, DOUBLED, "--line", "speed line").stdout
    error = checked(tmp_path, DOUBLED, "--line", "nowhere").exception
    assert isinstance(error, UserError)
    assert error.expected == "'boulder line' or 'speed line'"


# -- SARIF: the structure that OASIS SARIF 2.1.0 asks for (section numbers from memory) -------------------------


def sarif(place: Path, text: str) -> dict[str, Any]:
    file = place / "out.sarif"
    checked(place, text, "--sarif", str(file))
    log = json.loads(file.read_text(encoding="utf-8"))
    assert isinstance(log, dict)
    return log


def test_a_log_has_its_version_and_runs_and_a_run_its_tool_and_results(tmp_path: Path) -> None:
    log = sarif(tmp_path, DOUBLED)  # 3.13, 3.14, 3.18, 3.19
    assert log["version"] == "2.1.0"
    assert log["$schema"].endswith("sarif-schema-2.1.0.json")
    (run,) = log["runs"]
    driver = run["tool"]["driver"]
    assert driver["name"] == "busim"
    assert set(run) <= {"tool", "results", "columnKind"}
    assert run["columnKind"] in ("utf16CodeUnits", "unicodeCodePoints")
    assert [rule["id"] for rule in driver["rules"]] == list(all_rules())
    for rule in driver["rules"]:  # 3.49, 3.50
        assert set(rule["shortDescription"]) == {"text"}
        assert rule["help"]["text"]
        assert rule["defaultConfiguration"]["level"] in ("none", "note", "warning", "error")


def test_a_result_has_its_rule_level_message_and_place(tmp_path: Path) -> None:
    run = sarif(tmp_path, DOUBLED)["runs"][0]
    (result,) = run["results"]  # 3.27
    assert run["tool"]["driver"]["rules"][result["ruleIndex"]]["id"] == result["ruleId"] == "same-id-on-line"
    assert result["level"] == "error"
    assert result["message"]["text"]
    (location,) = result["locations"]
    place = location["physicalLocation"]  # 3.29, 3.30: lines and columns count from 1
    assert place["artifactLocation"]["uri"] == (tmp_path / "plan.yaml").as_uri()
    assert place["region"] == {"startLine": LINE, "startColumn": COLUMN}


def test_findings_replace_earlier_findings_and_nothing_else(tmp_path: Path) -> None:
    sarif(tmp_path, DOUBLED)
    assert sarif(tmp_path, SOUND)["runs"][0]["results"] == []
    other = tmp_path / "notes.txt"
    other.write_text("mine")
    result = checked(tmp_path, SOUND, "--sarif", str(other))
    assert isinstance(result.exception, UserError)
    assert other.read_text() == "mine"


# -- silencing ---------------------------------------------------------------------------------------------------

SILENCED = """\
silenced:
  - rule: same-id-on-line
    at: boulder right
    reason: set on site
"""


def test_a_silenced_finding_is_counted_and_listed_with_its_reason_and_fails_nothing(tmp_path: Path) -> None:
    result = checked(tmp_path, DOUBLED + SILENCED)
    assert result.exit_code == 0
    assert "0 errors, 0 warnings, 0 notes; 1 silenced in the plan" in flat(result.stdout)
    detail = flat(checked(tmp_path, DOUBLED + SILENCED, "--detail").stdout)
    assert "because set on site" in detail
    assert "0 errors, 0 warnings, 0 notes, 1 silenced finding." in detail
    said = json.loads(checked(tmp_path, DOUBLED + SILENCED, "--json").stdout)
    assert (said["counts"]["errors"], said["counts"]["silenced"], said["findings"]) == (0, 1, [])
    assert said["silenced"][0]["reason"] == "set on site"
    (result_,) = sarif(tmp_path, DOUBLED + SILENCED)["runs"][0]["results"]  # 3.35
    assert result_["suppressions"] == [{"kind": "inSource", "justification": "set on site"}]


def test_a_silencing_at_another_entry_leaves_the_finding_where_it_is(tmp_path: Path) -> None:
    result = checked(tmp_path, DOUBLED + SILENCED.replace("boulder right", "boulder left"))
    assert result.exit_code == 1


def test_a_silencing_without_an_entry_is_for_the_whole_plan(tmp_path: Path) -> None:
    result = checked(tmp_path, DOUBLED + SILENCED.replace("    at: boulder right\n", ""), "--strict")
    assert result.exit_code == 0


def test_a_rehearsal_with_a_step_that_means_nothing_is_told_by_check(tmp_path: Path) -> None:
    result = checked(tmp_path, SOUND + "rehearsal: {steps: [{do: connect, camera: speed finsh}]}\n")
    assert result.exit_code == 1
    assert "error no-such-camera" in flat(result.stdout)
    assert "did you mean `speed finish`?" in flat(result.stdout)
    assert "busim explain no-such-camera" not in flat(result.stdout)  # no rule, so no page
