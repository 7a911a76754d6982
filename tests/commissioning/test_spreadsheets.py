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
from busim.foundation.diagnostics import Findings
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


def test_a_missing_id_is_told_at_its_row_and_an_unknown_column_at_its_cell() -> None:
    rows: list[list[Any]] = [["name", "bus_id", "colour"], ["left", 2, "red"], ["right", None, None]]
    assert refused(book(lines=LINES, cables=CABLES, cameras=rows)) == {
        "cameras!C2": "unknown-key", "cameras!A3": "missing-key",
    }  # fmt: skip


def test_columns_are_matched_by_name_in_any_order_and_a_changed_spelling_is_told() -> None:
    rows: list[list[Any]] = [["Serial", "Bus ID", "name"], [4101, 2, "left"], [4102, 3, "right"]]
    done = plan_text(read_book(book(lines=LINES, cables=CABLES, cameras=rows), "hall.xlsx"), "hall")
    assert [camera.serial for camera in read_text(done.text).cameras] == [4101, 4102]
    assert "cameras!A1: column 'Serial' was read as `serial`" in done.told
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
