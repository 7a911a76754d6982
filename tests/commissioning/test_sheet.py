"""The run sheet: everything of the plan is on it, its sums are right, it is sound HTML, and it prints.

Contrast is computed as WCAG 2.2 defines it (relative luminance; (L1 + 0.05) / (L2 + 0.05) of at least 7 for text,
success criterion 1.4.6), from memory. Page sizes: A4 is 210 x 297 mm (ISO 216), Letter 8.5 x 11 in, at 72 points an
inch.
"""

from __future__ import annotations

import json
import re
import subprocess
import time
import xml.etree.ElementTree as ET
from collections import Counter
from dataclasses import replace
from functools import cache
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest
from drawn_plans import large
from hypothesis import given, settings
from hypothesis import strategies as st
from places import SCENARIOS
from screens import flat
from typer.testing import CliRunner, Result

from busim.analysis.check import SOUND
from busim.cli.app import app
from busim.commissioning.sheet import ASSUMED, COMPUTED, PAPERS, PARTS, PLANNED, Document, Value, html, is_sheet, sheet
from busim.foundation.errors import UserError
from busim.plan import Plan, read, read_text

HALL = SCENARIOS / "climbing-hall" / "plan.yaml"
EVERY = sorted(SCENARIOS.glob("*/plan.yaml"))
X = "{http://www.w3.org/1999/xhtml}"
SVG = "{http://www.w3.org/2000/svg}"


def made(plan: Plan) -> Document:
    return sheet(plan, version="0", date="2030-01-02")


def printed(plan: Plan, **choices: Any) -> ET.Element:
    """The sheet, through an independent strict parser."""
    return ET.fromstring(html(made(plan), **choices))


def words(element: ET.Element) -> str:
    return " ".join(" ".join(element.itertext()).split())


def sections(root: ET.Element) -> dict[str, str]:
    return {words(one.find(f"{X}header/{X}h2")): words(one) for one in root.iter(f"{X}section")}  # type: ignore[arg-type]


def table(document: Document, title: str) -> dict[str, tuple[str, ...]]:
    """Rows of a table of the bill by what is in their first column."""
    found = next(one for one in document.bill if one.title == title)
    return {text(row[0]): tuple(text(value) for value in row[1:]) for row in found.rows}


def text(value: str | Value) -> str:
    return value.text if isinstance(value, Value) else value


def edited(old: str, new: str) -> Plan:
    assert old in SOUND
    return read_text(SOUND.replace(old, new), "plan.yaml")


# -- all of the plan is on it -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("path", EVERY, ids=lambda path: path.parent.name)
def test_every_camera_id_converter_and_step_of_a_scenario_is_on_its_sheet(path: Path) -> None:
    plan = read(path)
    document = made(plan)
    said = sections(printed(plan))
    labels = said["Labels"]
    for line in plan.lines:
        here = said[f"Line: {line.name}"]
        for place in line.order:
            assert place.name in here
    for camera in plan.cameras:
        assert f"ID {camera.bus_id} {camera.name}" in labels
        assert camera.serial == 0 or str(camera.serial) in labels
    for converter in plan.converters:
        assert converter.name in labels
        assert converter.host in said["Settings"]
    steps = " ".join(text for title, text in said.items() if title.startswith("Steps"))
    assert len(document.tasks) > 8 * sum(camera.present for camera in plan.cameras)
    for task in document.tasks:
        assert f"{task.number} {task.what} {task.look}".strip() in steps


def test_a_sheet_of_300_cameras_takes_less_than_two_seconds() -> None:
    plan = read_text(large())
    began = time.process_time()
    text = html(made(plan))
    assert time.process_time() - began < 2  # of the processor, since other tests run beside this one
    assert all(f"camera {number}<" in text for number in range(300))


def test_the_diagram_has_the_line_in_order_with_its_metres_gauges_ohms_ids_and_volts() -> None:
    root = printed(read(HALL), parts=["lines"])
    rope = root.findall(f".//{SVG}svg")[1]
    said = [(float(one.get("x", "")), words(one)) for one in rope.iter(f"{SVG}text")]
    boxes = [what for _, what in sorted(said) if re.match(r"ID|converter|120 ohm", what)]
    assert boxes == ["120 ohm", "ID 11", "ID 12", "converter", "ID 13", "ID 14", "120 ohm"]
    assert [what for _, what in sorted(said) if re.fullmatch(r"\d+ m", what)] == ["16 m", "7 m", "11 m", "22 m"]
    assert [what for _, what in sorted(said) if what.startswith("AWG")] == ["AWG 22", "AWG 22", "AWG 22", "AWG 24"]
    assert {"bias", "in: rope supply", "serial 4110", "rope wall"} <= {what for _, what in said}
    assert sum("V at rest" in what for _, what in said) == 5


