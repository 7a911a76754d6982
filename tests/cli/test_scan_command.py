"""`busim scan`: its words before it sends anything, its output, and its exit codes."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from places import SCENARIOS
from screens import flat
from typer.testing import CliRunner, Result

from busim.cli.app import app
from busim.foundation.errors import UserError


def identified(scenario: str, *options: str) -> Result:
    return CliRunner().invoke(app, ["scan", str(SCENARIOS / scenario / "plan.yaml"), *options])


def test_it_refuses_where_somebody_polls_and_says_who_and_what_to_do() -> None:
    result = identified("two-masters")
    assert result.exit_code == 1
    for words in (
        "touches no real line", "may evict the show's controller", "listening for 6.25 s (simulated)", "every 5 s",
        "Somebody polls here", "01 03 06 01 F4", "bus IDs in them: 1, 2, 3", "Nothing was sent", "stop the controller",
        "--stop 'controller' --stop 'laptop'",
    ):  # fmt: skip
        assert words.casefold() in flat(result.stdout).casefold()
    assert "Found" not in result.stdout


def test_four_cameras_on_one_id_are_listed_and_flagged_with_the_times_of_all_ways() -> None:
    assert "4 cameras found, 4 of them share a bus ID" in identified("factory-fresh", "--stop", "controller").stdout
    result = identified("factory-fresh", "--stop", "controller", "--detail")
    assert result.exit_code == 1
    for serial in (4301, 4302, 4303, 4304):
        assert f"{serial}  zoom-camera  NO: 4 serial numbers answer at ID 1" in result.stdout
    apart = result.stdout.index("Known to the emulator only")
    assert result.stdout.index("'first out of the box' at 10 m") > apart
    for word in ("computed", "simulated", "at most", "Best here: slots"):
        assert word in result.stdout


def test_a_sound_line_ends_with_0() -> None:
    result = identified("climbing-hall", "--stop", "all", "--way", "serials")
    assert result.exit_code == 0
    assert "Found by serials" in result.stdout


def test_a_scan_alone_says_of_each_id_that_a_camera_may_be_hidden() -> None:
    result = identified("lines-of-text", "--stop", "all", "--detail")
    assert result.exit_code == 0
    assert "a second camera may be hidden at 3 bus IDs" in flat(result.stdout)
    assert flat(result.stdout).count("a second camera may be hidden behind it") == 3
    assert "no serials: lanes has no message" in flat(result.stdout)


def test_as_json_it_has_a_schema_and_keeps_apart_what_only_the_emulator_knows() -> None:
    result = identified("factory-fresh", "--stop", "controller", "--json", "--seed", "3")
    told = json.loads(result.stdout)
    assert (told["schema"], told["emulated"], told["seed"]) == (1, True, 3)
    assert told["listened"]["safe"]
    assert [one["serial"] for one in told["found"]] == [4301, 4302, 4303, 4304]
    assert all(one["duplicate"] and one["known_to_the_emulator"] for one in told["found"])
    assert {one["way"] for one in told["ways"]} == {"scan", "slots", "serials"}
    for one in told["ways"]:
        assert one["seconds_computed"]["best"] <= one["seconds_simulated"] <= one["seconds_computed"]["most"]


def test_one_seed_gives_the_same_twice() -> None:
    first, again = (identified("climbing-hall", "--stop", "all", "--json").stdout for _ in range(2))
    assert first == again


def test_who_listened_too_briefly_is_told_where_it_was_stopped() -> None:
    result = identified("two-masters", "--stop", "controller", "--listen", "1s", "--way", "scan")
    assert result.exit_code == 1
    assert "somebody else began to ask (bus IDs 1" in flat(result.stdout)


@pytest.mark.parametrize(
    ("options", "message"),
    [(("--line", "nowhere"), "no such line"), (("--stop", "nobody"), "no such master to stop"),
     (("--at", "soon"), "")],
)  # fmt: skip
def test_what_cannot_be_done_is_said_with_how_to_mend_it(options: tuple[str, ...], message: str) -> None:
    result = identified("factory-fresh", *options)
    assert isinstance(result.exception, UserError)
    assert message in str(result.exception)
    assert result.exception.mend


def test_a_plan_whose_every_poll_rests_longer_is_listened_to_for_longer(tmp_path: Path) -> None:
    text = (SCENARIOS / "factory-fresh" / "plan.yaml").read_text().replace("every: 0}", "every: 20 s}")
    plan = tmp_path / "plan.yaml"
    plan.write_text(text)
    result = CliRunner().invoke(app, ["scan", str(plan)])
    said = flat(result.stdout)
    assert "Listening for 25 s" in said
    assert "the slowest poll of the plan, 'fast' of 'controller'" in said
    assert "somebody polls here" in said
