"""The report: one complete file with the same figures as the run, ready to print."""

from __future__ import annotations

import json
import re
import subprocess
import xml.etree.ElementTree as ElementTree
from pathlib import Path

import pytest
from fault_halls import S
from line_pictures import PICTURES, drawn, place_of
from line_traces import Shown, faulty_trace, scenario_trace
from places import SCENARIOS
from typer.testing import CliRunner

from busim.cli.app import app
from busim.foundation.errors import UserError
from busim.recording.trace import EXCHANGE, open_trace
from busim.runtime.session import recorded_report
from busim.web.report import MOST, is_report, report, told_report
from busim.web.report.moments import Moments, worst

HTML = "{http://www.w3.org/1999/xhtml}"
SVG = "{http://www.w3.org/2000/svg}"


def text_of(page: str) -> str:
    return " ".join("".join(ElementTree.fromstring(page.partition("\n")[2]).itertext()).split())


@pytest.fixture(scope="module")
def masters() -> str:
    return report(str(scenario_trace("two-masters", 8)))


def test_it_is_one_file_without_script_or_anything_from_elsewhere(masters: str) -> None:
    tree = ElementTree.fromstring(masters.partition("\n")[2])  # strict XML
    active = {f"{HTML}{tag}" for tag in ("script", "link", "img", "iframe")}
    assert {element.tag for element in tree.iter()} & active == set()
    assert not re.search(r"url\((?!#)", masters)
    assert "http" not in masters.replace("http://www.w3.org/", "").replace("http-equiv", "")
    assert is_report(masters)


@pytest.mark.parametrize(("name", "seconds"), [("two-masters", 8), ("climbing-hall", 10)])
def test_it_stays_far_below_600_kb(name: str, seconds: int) -> None:
    assert len(report(str(scenario_trace(name, seconds))).encode()) < 300_000


def test_the_worst_moments_are_ten_pictures_and_the_others_are_counted(masters: str) -> None:
    tree = ElementTree.fromstring(masters.partition("\n")[2])
    assert len(list(tree.iter(f"{HTML}figure"))) == MOST
    assert "collision" in text_of(masters)
    shown = Shown(scenario_trace("two-masters", 8))
    moments = Moments(shown.line)
    lost = 0
    for record in shown.trace.records(EXCHANGE):
        moments.take(record)
        lost += record[12] in ("time-out", "damaged", "ran-together")
    chosen, _ = worst([moments])
    few, left = worst([moments], 2)
    assert sum(one.lost for one in chosen) == lost or len(chosen) == MOST
    assert [one.lost for one in few] == [one.lost for one in chosen[:2]]
    rest = lost - sum(one.lost for one in few)
    assert re.fullmatch(rf"Not shown: \d+ more half seconds with {rest} lost exchanges\.", left)