def test_a_long_line_is_drawn_in_rows_and_no_two_words_of_a_row_stand_on_each_other() -> None:
    plan = read_text(large(1, 32))
    rows = printed(plan, parts=["lines"]).findall(f".//{SVG}svg")
    assert len(rows) >= 6
    shown = Counter(words(one) for row in rows for one in row.iter(f"{SVG}text"))
    assert [shown[f"ID {number}"] for number in range(2, 34)] == [1] * 32
    assert [shown[f"cable {number}"] for number in range(1, 33)] == [1] * 32
    for row in rows:
        boxes = sorted(_box(one) for one in row.iter(f"{SVG}text"))
        for number, (left, top, right, bottom) in enumerate(boxes):
            assert left > -1
            assert right < 187
            for other in boxes[number + 1 :]:
                apart = other[0] >= right or other[1] >= bottom or other[3] <= top
                assert apart, words(row)


def _box(one: ET.Element) -> tuple[float, float, float, float]:
    """The approximate place of a word: letters are half as wide as high."""
    size, x, y = (float(one.get(name, "")) for name in ("font-size", "x", "y"))
    wide = len(words(one)) * size * 0.5
    left = x - {"start": 0, "middle": wide / 2, "end": wide}[one.get("text-anchor", "start")]
    return left, y - size * 0.7, left + wide, y


def test_stubs_switches_and_cameras_that_are_not_there_show_in_the_diagram() -> None:
    text = SOUND.replace("serial: 4101,", "serial: 4101, present: false,").replace(
        "bus_id: 4, serial: 4103,", "bus_id: 4, serial: 4103, terminator: true,"
    )
    line = printed(read_text(text), parts=["lines"]).findall(f".//{SVG}svg")[0]
    said = [words(one) for one in line.iter(f"{SVG}text")]
    assert said.count("stub") == 2
    assert said.count("0.3 m") == 2
    assert "terminator ON" in said
    assert "NOT PRESENT" in said


# -- what is counted --------------------------------------------------------------------------------------------------


def test_the_bill_of_the_climbing_hall_is_as_one_counts_it_by_hand() -> None:
    document = made(read(HALL))
    # boulder 18 + 9 + 9 + 14, rope 16 + 7 + 11, speed 24; and 22 round the corner in the house's own cable
    cable = table(document, "Cable")
    assert cable["bus pair, AWG 22 with a supply pair of AWG 14"] == ("8", "108 m", "10%", "119 m")
    assert cable["bus pair, AWG 24 with a supply pair of AWG 14"] == ("1", "22 m", "10%", "25 m")
    stations = table(document, "Cameras, converters, panels")
    assert stations["camera, zoom-camera"][0] == "9"
    assert stations["converter with one port"][0] == "3"
    ends = table(document, "Terminators and bias")
    assert ends["terminator, 120 ohm"][0] == "6"
    assert ends["bias resistors, 2 x 560 ohm, 5 V"][0] == "3"
    assert set(table(document, "Fuses").items()) == {("fuse, 6.3 A", ("2",)), ("fuse, 2 A", ("1",))}
    assert list(table(document, "Spares")) == ["first spare", "second spare"]
    assert len(table(document, "Supplies")) == 6


def test_boxes_of_several_ports_stubs_supply_cables_and_built_in_switches_are_counted() -> None:
    text = (
        SOUND.replace("- name: boulder box\n", "- name: boulder box\n    box: rack\n    box_port: 1\n", 1)
        .replace("- name: speed box\n", "- name: speed box\n    box: rack\n    box_port: 2\n    bias: true\n", 1)
        .replace("bus_id: 4, serial: 4103,", "bus_id: 4, serial: 4103, terminator: true,")
    )
    document = made(read_text(text))
    stations = table(document, "Cameras, converters, panels")
    assert stations["converter with several ports, rack"] == ("1", "2 ports used: boulder box, speed box")
    assert "converter with one port" not in stations
    cable = table(document, "Cable")
    assert cable["stub, AWG 24"] == ("3", "0.9 m", "10%", "1 m")
    assert cable["supply cable, AWG 14"] == ("2", "5 m", "10%", "6 m")
    built_in = table(document, "Terminators and bias")["built in, switch on"]
    assert built_in == ("2", "boulder mats (120 ohm), speed box (bias)")


