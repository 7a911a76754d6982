"""Tables as a plan. Every mistake is told at its cell; nothing is guessed without being told."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from busim.commissioning.spreadsheets.cells import Cell, Row, Table, at, to_value
from busim.commissioning.spreadsheets.exporting import INFO
from busim.commissioning.spreadsheets.shapes_of import CABLES, PLAN, entries, is_text
from busim.foundation.diagnostics import Finding, Findings
from busim.foundation.errors import UserError
from busim.foundation.yaml_source import flow, nearest, parse
from busim.plan import STANDS, Plan, Spelled, read_text, rewrite, source_text

_MOST = 200  # findings


@dataclass
class Imported:
    """The text of a plan, and what was done to get it (`told`: columns and tables that were passed over or renamed)."""

    text: str
    told: list[str] = field(default_factory=list)


def plan_text(tables: Iterable[Table], name: str, path: str = "") -> Imported:
    """The plan that the tables are. `name`: used, and told, where they have none.

    Raises Findings with every mistake at its cell.
    """
    book = _Book(tables)
    values = book.values()
    if "busim" not in values:
        values = {"busim": 1, **values}
        book.told.append("the tables name no version of the plan format: 1 was written")
    if "name" not in values:
        values = {"busim": values.pop("busim"), "name": name, **values}
        book.told.append(f"the tables do not name the installation: {name!r} was written")
    text = Spelled(values, {}).yaml()
    book.check(text, path)
    return Imported(text, book.told)


def merged(plan: Plan, tables: Iterable[Table]) -> Imported:
    """The plan with the values of the tables, entry by entry by its name; comments and everything else stay.

    Raises Findings for an entry that the plan has not, and for values that do not fit.
    """
    book = _Book(tables)
    given = book.values()
    document = parse(source_text(plan), plan.path)
    changes: dict[str, str] = {}
    for key in [key for key in given if key in entries()]:
        there = document.value.get(key) or []
        index = {one.get("name"): number for number, one in enumerate(there) if isinstance(one, dict)}
        for number, entry in enumerate(given[key]):
            if entry.get("name") not in index:
                book.wrong(
                    f"{key}[{number}].name", "no-such-entry", f"the plan has no entry of this name under `{key}`",
                    found=repr(entry.get("name")), expected=", ".join(map(repr, list(index)[:12])) or "none is there",
                    mend="add it to the plan first, with its place on a line",
                )  # fmt: skip
                continue
            spot = f"{key}[{index[entry.get('name')]}]"
            book.moved[spot] = f"{key}[{number}]"
            changes.update(_differences(spot, there[index[entry.get("name")]], entry))
    if CABLES in book.seen:
        book.told.append(f"table {CABLES!r} was passed over: positions of a plan are changed in the plan")
    book.raise_wrong()
    text, told = rewrite(document, changes) if changes else (source_text(plan), [])
    book.check(text, plan.path)
    return Imported(text, [*book.told, *told])


def _differences(path: str, there: Mapping[str, Any], given: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    for key, value in given.items():
        was = there.get(key)
        if isinstance(value, dict) and isinstance(was, dict):
            yield from _differences(f"{path}.{key}", was, value)
        elif was != value:
            yield f"{path}.{key}", flow(value)


class _Book:
    """Tables on their way into a plan. `origin`: field path of the tables to its cell; `moved`:
    entry of a plan that was there to that of the tables."""

    def __init__(self, tables: Iterable[Table]) -> None:
        self.told: list[str] = []
        self.origin: dict[str, str] = {}
        self.moved: dict[str, str] = {}
        self.findings: list[Finding] = []
        self.files: dict[str, str] = {}
        self.seen: dict[str, Table] = {}
        known = (PLAN, *entries(), CABLES)
        for table in tables:
            name = table.name.strip().lower()
            self.files[table.name] = table.file
            if name.startswith(INFO):
                self.told.append(f"table {table.name!r} was passed over: it is there to be read")
            elif name not in known:
                self._add(table, at(table.name, 1, 0), "no-such-table", "a plan has no such table",
                          found=repr(table.name[:60]), expected=", ".join(known),
                          mend=f"call it {nearest(name, list(known)) or 'cameras'!r}, or leave it out")  # fmt: skip
            elif name in self.seen:
                self._add(table, at(table.name, 1, 0), "table-twice", "this table is there twice",
                          found=repr(table.name[:60]), expected="each once", mend="leave one out")  # fmt: skip
            else:
                self.seen[name] = table

    # -- values -----------------------------------------------------------------------------------------------

    def values(self) -> dict[str, Any]:
        """The values of a plan file. Raises Findings."""
        values: dict[str, Any] = {}
        if PLAN in self.seen:
            values.update(self._plan(self.seen[PLAN]))
        for key in entries():
            if key in self.seen:
                values[key] = self._entries(key, self.seen[key])
        if CABLES in self.seen:
            self._positions(values, self.seen[CABLES])
        self.raise_wrong()
        return values

    def _plan(self, table: Table) -> dict[str, Any]:
        found: dict[str, Any] = {}
        for row in table.rows:
            key, value = (*row.cells, None, None)[:2]
            self.origin[str(key)] = at(table.name, row.number, 1)
            found[str(key)] = self._value(table, row.number, 1, value, PLAN, str(key))
        return found

    def _entries(self, key: str, table: Table) -> list[dict[str, Any]]:
        columns = self._columns(table)
        return [
            self._entry(f"{key}[{number}]", key, table, row, columns) for number, row in enumerate(table.rows)
        ]  # fmt: skip

    def _columns(self, table: Table) -> dict[int, str]:
        """Paths by column. Case and spaces of a head do not count, and that is told."""
        found: dict[int, str] = {}
        for number, head in enumerate(table.columns):
            path = head.strip().replace(" ", "_").lower()
            if not path:
                if any(len(row.cells) > number and row.cells[number] is not None for row in table.rows):
                    self._add(table, at(table.name, 1, number), "no-head", "a column with values has no head",
                              found="an empty cell", expected="the name of a key of the plan",
                              mend="write it, or delete the column")  # fmt: skip
                continue
            if path in found.values():
                self._add(table, at(table.name, 1, number), "column-twice", "two columns have this head",
                          found=repr(head[:60]), expected="each once", mend="delete one of the two")  # fmt: skip
                continue
            if path != head:
                self.told.append(f"{at(table.name, 1, number)}: column {head!r} was read as `{path}`")
            found[number] = path
        return found

    def _entry(self, spot: str, key: str, table: Table, row: Row, columns: dict[int, str]) -> dict[str, Any]:
        entry: dict[str, Any] = {}
        self.origin[spot] = at(table.name, row.number, 0)
        for number, cell in enumerate(row.cells):
            if cell is None:
                continue
            if number not in columns:
                if number >= len(table.columns):
                    where = at(table.name, row.number, number)
                    self._add(table, where, "no-head", "a value in a column without a head", found=str(cell)[:60],
                              expected="a head in row 1", mend="delete it, or write the head")  # fmt: skip
                continue
            path = columns[number]
            self.origin[f"{spot}.{path}"] = at(table.name, row.number, number)
            value = self._value(table, row.number, number, cell, key, path)
            *outer, last = path.split(".")
            inside = entry
            for part in outer:
                inside = inside.setdefault(part, {})
                if not isinstance(inside, dict):
                    self._add(table, at(table.name, row.number, number), "column-twice",
                              f"`{path}` and `{part}` are both written", found=str(cell)[:60],
                              expected="one of the two", mend="empty one of the two cells")  # fmt: skip
                    return entry
            inside[last] = value
        return entry

    def _value(self, table: Table, row: int, column: int, cell: Cell, key: str, path: str) -> Any:
        try:
            return to_value(cell, text=is_text(key, path))
        except UserError as error:
            self._add(table, at(table.name, row, column), "bad-cell", error.what, found=error.found,
                      expected=error.expected, mend=error.mend)  # fmt: skip
            return None

    def _positions(self, values: dict[str, Any], table: Table) -> None:
        """The order of each line, in the order of the rows."""
        columns = self._columns(table)
        lines = {one.get("name"): (number, one) for number, one in enumerate(values.get("lines") or ())}
        for row in table.rows:
            given = self._entry("", CABLES, table, row, columns)
            where = at(table.name, row.number, 0)
            line, kind, name = (given.pop(key, None) for key in ("line", "position", "name"))
            if line not in lines:
                self._add(table, where, "no-such-line", "there is no line of this name", found=repr(line)[:60],
                          expected=", ".join(map(repr, lines))[:300] or "a table `lines`",
                          mend="write the name as in the table `lines`")  # fmt: skip
                continue
            if kind not in STANDS:
                self._add(table, where, "no-such-position", "not a kind of position", found=repr(kind)[:60],
                          expected=", ".join(STANDS), mend="write one of these into `position`")  # fmt: skip
                continue
            number, entry = lines[line]
            order = entry.setdefault("order", [])
            spot = f"lines[{number}].order[{len(order)}]"
            for path in [path for path in self.origin if path.startswith(".")]:
                key = path[1:]
                self.origin[f"{spot}.{kind if key == 'name' else key}"] = self.origin.pop(path)
            self.origin[spot] = where
            order.append({kind: True if kind == "terminator" else name, **given})

    # -- mistakes -----------------------------------------------------------------------------------------------

    def check(self, text: str, path: str) -> None:
        """Raises Findings with the plan's mistakes at the cells that they come from."""
        try:
            read_text(text, path or "plan.yaml")
        except Findings as error:
            raise Findings([self._placed(one) for one in error.findings]) from None

    def _placed(self, one: Finding) -> Finding:
        where = self._cell(one.field or "")
        if not where and self.moved:
            return one  # of the plan that was there, at its own place
        table = where.partition("!")[0]
        return replace(one, file=self.files.get(table, "") or None, line=None, column=None, field=where or one.field)

    def _cell(self, path: str) -> str:
        """The cell of a field, or of what holds it."""
        path = self._as_given(path)
        while path and path not in self.origin:
            path = path.rpartition(".")[0] if "." in path else ""
        return self.origin.get(path, "")

    def _as_given(self, path: str) -> str:
        return next((new + path[len(old) :] for old, new in self.moved.items() if path.startswith(old)), path)

    def wrong(self, path: str, code: str, what: str, *, found: str, expected: str, mend: str) -> None:
        """A mistake at the cell of a field."""
        where = self._cell(path)
        file = self.files.get(where.partition("!")[0])
        self.findings.append(
            Finding("error", code, what, file=file or None, field=where, found=found, expected=expected, mend=mend)
        )

    def _add(
        self, table: Table, where: str, code: str, what: str, *, found: str | None, expected: str | None,
        mend: str | None,
    ) -> None:  # fmt: skip
        file = table.file or None
        self.findings.append(
            Finding("error", code, what, file=file, field=where, found=found, expected=expected, mend=mend)
        )

    def raise_wrong(self) -> None:
        """Raises Findings if there are any."""
        if self.findings:
            raise Findings(self.findings[:_MOST])
