"""Plans and spreadsheets: an installation list as tables, and tables as a plan.

Public: `tables_of` (a plan as `Table`s, and tables to read beside them), `pages_of` (the settings of each converter as
text), `plan_text` (tables to the text of a plan), `merged` (tables into a plan that is there), `read_book` and
`write_book` (XLSX), `read_csv` and `write_csv`. Comments of a plan are not in a table, everything else is.

Open `exporting.py` first.
"""

from busim.commissioning.spreadsheets.cells import Cell, Column, Row, Table, at
from busim.commissioning.spreadsheets.csv_files import MOST_ROWS, read_csv, write_csv
from busim.commissioning.spreadsheets.exporting import INFO, pages_of, tables_of
from busim.commissioning.spreadsheets.importing import Imported, merged, plan_text
from busim.commissioning.spreadsheets.workbooks import is_book, read_book, write_book

__all__ = [
    "INFO",
    "MOST_ROWS",
    "Cell",
    "Column",
    "Imported",
    "Row",
    "Table",
    "at",
    "is_book",
    "merged",
    "pages_of",
    "plan_text",
    "read_book",
    "read_csv",
    "tables_of",
    "write_book",
    "write_csv",
]