@given(st.lists(st.integers(0, 400), min_size=1, max_size=12))
@settings(max_examples=8, deadline=None)
def test_metres_in_the_bill_are_the_sum_of_the_pieces(lengths: list[int]) -> None:
    plan = json.loads(large(1, len(lengths)))
    cameras = [one for one in plan["lines"][0]["order"] if isinstance(one, dict) and "camera" in one]
    for one, length in zip(cameras, lengths, strict=True):
        one["after"] = f"{length} m"
    document = made(read_text(json.dumps(plan)))
    rows = next(one for one in document.bill if one.title == "Cable").rows
    assert [text(row[2]) for row in rows] == ([f"{sum(lengths)} m"] if sum(lengths) else [])


# -- where numbers come from ------------------------------------------------------------------------------------------


def test_every_number_of_every_table_says_where_it_comes_from() -> None:
    for path in EVERY:
        document = made(read(path))
        tables = [*document.settings, *document.bill]
        kinds = {value.kind for one in tables for row in one.rows for value in row if isinstance(value, Value)}
        assert kinds <= {PLANNED, ASSUMED, COMPUTED}
        assert {PLANNED, COMPUTED} <= kinds
        for one in tables:
            for row in one.rows:
                assert not [value for value in row if isinstance(value, str) and re.match(r"[\d.]+( \w{1,4})?$", value)]


def test_what_the_plan_is_silent_about_is_assumed_and_what_it_writes_is_planned() -> None:
    part = made(read_text(SOUND)).lines[0]
    facts = dict(part.facts)
    assert facts["baud"] == Value("38400 Bd", PLANNED)
    assert facts["bus pair"] == Value("AWG 24", ASSUMED)
    settings = dict(part.cards[0].facts)
    assert settings["clients at once"] == Value("4", PLANNED)  # `clients: {most: 4}`
    assert settings["wires"] == Value("2", ASSUMED)
    short = made(edited("    clients: {most: 4}\n  - name: speed box", "    clients: 4\n  - name: speed box"))
    assert dict(short.lines[0].cards[0].facts)["clients at once"] == Value("4", PLANNED)


def test_a_column_says_once_where_its_numbers_come_from_and_a_mixed_one_at_each() -> None:
    root = printed(read(HALL), parts=["bill"])
    supplies = next(one for one in root.iter(f"{X}table") if "feeds" in words(one))
    heads = [words(one) for one in supplies.iter(f"{X}th")]
    assert "voltage planned" in heads
    assert "limit" in heads
    cells = [words(one) for one in supplies.iter(f"{X}td")]
    assert "75 W planned" in cells
    assert "7 W assumed" in cells
    assert "15 V" in cells


def test_volts_of_a_supply_that_collapses_are_no_number() -> None:
    weak = edited("cable: {length: 2 m, gauge: AWG 14}", "cable: {length: 900 m, gauge: AWG 24}")
    stands = made(weak).lines[0].stands
    assert {stand.peak.text for stand in stands if stand.peak} == {"collapses"}


# -- findings and cautions --------------------------------------------------------------------------------------------


def test_a_plan_with_errors_is_printed_with_them_on_top() -> None:
    root = printed(edited("boulder right, bus_id: 3", "boulder right, bus_id: 2"), parts=["summary"])
    first = next(root.iter(f"{X}section"))
    assert [one.get("class") for one in first][:3] == [None, None, "alarm"]
    assert "This plan has 1 error." in words(first[2])
    assert "same-id-on-line" in words(first[2])
    assert "Do not build from this sheet" in words(first[2])


def test_a_sound_plan_has_no_alarm_and_every_sheet_has_the_cautions() -> None:
    root = printed(read_text(SOUND), parts=["summary"])
    assert not [one for one in root.iter() if one.get("class") == "alarm"]
    cautions = next(words(one) for one in root.iter() if one.get("class") == "cautions")
    for word in ("Supply power", "local code", "licensed", "Moving heads", "Rigging", "qualified"):
        assert word in cautions


