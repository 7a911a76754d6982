"""Plans as spreadsheets: nothing is lost both ways, and a value that does not fit is reported at its cell.

That a cell which begins with `=`, `+`, `-`, `@`, a tab or a carriage return can be run as a formula: OWASP, "CSV
Injection" (from memory). Workbooks are read back by pandas, an independent reader.
"""

from __future__ import annotations

from dataclasses import replace
from io import BytesIO
from pathlib import Path
from typing import Any

import openpyxl
import pandas
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from places import SCENARIOS

from busim.analysis.check import SOUND
from busim.cli import plan_export, plan_import
from busim.commissioning.spreadsheets import (
    INFO,
    MOST_ROWS,
    Table,
    merged,
    pages_of,
    plan_text,
    read_book,
    read_csv,
    tables_of,
    write_book,
    write_csv,
)
from busim.commissioning.spreadsheets.cells import bare, guarded, to_cell, to_value
from busim.foundation.diagnostics import Finding, Findings
from busim.foundation.errors import UserError
from busim.plan import Plan, read, read_text

EVERY = sorted(SCENARIOS.glob("*/plan.yaml"))
HALL = SCENARIOS / "climbing-hall" / "plan.yaml"


def said(plan: Plan) -> Plan:
    return replace(plan, source="", path="", files={}, positions={})


def book(**sheets: list[list[Any]]) -> bytes:
    made = openpyxl.Workbook()
    made.remove(made.active)
    for name, rows in sheets.items():
        sheet = made.create_sheet(name)
        for row in rows:
            sheet.append(row)
    data = BytesIO()
    made.save(data)
    return data.getvalue()


def refused(data: bytes) -> dict[str, str]:
    """Code by cell."""
    with pytest.raises(Findings) as caught:
        plan_text(read_book(data, "hall.xlsx"), "hall")
    assert all(one.file == "hall.xlsx" for one in caught.value.findings)
    return {one.field or "": one.code for one in caught.value.findings}


def wrongs(**sheets: list[list[Any]]) -> tuple[Finding, ...]:
    with pytest.raises(Findings) as caught:
        plan_text(read_book(book(**sheets), "hall.xlsx"), "hall")
    return caught.value.findings


def told(**sheets: list[list[Any]]) -> list[str]:
    """Cell and code of each mistake."""
    return [f"{one.field} {one.code}" for one in wrongs(**sheets)]


# -- there and back -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("path", EVERY, ids=lambda path: path.parent.name)
def test_a_plan_that_went_through_a_workbook_and_through_csv_is_the_same(path: Path) -> None:
    plan = read(path)
    tables = tables_of(plan)
    for back in (
        read_book(write_book(tables), "hall.xlsx"),
        [read_csv(write_csv(one).encode(), one.name, f"{one.name}.csv") for one in tables],
    ):
        again = read_text(plan_text(back, "hall", str(path)).text, str(path), plan.files)
        assert said(again) == said(plan)


@settings(max_examples=60)
@given(st.text(max_size=40) | st.integers(-99999, 99999) | st.booleans() | st.lists(st.text(max_size=8), max_size=3))
def test_every_value_comes_back_from_its_cell_and_none_is_run_as_a_formula(value: Any) -> None:
    text = isinstance(value, str)
    cell = to_cell(value, text=text)
    if isinstance(cell, str):
        assert not cell.startswith(("=", "+", "-", "@", "\t", "\r"))
    try:
        assert to_value(cell, text=text) == value
    except UserError:  # control characters, which no plan can hold either
        assert text or isinstance(value, list)


@pytest.mark.parametrize("text", ["=1+1", "+4 dB", "-3 m", "@home", "\tx", "\rx", "'quoted", "''twice"])
def test_a_text_that_could_be_a_formula_gets_an_apostrophe_and_loses_it_again(text: str) -> None:
    assert guarded(text) == "'" + text
    assert bare(guarded(text)) == text


def test_a_name_that_looks_like_a_formula_is_text_in_the_workbook_and_in_the_plan() -> None:
    plan = read_text(SOUND.replace("name: sound hall", 'name: "=HYPERLINK(1)"'))
    data = write_book(tables_of(plan))
    assert openpyxl.load_workbook(BytesIO(data))["plan"]["B2"].data_type != "f"
    assert read_text(plan_text(read_book(data, "x.xlsx"), "x").text).name == "=HYPERLINK(1)"