def test_each_episode_comes_before_the_second_step_of_another() -> None:
    long = "{fault: dead-camera, on: rope right, at: 1 s, for: 1800 ms}"
    short = "{fault: dead-camera, on: rope top, at: 6 s, for: 200 ms}"
    shown = Shown(faulty_trace(f"{long}\n{short}", 8))
    moments = Moments(shown.line)
    for record in shown.trace.records(EXCHANGE):
        moments.take(record)
    chosen, _ = worst([moments], 2)
    assert sorted(min(one.until // S, 6) for one in chosen)[1:] == [6]
    assert min(one.until for one in chosen) < 4 * S


def test_numbers_and_verdicts_are_those_of_the_run() -> None:
    path = scenario_trace("climbing-hall", 10)
    said = text_of(report(str(path)))
    with open_trace(path) as trace:
        figures = recorded_report(trace)
    met = sum(one.verdict == "met" for one in figures.verdicts)
    assert f"{met} of {len(figures.verdicts)} expectations met" in said
    for line in figures.lines:
        assert f"{line['poll_rate'].value:.3g} /s" in said
    assert "Nothing was lost; these are the slowest exchanges." in said


def test_words_of_a_plan_never_become_markup(tmp_path: Path) -> None:
    from fault_halls import HALL

    from busim.plan import read_text
    from busim.runtime.session import Run

    evil = "<script>alert(1)</script>&\"'"
    quoted = "'" + evil.replace("'", "''") + "'"
    plan = HALL.replace("camera: rope top", f"camera: {quoted}").replace("name: rope top", f"name: {quoted}")
    run = Run(read_text(plan), 1, trace=tmp_path / "t.busim")
    run.world.mark(evil)
    run.advance(S)
    run.finish()
    page = report(str(tmp_path / "t.busim"))
    assert "<script" not in page
    assert evil in "".join(ElementTree.fromstring(page.partition("\n")[2]).itertext())


def test_the_command_writes_it_and_replaces_only_a_report(tmp_path: Path) -> None:
    trace, out = str(scenario_trace("two-masters", 8)), tmp_path / "report.html"
    run = CliRunner().invoke
    assert run(app, ["report", trace, "-o", str(out)]).exit_code == 0
    assert run(app, ["report", trace, "-o", str(out), "--paper", "letter"]).exit_code == 0
    assert "size: letter" in out.read_text()
    out.write_text("my diary")
    assert run(app, ["report", trace, "-o", str(out)]).exit_code != 0
    assert out.read_text() == "my diary"


def test_the_worst_moment_of_a_line_is_shown_beside_a_line_where_all_is_worse() -> None:
    shown = Shown(scenario_trace("two-masters", 8))
    bad, better = Moments(shown.line), Moments(shown.line)
    lost = [record for record in shown.trace.records(EXCHANGE) if record[12] in ("time-out", "damaged", "ran-together")]
    for record in lost:
        bad.take(record)
    better.take(lost[0])
    chosen, _ = worst([bad, better], 4)
    assert len(bad.lossy()) > 4
    assert min(one.lost for one in chosen) == 1
    assert chosen[0].lost == max(one.lost for one in chosen)


def told(arguments: list[str], tmp_path: Path) -> str:
    """The report of what a command writes with --json."""
    result = CliRunner().invoke(app, [*arguments, "--json"])
    assert result.exit_code in (0, 1), result.output
    (tmp_path / "told.json").write_text(result.stdout)
    return told_report(result.stdout, str(tmp_path / "told.json"))


def test_a_rehearsal_is_told_with_its_times_its_steps_and_their_cautions(tmp_path: Path) -> None:
    page = told(["rehearse", str(SCENARIOS / "climbing-hall" / "plan.yaml")], tmp_path)
    text = text_of(page)
    assert "Every step was done. 59 min in all" in text
    assert "(simulated), 56 min by hand (assumed)" in text
    assert "Caution A. Before you switch a supply on" in text
    tree = ElementTree.fromstring(page.partition("\n")[2])
    assert len([one for one in tree.iter(f"{SVG}rect") if one.get("class") == "hands"]) > 50


def test_a_step_that_failed_stands_at_the_top_and_is_crossed(tmp_path: Path) -> None:
    plan = str(SCENARIOS / "climbing-hall" / "plan.yaml")
    page = told(["rehearse", plan, "--what-if", "wrong-baud", "--line", "rope line"], tmp_path)
    text = text_of(page)
    assert "steps failed." in text.partition("How long it takes")[0]
    assert 'class="cross"' in page


def test_a_campaign_shows_the_line_at_each_failure_and_how_to_see_it_again(tmp_path: Path) -> None:
    plan = str(SCENARIOS / "climbing-hall" / "plan.yaml")
    page = told(
        ["fuzz", plan, "--master", "retry-storm", "--cases", "1", "--for", "3s", "--fault", "dead-camera",
         "--tries", "3", "--save", str(tmp_path / "kept")], tmp_path,
    )  # fmt: skip
    text = text_of(page)
    assert "failure not yet accepted. Cases tried: 1." in text or "failures not yet accepted. Cases tried: 1." in text
    assert "bounded-work: " in text
    assert f"busim replay {tmp_path}/kept/bounded-work.json" in text
    tree = ElementTree.fromstring(page.partition("\n")[2])
    figure = next(tree.iter(f"{HTML}figure"))
    assert "recorded in this case" in "".join(figure.itertext())
    (tmp_path / "kept" / "bounded-work.busim").write_bytes(b"no trace")
    assert "No picture: " in text_of(told_report((tmp_path / "told.json").read_text(), str(tmp_path / "told.json")))


def test_json_of_other_shapes_is_told_as_far_as_it_goes_or_refused() -> None:
    steps = [{"number": 1, "outcome": "failed", "seen": "<b>odd</b>", "wire_s": "many"}] * 400
    rehearsal = {"plan": "<b>hall</b>", "ok": False, "wire_s": {"value": 2.5, "kind": "simulated"}, "steps": steps}
    said = text_of(told_report(json.dumps(rehearsal), "r.json"))
    assert "<b>hall</b>" in said
    assert "400 of 400 steps failed." in said
    assert "Not shown: 100 more." in said
    campaign = {"cases": 7, "failures": [{"judge": "quiet-line", "accepted": None, "case": 3}] * 30, "measured": 2}
    said = text_of(told_report(json.dumps(campaign), "c.json"))
    assert "30 failures not yet accepted" in said
    assert "Not shown: 10 more failures." in said
    for wrong in ("", "[]", "{}", "[" * 9999, '{"steps": 3, "wire_s": 1}'):
        with pytest.raises(UserError):
            told_report(wrong, "w.json")


@pytest.mark.parametrize("scenario", PICTURES)
def test_the_pictures_of_the_readme_are_drawn_from_the_scenarios(scenario: str) -> None:
    assert place_of(scenario).read_text(encoding="utf-8") == drawn(scenario), "tools/renew-pictures, and look at them"


@pytest.mark.needs("chromium")
@pytest.mark.needs("pdftotext", package="poppler-utils")
def test_it_prints_on_a4_with_every_picture_whole(tmp_path: Path, masters: str) -> None:
    (tmp_path / "r.html").write_text(masters)
    command = ["chromium", "--headless", "--no-sandbox", "--disable-gpu", f"--user-data-dir={tmp_path}/profile",
               "--no-pdf-header-footer", f"--print-to-pdf={tmp_path}/r.pdf", f"file://{tmp_path}/r.html"]  # fmt: skip
    subprocess.run(command, check=True, capture_output=True, timeout=110)
    told = subprocess.run(["pdfinfo", tmp_path / "r.pdf"], check=True, capture_output=True, text=True).stdout
    assert "A4" in told
    pages = int(re.search(r"Pages:\s+(\d+)", told)[1])  # type: ignore[index]
    assert pages <= 8