def test_a_plan_that_cannot_be_rehearsed_has_no_steps_and_says_why() -> None:
    document = made(edited("boulder left, bus_id: 2,", "boulder left, bus_id: 2, model: no-such-model,"))
    assert document.tasks == ()
    assert "No steps: correct the plan first." in document.tasks_note
    assert document.tasks_note in words(ET.fromstring(html(document, parts=["steps"])))


def test_steps_written_in_a_plan_are_those_on_the_sheet() -> None:
    looked, plugged = "{do: look, text: the doors are shut}", "{do: connect, camera: boulder left}"
    steps = f"rehearsal:\n  steps:\n    - {looked}\n    - {plugged}\n"
    tasks = made(read_text(SOUND + steps)).tasks
    assert [(task.number, task.what, task.look) for task in tasks] == [
        (1, "Look", "the doors are shut"),
        (2, "Plug in boulder left", "supplies of this cable off, measured dead; no other new camera connected"),
    ]


# -- sound markup -----------------------------------------------------------------------------------------------------

HOSTILE = (
    "</title><script>alert(1)</script>",
    "\"'&amp;<b onload=x>",
    "]]> --> </style> \\ ; } @import url(x)",
    "</text></svg><img src=x>",
)


class _Tags(HTMLParser):
    """Tags in the order in which an HTML parser sees them, and the ones left open."""

    def __init__(self) -> None:
        super().__init__()
        self.seen: set[str] = set()
        self.open: list[str] = []
        self.addresses: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_startendtag(tag, attrs)
        self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.seen.add(tag)
        self.addresses += [f"{name}={value}" for name, value in attrs if name in ("src", "href", "style", "onload")]

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag


@pytest.mark.parametrize("hostile", HOSTILE)
def test_names_cannot_write_markup_of_their_own(hostile: str) -> None:
    plan = json.loads(large(1, 2))
    plan["name"] = hostile
    plan["lines"][0]["name"] = hostile
    plan["places"] = [{"name": hostile}]
    for one in (plan["cameras"][0], plan["lines"][0]["order"][2]):
        one["name" if "name" in one else "camera"] = hostile
    plan["cameras"][0]["place"] = hostile
    plan["panels"][0]["cameras"] = [hostile]
    text = html(made(read_text(json.dumps(plan))))
    root = ET.fromstring(text)
    assert hostile in words(root)
    parser = _Tags()
    parser.feed(text)
    assert not parser.seen & {"script", "img", "b", "link", "iframe", "object"}
    assert parser.addresses == []
    assert parser.open == []
    style = next(one.text for one in root.iter(f"{X}style"))
    assert "@import" not in (style or "")


@given(st.text(min_size=1, max_size=40))
@settings(max_examples=40, deadline=None)
def test_whatever_a_program_calls_things_the_sheet_is_sound(name: str) -> None:
    text = html(_named(name))
    text.encode("utf-8")
    ET.fromstring(text)


def _named(name: str) -> Document:
    """A sheet with this name for everything, also one that no plan file may have."""
    document = _sound()
    part = document.lines[0]
    stands = tuple(replace(stand, name=name, place=name, marks=(name,)) for stand in part.stands)
    labels = tuple(replace(label, name=name, large=name, lines=(name,)) for label in document.labels[:4])
    tasks = tuple(replace(task, what=name, line=name) for task in document.tasks[:3])
    parts = (replace(part, name=name, stands=stands),)
    return replace(document, name=name, date=name, lines=parts, labels=labels, tasks=tasks)


@cache
def _sound() -> Document:
    return made(read_text(SOUND))


def test_a_plan_that_a_program_made_has_a_sheet_with_steps_and_all_numbers_planned() -> None:
    document = made(replace(read_text(SOUND), source="", positions={}))
    assert dict(document.lines[0].facts)["bus pair"] == Value("AWG 24", PLANNED)
    assert len(document.tasks) == len(_sound().tasks)


def test_a_sheet_stands_alone_and_begins_as_html5_does() -> None:
    text = html(made(read(HALL)))
    assert text.startswith("<!DOCTYPE html>\n<html")
    assert is_sheet(text)
    assert not re.search(r"url\(|@import|@font-face|https?://(?!www\.w3\.org/(1999/xhtml|2000/svg)\")", text)
    parser = _Tags()
    parser.feed(text)
    assert parser.open == []