def test_pandas_reads_the_cameras_the_cables_and_the_bill() -> None:
    plan = read(HALL)
    sheets = pandas.read_excel(BytesIO(write_book(tables_of(plan))), sheet_name=None)
    cameras = sheets["cameras"]
    assert list(cameras["name"]) == [camera.name for camera in plan.cameras]
    assert list(cameras["serial"]) == [camera.serial for camera in plan.cameras]
    assert list(sheets["info cables"]["cable"]) == list(range(1, len(sheets["info cables"]) + 1))
    assert {"packet after silence of", "clients at once", "gateway"} <= set(sheets["info converters"]["setting"])
    assert any("camera, zoom-camera" in str(item) for item in sheets["info bill"]["item"])
    assert not any('"' in str(origin) for origin in sheets["info converters"]["origin"])


def test_each_converter_has_a_page_of_text_with_every_setting_to_type() -> None:
    pages = pages_of(read(HALL))
    assert set(pages) == {converter.name for converter in read(HALL).converters}
    assert "[ ] address" in pages["boulder box"]
    assert "198.51.100" in pages["boulder box"]
    assert "licensed electrician" in pages["boulder box"]


# -- what does not fit ----------------------------------------------------------------------------------------------

LINES: list[list[Any]] = [["name", "baud", "format", "protocol"], ["wall", "38400 Bd", "8E1", "modbus-rtu"]]
CABLES: list[list[Any]] = [["line", "position", "name"], ["wall", "camera", "left"], ["wall", "camera", "right"]]


def cameras(*rows: list[Any]) -> list[list[Any]]:
    return [["name", "bus_id", "serial"], *rows]


def test_bad_values_are_told_at_their_cells() -> None:
    rows = cameras(["left", "one", 4101], ["right", 3, "SN-1"])
    assert refused(book(lines=LINES, cables=CABLES, cameras=rows)) == {
        "cameras!B2": "wrong-kind", "cameras!C3": "wrong-kind",
    }  # fmt: skip


def test_a_missing_id_is_told_at_its_cell_and_an_unknown_column_once_at_its_head() -> None:
    rows: list[list[Any]] = [["name", "bus_id"], ["left", 2], ["right", None]]
    assert refused(book(lines=LINES, cables=CABLES, cameras=rows)) == {"cameras!B3": "missing-key"}
    rows = [["name", "bus_id", "colour"], ["left", 2, "red"], ["right", 3, "green"]]
    assert refused(book(lines=LINES, cables=CABLES, cameras=rows)) == {"cameras!C1": "unknown-column"}


def test_a_column_that_is_needed_and_missing_is_told_once() -> None:
    rows: list[list[Any]] = [["name", "serial"], ["left", 4101], ["right", 4102]]
    assert told(lines=LINES, cables=CABLES, cameras=rows) == ["cameras!A1 missing-key"]


def test_a_title_above_the_heads_is_one_mistake() -> None:
    rows: list[list[Any]] = [["Cameras of the hall"], ["name", "bus_id"], ["left", 2], ["right", 3]]
    assert told(lines=LINES, cables=CABLES, cameras=rows) == ["cameras!A1 no-heads"]


def test_a_value_inside_a_list_is_told_at_the_cell_of_the_list() -> None:
    panels = [["name", "master", "cameras", "controls"], ["desk", "pc", "[left, rihgt]", "[iris]"]]
    masters = [["name", "on", "groups"], ["pc", "[wall]", "[{name: fast, values: [iris], every: 500}]"]]
    given = cameras(["left", 2, 1], ["right", 3, 2])
    cables = [*CABLES, ["wall", "master", "pc"]]
    assert told(lines=LINES, cables=cables, cameras=given, masters=masters, panels=panels) == [
        "masters!C2 bad-value", "panels!C2 no-such-camera",
    ]  # fmt: skip


def test_two_mistakes_in_one_cell_are_both_told() -> None:
    panels = [["name", "master", "cameras", "controls"], ["desk", "pc", "[lfet, rihgt]", "[iris]"]]
    masters = [["name", "on"], ["pc", "[wall]"]]
    cables = [*CABLES, ["wall", "master", "pc"]]
    found = wrongs(
        lines=LINES, cables=cables, cameras=cameras(["left", 2, 1], ["right", 3, 2]), masters=masters, panels=panels
    )
    assert [one.found for one in found] == ["'lfet'", "'rihgt'"]


def test_a_line_declared_twice_is_one_mistake_and_its_positions_are_none() -> None:
    lines = [LINES[0], LINES[1], LINES[1]]
    roof = [["roof", "camera", "right"]] * 3
    assert told(lines=lines, cables=[*CABLES, *roof], cameras=cameras(["left", 2, 1])) == ["lines!A3 duplicate-name"]


