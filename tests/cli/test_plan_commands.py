"""A plan as a file: shown with every default, changed with its comments kept, its form for editors."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest
from bad_plans import GOOD, SITE
from hypothesis import given
from hypothesis import strategies as st
from places import SCENARIOS

from busim import protocols
from busim.analysis.check import check
from busim.cli import new, plan_schema, plan_set, plan_show, run
from busim.foundation.diagnostics import Findings
from busim.foundation.errors import UserError
from busim.foundation.yaml_source import Real, Rewriting, flow, parse
from busim.plan import Plan, json_schema, models, read, read_text, spelled

PLANS = sorted(SCENARIOS.glob("*/plan.yaml"))
HALL = next(path for path in PLANS if path.parent.name == "climbing-hall")


def bare(plan: Plan) -> Plan:
    """The data of a plan, without its path."""
    return replace(plan, source="", path="", files={})


# show


@pytest.mark.parametrize("path", PLANS, ids=lambda path: path.parent.name)
def test_a_plan_with_every_default_reads_as_the_equal_plan(path: Path) -> None:
    plan = read(path)
    again = read_text(spelled(plan).yaml(), str(path), plan.files)
    assert bare(again) == bare(plan)
    assert spelled(again).assumed == {}


def test_a_plan_with_a_site_and_every_default_reads_as_the_equal_plan() -> None:
    plan = read_text(GOOD + SITE)
    assert bare(read_text(spelled(plan).yaml())) == bare(plan)


def test_what_nobody_wrote_is_marked_and_what_was_written_is_not() -> None:
    whole = spelled(read_text(GOOD))
    lines = whole.yaml().splitlines()
    assert "    baud: 38400 Bd" in lines
    assert "    contention: space-wins  # default" in lines
    assert "    factory_id: null  # default: from the model" in lines
    assert "    unit_load: 1.0  # default" in lines
    assert "converters[0].packing.idle" not in whole.assumed
    assert "converters[0].packing.delimiter" in whole.assumed
    assert "converters[0].clients.most" not in whole.assumed  # `clients: 4`
    assert "converters[0].clients.sharing" in whole.assumed


def test_every_key_of_the_form_is_shown() -> None:
    shown = spelled(read_text(GOOD + SITE)).values
    schema = json_schema()
    assert list(shown) == list(schema["properties"])
    for key, shape in (("cameras", "CameraShape"), ("converters", "ConverterShape"), ("supplies", "SupplyShape")):
        assert list(shown[key][0]) == list(schema["$defs"][shape]["properties"])


def test_the_command_shows_yaml_or_json(capsys: pytest.CaptureFixture[str]) -> None:
    plan_show.command(str(HALL))
    assert bare(read_text(capsys.readouterr().out, files=read(HALL).files)) == bare(read(HALL))
    plan_show.command(str(HALL), as_json=True)
    report = json.loads(capsys.readouterr().out)
    assert report["schema"] == 1
    assert report["values"]["lines"][0]["baud"] == "38400 Bd"
    assert report["values"]["lines"][0]["format"] == "8E1"
    assert report["values"]["converters"][0]["unit_load"] == 0.25
    assert "lines[0].contention" in report["assumed"]
    assert report["base_units"]["cameras"][7]["power"]["peak"] == {"low": 7, "high": 9}


VALUES = st.recursive(
    st.one_of(
        st.none(),
        st.booleans(),
        st.integers(-(10**30), 10**30),
        st.text(st.characters(exclude_categories=["Cc", "Cs", "Cn"]), max_size=12),
        st.sampled_from(["on", "yes", "true", "null", "0", "8E1", "a: b", "a #b", "- a", "---", "{x}", "12:30", ""])
        | st.sampled_from(["~", "a\x85b", "\u2028", "\ufeffa", "a:", "'", '"', "\\", "a\nb", "?", "=", "<<"]),
        st.sampled_from(["8E1", "0.66", "1e3"]).map(lambda text: Real(text, float(text))),
    ),
    lambda inner: st.one_of(st.lists(inner, max_size=3), st.dictionaries(st.sampled_from(["a", "on", "x"]), inner)),
    max_leaves=6,
)


@given(VALUES)
def test_any_value_written_on_one_line_reads_as_itself(value: object) -> None:
    again = parse(f"value: {flow(value)}").value["value"]
    assert again == value
    assert type(again) is type(value)


# set


def test_a_value_is_changed_and_every_comment_stays(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before = HALL.read_text(encoding="utf-8")
    path = tmp_path / "plan.yaml"
    path.write_text(before, encoding="utf-8")
    plan_set.command(str(path), ["cameras[boulder right].bus_id=5", "lines[0].baud=19200 Bd"])
    after = path.read_text(encoding="utf-8")
    changed = [
        (old, new)
        for old, new in zip(before.splitlines(), after.splitlines(), strict=True)
        if old != new
    ]  # fmt: skip
    assert [(old.split("#")[0].strip(), new.split("#")[0].strip()) for old, new in changed] == [
        ("baud: 38400 Bd", "baud: 19200 Bd"),
        ("bus_id: 3", "bus_id: 5"),
    ]
    assert [new.partition("#")[2] for _, new in changed] == [old.partition("#")[2] for old, _ in changed]
    assert read(path).cameras[2].bus_id == 5
    assert capsys.readouterr().out == "cameras[2].bus_id: 5 (was 3)\nlines[0].baud: 19200 Bd (was '38400 Bd')\n"
    assert sorted(tmp_path.iterdir()) == [path]


def test_a_key_that_was_not_written_is_added() -> None:
    rewriting = Rewriting(parse(GOOD))
    assert rewriting.set("cameras[left mat].serial", "4101") == ("cameras[0].serial", None)
    assert read_text(rewriting.text()).cameras[0].serial == 4101


@pytest.mark.parametrize("path", PLANS, ids=lambda path: path.parent.name)
def test_a_file_in_which_nothing_is_changed_stays_as_it_is(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    assert Rewriting(parse(text)).text() == text


def test_line_ends_stay_as_they_are() -> None:
    text = GOOD.replace("\n", "\r\n")
    assert Rewriting(parse(text)).text() == text


@pytest.mark.parametrize(
    ("value", "said"),
    [
        ("cameras[left hat].bus_id=5", "did you mean `left mat`?"),
        ("cameras[9].bus_id=5", "no such entry"),
        ("cameras.0.bus_id=5", "found 'cameras.0'; expected 0 to"),
        ("camera[0].bus_id=5", "did you mean `cameras`?"),
        ("cameras[0].bus_id", "FIELD=VALUE"),
        ("..=5", "not the path of a field"),
        ("cameras[0].bus_id=[", "cameras[0].bus_id: not readable as YAML"),
        ("name=&a x", "name: anchors and aliases are not supported"),
        ("cameras[0].bus_id.more=5", "no such field"),
    ],
)
def test_what_cannot_be_changed_is_said_and_the_file_left_alone(value: str, said: str, tmp_path: Path) -> None:
    path = tmp_path / "plan.yaml"
    path.write_text(GOOD, encoding="utf-8")
    with pytest.raises(UserError) as caught:
        plan_set.command(str(path), [value])
    assert said in str(caught.value)
    assert path.read_text(encoding="utf-8") == GOOD


def test_a_change_after_which_it_is_no_plan_is_not_written(tmp_path: Path) -> None:
    path = tmp_path / "plan.yaml"
    path.write_text(GOOD, encoding="utf-8")
    with pytest.raises(Findings, match="there is no camera of this name"):
        plan_set.command(str(path), ["cameras[left mat].name=right hat"])
    assert path.read_text(encoding="utf-8") == GOOD


def test_a_change_may_be_looked_at_first(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "plan.yaml"
    path.write_text(GOOD, encoding="utf-8")
    plan_set.command(str(path), ["cameras[0].bus_id=7"], dry=True)
    assert read_text(capsys.readouterr().out).cameras[0].bus_id == 7
    assert path.read_text(encoding="utf-8") == GOOD


# schema


def test_the_form_for_editors_is_printed_as_json(capsys: pytest.CaptureFixture[str]) -> None:
    plan_schema.command()
    printed, form = json.loads(capsys.readouterr().out), json_schema()
    assert "late-reply" in printed["$defs"]["FaultShape"]["properties"]["fault"]["enum"]
    for each in (printed, form):  # a plan does not know the faults
        del each["$defs"]["FaultShape"]
    assert printed == form


@pytest.mark.parametrize(("of", "title"), [("protocol", "busim protocol"), ("camera", "busim camera model")])
def test_so_is_the_form_of_what_a_plan_may_name(of: str, title: str, capsys: pytest.CaptureFixture[str]) -> None:
    plan_schema.command(plan_schema.Form(of))
    assert json.loads(capsys.readouterr().out)["title"] == title


# new


def test_a_new_plan_is_sound_runs_clean_and_is_full_of_comments(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    new.command(new.Kind.plan, "night-hall")
    assert "busim check night-hall.yaml" in capsys.readouterr().out
    text = (tmp_path / "night-hall.yaml").read_text(encoding="utf-8")
    assert text.count("#") > 20
    assert "NAME" not in text
    plan = read("night-hall.yaml")
    assert plan.name == "night-hall"
    assert {finding.severity for finding in check(plan).findings} <= {"note"}
    run.command("night-hall.yaml", length="5s", as_json=True)
    for line in json.loads(capsys.readouterr().out)["lines"]:
        assert {name: line["figures"][name]["value"] for name in ("time_outs", "damaged", "collisions")} == {
            "time_outs": 0,
            "damaged": 0,
            "collisions": 0,
        }
    with pytest.raises(UserError, match="there is a file of this name already"):
        new.command(new.Kind.plan, "night-hall")


@pytest.mark.parametrize("name", ["123", "true", "null", "1e5", "0x1f"])
def test_a_starter_is_sound_whatever_its_name_could_be_taken_for(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    for kind in new.Kind:
        new.command(kind, f"{name}")
        found = {"plan": read, "camera": models.read, "protocol": protocols.read}[kind](Path(f"{name}.yaml"))
        assert found.name == name
        Path(f"{name}.yaml").unlink()