# -- readable without colour ------------------------------------------------------------------------------------------


def _luminance(colour: str) -> float:
    digits = colour[1:] if len(colour) == 7 else "".join(one * 2 for one in colour[1:])
    red, green, blue = (int(digits[at : at + 2], 16) / 255 for at in (0, 2, 4))
    parts = (one / 12.92 if one <= 0.04045 else ((one + 0.055) / 1.055) ** 2.4 for one in (red, green, blue))
    return sum(part * weight for part, weight in zip(parts, (0.2126, 0.7152, 0.0722), strict=True))


def test_nothing_has_a_colour_and_text_is_dark_enough_on_white() -> None:
    text = html(made(read(HALL)), parts=["summary", "lines", "labels"])
    style = text[text.index("<style>") : text.index("</style>")]
    used = {*re.findall(r"#[0-9a-fA-F]{6}\b|#[0-9a-fA-F]{3}\b", style), *re.findall(r'"(#[0-9a-fA-F]+)"', text)}
    assert used
    for colour in used:  # greys alone: the same in every channel
        digits = colour[1:] if len(colour) == 7 else "".join(one * 2 for one in colour[1:])
        assert digits[:2] == digits[2:4] == digits[4:]
    assert not re.search(r"\b(red|green|blue|yellow|orange|rgb|hsl|currentcolor)\b", style, re.IGNORECASE)
    letters = {"#000", *re.findall(r"(?<![-\w])color:\s*(#\w+)", style)}
    assert len(letters) > 1
    for colour in letters:
        assert 1.05 / (_luminance(colour) + 0.05) >= 7  # AAA: paper is read by a torch


# -- the command ------------------------------------------------------------------------------------------------------


def run(place: Path, *options: str, plan: str = SOUND) -> Result:
    (place / "plan.yaml").write_text(plan, encoding="utf-8")
    return CliRunner().invoke(app, ["sheet", str(place / "plan.yaml"), *options])


def test_the_command_says_what_it_wrote_and_writes_over_a_sheet(tmp_path: Path) -> None:
    out = tmp_path / "sheet.html"
    for _ in range(2):
        result = run(tmp_path, "-o", str(out), "--date", "rig day")
        assert result.exit_code == 0
        assert f"Wrote {out}: sound hall, plan " in flat(result.stdout)
    text = out.read_text(encoding="utf-8")
    assert "rig day" in text
    assert "size: A4 portrait" in text


def test_the_command_leaves_other_files_alone_unless_told(tmp_path: Path) -> None:
    out = tmp_path / "page.html"
    out.write_text("<!DOCTYPE html>\n<html>mine</html>", encoding="utf-8")
    result = run(tmp_path, "-o", str(out))
    assert isinstance(result.exception, UserError)
    assert "it is no sheet" in result.exception.what
    assert "mine" in out.read_text(encoding="utf-8")
    assert run(tmp_path, "-o", str(out), "--overwrite").exit_code == 0
    assert is_sheet(out.read_text(encoding="utf-8"))


def test_the_command_never_writes_over_the_plan_that_it_prints(tmp_path: Path) -> None:
    result = run(tmp_path, "-o", str(tmp_path / "plan.yaml"), "--overwrite")
    assert isinstance(result.exception, UserError)
    assert "cannot replace the file it is made from" in result.exception.what
    assert (tmp_path / "plan.yaml").read_text(encoding="utf-8") == SOUND


def test_the_command_prints_the_parts_and_the_paper_that_were_asked_for(tmp_path: Path) -> None:
    out = tmp_path / "labels.html"
    assert run(tmp_path, "-o", str(out), "--only", "labels", "--only", "steps", "--paper", "letter").exit_code == 0
    root = ET.fromstring(out.read_text(encoding="utf-8"))
    assert list(sections(root)) == ["Steps: boulder line", "Steps: speed line", "Labels"]
    assert "size: letter portrait" in words(root)


@pytest.mark.parametrize("option", [("--only", "everything"), ("--paper", "a0")])
def test_a_part_or_a_paper_that_there_is_not_is_told_with_those_there_are(
    tmp_path: Path, option: tuple[str, str]
) -> None:
    result = run(tmp_path, "-o", str(tmp_path / "x.html"), *option)
    assert isinstance(result.exception, UserError)
    assert (result.exception.field, result.exception.found) == (option[0], repr(option[1]))
    assert not (tmp_path / "x.html").exists()