def test_positions_without_lines_and_of_one_misspelt_line_are_one_mistake_each() -> None:
    given = cameras(["left", 2, 1], ["right", 3, 2])
    assert told(cables=CABLES, cameras=given) == ["cables!A1 no-lines"]
    wrong = [CABLES[0], ["wal", "camera", "left"], ["wal", "camera", "right"]]
    found = wrongs(lines=LINES, cables=wrong, cameras=given)
    assert [(one.field, one.code) for one in found] == [("cables!A2", "no-such-line")]
    assert "2 rows" in (found[0].found or "")


def test_other_places_in_a_message_are_cells_too() -> None:
    twice = wrongs(lines=LINES, cables=CABLES, cameras=cameras(["left", 2, 1], ["left", 3, 2]))
    assert [(one.field, one.code) for one in twice] == [("cameras!A3", "duplicate-name")]
    assert "first at cameras!A2" in (twice[0].found or "")
    assert "cables!C3 names 'right'" in (twice[0].mend or "")


@pytest.mark.parametrize(
    ("rows", "mend"),
    [
        (cameras(["left", 2, 1], ["right", 3, 2], ["far", 4, 3]), "add a row to the table `cables`"),
        (cameras(["left", 2, 1], ["right", "x", 2]), "write its bus ID as found on site into this cell"),
        (cameras(["left", 2, 1], ["right", None, 2]), "write its bus ID as found on site into this cell"),
    ],
)
def test_what_to_do_is_said_in_the_words_of_a_table(rows: list[list[Any]], mend: str) -> None:
    assert mend in (wrongs(lines=LINES, cables=CABLES, cameras=rows)[0].mend or "")


def test_an_open_bracket_is_told_with_what_to_close() -> None:
    found = wrongs(lines=LINES, cables=CABLES, cameras=[["name", "bus_id", "measured"], ["left", 2, "{reads: 3"]])
    assert found[0].field == "cameras!C2"
    assert "close every bracket" in (found[0].mend or "")


def test_a_character_that_no_plan_can_hold_is_told_at_its_cell() -> None:
    table = read_csv(b"name;firmware\nboulder right;2\x00\n", "cameras", "cameras.csv")
    with pytest.raises(Findings) as caught:
        merged(read_text(SOUND), [table])
    assert caught.value.findings[0].field == "cameras!B2"


def test_a_formula_in_csv_is_refused_as_one_in_a_workbook_and_an_array_formula_is_shown() -> None:
    with pytest.raises(Findings) as caught:
        read_csv(b"name,firmware\nleft,=2+2\n", "cameras", "cameras.csv")
    assert (caught.value.findings[0].field, caught.value.findings[0].code) == ("cameras!B2", "formula")
    made = openpyxl.Workbook()
    made.active["A2"] = openpyxl.worksheet.formula.ArrayFormula("A2", "=SUM(B2:B3)")
    data = BytesIO()
    made.save(data)
    with pytest.raises(Findings) as shown:
        read_book(data.getvalue(), "hall.xlsx")
    assert shown.value.findings[0].found == "=SUM(B2:B3)"


def test_columns_are_matched_by_name_in_any_order_and_a_changed_spelling_is_told() -> None:
    rows: list[list[Any]] = [["Serial", "Bus ID", "name"], [4101, 2, "left"], [4102, 3, "right"]]
    done = plan_text(read_book(book(lines=LINES, cables=CABLES, cameras=rows), "hall.xlsx"), "hall")
    assert [camera.serial for camera in read_text(done.text).cameras] == [4101, 4102]
    assert "cameras: 'Serial' was read as `serial`, 'Bus ID' as `bus_id`" in done.told
    assert any("do not name the installation" in text for text in done.told)


def test_a_formula_is_never_run_and_merged_cells_and_dates_are_refused() -> None:
    from datetime import date

    rows = cameras(["left", "=1+1", 4101], ["right", 3, date(2030, 1, 2)])
    data = book(lines=LINES, cables=CABLES, cameras=rows)
    made = openpyxl.load_workbook(BytesIO(data))
    made["lines"].merge_cells("A2:B2")
    again = BytesIO()
    made.save(again)
    found = refused(again.getvalue())
    assert found["cameras!B2"] == "formula"
    assert found["cameras!C3"] == "date"
    assert found["lines!A2"] == "merged-cells"


def test_an_unknown_sheet_and_a_line_that_is_not_there_are_told() -> None:
    wrong = [*CABLES[:2], ["roof", "camera", "right"]]
    found = refused(book(lines=LINES, cables=wrong, cameras=cameras(["left", 2, 1], ["right", 3, 2]), camers=[["x"]]))
    assert found["cables!A3"] == "no-such-line"
    assert found["camers!A1"] == "no-such-table"