def test_the_command_warns_of_a_plan_with_errors(tmp_path: Path) -> None:
    out = tmp_path / "sheet.html"
    result = run(tmp_path, "-o", str(out), plan=SOUND.replace("boulder right, bus_id: 3", "boulder right, bus_id: 2"))
    assert result.exit_code == 0
    assert "Caution: this plan has 1 error, " in result.stderr
    assert "busim check" in result.stderr


def test_a_place_that_cannot_be_written_is_the_user_s_to_mend(tmp_path: Path) -> None:
    result = run(tmp_path, "-o", str(tmp_path / "no" / "sheet.html"))
    assert isinstance(result.exception, UserError)
    assert "cannot be written" in result.exception.what


def test_the_digest_changes_with_the_plan_and_with_nothing_else() -> None:
    one, other = made(read_text(SOUND)), made(read_text(SOUND.replace("bus_id: 22", "bus_id: 23")))
    assert one.digest != other.digest
    assert one.digest == sheet(read_text(SOUND, "elsewhere.yaml"), version="9", date="x").digest
    assert html(one) == html(made(read_text(SOUND)))


# -- on paper ---------------------------------------------------------------------------------------------------------


def _pdf(place: Path, plan: Plan, paper: str) -> Path:
    page, pdf = place / "sheet.html", place / "sheet.pdf"
    page.write_text(html(made(plan), paper=paper), encoding="utf-8")
    subprocess.run(
        ["chromium", "--headless", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--no-pdf-header-footer",
         f"--user-data-dir={place / 'profile'}", f"--print-to-pdf={pdf}", page.as_uri()],
        check=True, capture_output=True, timeout=90,
    )  # fmt: skip
    return pdf


@pytest.mark.needs("chromium")
@pytest.mark.needs("pdftotext", package="poppler-utils")
@pytest.mark.parametrize(("paper", "points"), [("a4", (595, 842)), ("letter", (612, 792))])
def test_a_browser_prints_the_hall_on_the_paper_asked_for_with_a_page_for_each_line(
    tmp_path: Path, paper: str, points: tuple[int, int]
) -> None:
    plan = read(HALL)
    pdf = _pdf(tmp_path, plan, paper)
    size = re.search(rb"/MediaBox\s*\[\s*0 0 ([\d.]+) ([\d.]+)", pdf.read_bytes())
    assert size is not None
    assert (round(float(size[1])), round(float(size[2]))) == pytest.approx(points, abs=1)
    said = subprocess.run(["pdftotext", "-layout", str(pdf), "-"], check=True, capture_output=True, timeout=60)
    pages = said.stdout.decode().split("\f")[:-1]
    assert len(pages) <= 20
    for number, one in enumerate(pages, 1):
        assert "climbing hall" in one
        assert f"page {number} of {len(pages)}" in one
        assert len([text for text in one.splitlines() if text.strip()]) > 15, "nearly empty: a few rows spilt onto it"
    for line in plan.lines:
        page = next(one for one in pages if f"Line: {line.name}" in one)
        # the diagram is whole on that page, with each ID in it
        assert [place.name for place in line.order if place.kind == "camera" and not _on(page, plan, place.name)] == []
    whole = " ".join(" ".join(pages).split())
    assert all(str(camera.serial) in whole for camera in plan.cameras)


def _on(page: str, plan: Plan, name: str) -> bool:
    camera = next(one for one in plan.cameras if one.name == name)
    return f"ID {camera.bus_id}" in page and f"serial {camera.serial}" in page


def test_there_is_a_choice_for_every_paper_and_part_in_the_help() -> None:
    said = " ".join(CliRunner().invoke(app, ["sheet", "--help"]).output.replace("│", " ").split())
    assert all(word in said for word in (*PAPERS, *PARTS))


def test_a_table_leaves_out_a_column_in_which_nothing_stands() -> None:
    root = printed(edited(", stub: 0.3 m", ""))
    line = next(one for one in root.iter(f"{X}section") if "Positions in order" in words(one))
    heads = [words(one) for one in line.iter(f"{X}th")]
    assert not [head for head in heads if head.startswith("stub")]