@pytest.mark.parametrize("data", [b"", b"PK\x03\x04rubbish", b"name,id\n", bytes(1000)])
def test_what_is_no_workbook_is_the_users_to_mend(data: bytes) -> None:
    with pytest.raises(UserError, match="XLSX"):
        read_book(data, "hall.xlsx")


@pytest.mark.parametrize("data", ["name,id\nleft,2\n".encode("utf-16"), b"name,id\nl\xe4ft,2\n"])
def test_another_encoding_than_utf_8_is_told_and_not_guessed(data: bytes) -> None:
    with pytest.raises(UserError, match="UTF-8"):
        read_csv(data, "cameras", "cameras.csv")


@pytest.mark.parametrize("mark", [",", ";", "\t"])
def test_csv_with_a_byte_order_mark_and_any_usual_separator_is_read(mark: str) -> None:
    text = f"\ufeffname{mark}id\nleft{mark}2\n"
    assert read_csv(text.encode(), "cameras", "cameras.csv").columns == ("name", "id")


def test_a_hundred_thousand_rows_are_refused_before_they_are_kept() -> None:
    with pytest.raises(UserError, match="too many rows"):
        read_csv(b"name\n" + b"x\n" * 100_000, "cameras", "cameras.csv")
    with pytest.raises(UserError, match="too many rows"):
        read_book(write_book([Table.made("cameras", ["name"], [["x"]] * (MOST_ROWS + 1))]), "hall.xlsx")


# -- into a plan that is there ----------------------------------------------------------------------------------------


def test_values_go_into_a_plan_by_name_and_its_comments_stay() -> None:
    plan = read_text(SOUND.replace("cameras:\n", "cameras: # five of them\n", 1), "plan.yaml")
    table = read_csv(b"name;bus_id;serial\nboulder right;9;4102\n", "cameras", "cameras.csv")
    done = merged(plan, [table])
    again = read_text(done.text)
    assert "# five of them" in done.text
    assert [camera.bus_id for camera in again.cameras] == [2, 9, 4, 21, 22]
    assert any("9 (was 3)" in text for text in done.told)


def test_two_rows_for_one_entry_are_refused_and_a_table_without_rows_is_told() -> None:
    with pytest.raises(Findings) as caught:
        merged(read_text(SOUND), [read_csv(b"name;bus_id\nboulder right;9\nboulder right;8\n", "cameras", "c.csv")])
    assert caught.value.findings[0].field == "cameras!A3"
    done = merged(read_text(SOUND), [read_csv(b"name;bus_id\n", "cameras", "c.csv")])
    assert done.told == ["table 'cameras' has no rows: nothing of it was changed"]


def test_no_table_raises_a_fuse_without_a_reason_and_an_old_reason_is_none() -> None:
    plan = read_text(SOUND)
    name, fuse = plan.supplies[0].name, plan.supplies[0].fuse
    assert fuse is not None

    def raised(to: str, reason: str) -> str:
        table = f"name;fuse;fuse_reason\n{name};{to};{reason}\n"
        return merged(read_text(text), [read_csv(table.encode(), "supplies", "supplies.csv")]).text

    text = SOUND
    with pytest.raises(Findings, match="needs a reason") as caught:
        raised("20 A", "")
    assert caught.value.findings[0].field == "supplies!B2"
    text = raised("20 A", "AWG 10 since March")
    with pytest.raises(Findings, match="needs a reason"):
        raised("25 A", "")
    assert "AWG 8 since May" in raised("25 A", "AWG 8 since May")


def test_a_camera_that_the_plan_has_not_is_told_at_its_cell() -> None:
    table = read_csv(b"name;bus_id\nboulder rihgt;9\n", "cameras", "cameras.csv")
    with pytest.raises(Findings) as caught:
        merged(read_text(SOUND), [table])
    assert caught.value.findings[0].field == "cameras!A2"


def test_the_commands_write_a_workbook_a_folder_and_the_plan_again(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    plan_export.command(str(HALL), str(tmp_path / "hall.xlsx"))
    plan_export.command(str(HALL), str(tmp_path / "tables"))
    names = {path.name for path in (tmp_path / "tables").iterdir()}
    assert {"cameras.csv", "cables.csv", f"{INFO}bill.csv", "converter boulder box.txt"} <= names
    plan_import.command([str(tmp_path / "hall.xlsx")], str(tmp_path / "again.yaml"))
    parts = [str(path) for path in sorted((tmp_path / "tables").glob("*.csv"))]
    plan_import.command(parts, str(tmp_path / "from csv.yaml"))
    for name in ("again.yaml", "from csv.yaml"):
        assert said(read(tmp_path / name)) == said(read(HALL))
    assert "busim check" in capsys.readouterr().out
