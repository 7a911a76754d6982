"""Tables as a plan. Every mistake is told at its cell; nothing is guessed without being told."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from busim.commissioning.spreadsheets.cells import Cell, Row, Table, at, to_value
from busim.commissioning.spreadsheets.exporting import INFO
from busim.commissioning.spreadsheets.in_table_words import in_table_words
from busim.commissioning.spreadsheets.shapes_of import CABLES, PLAN, entries, is_key, is_text, keys_of
from busim.foundation.diagnostics import Finding, Findings
from busim.foundation.errors import UserError
from busim.foundation.yaml_source import Declared, flow, nearest, parse, suggestion
from busim.plan import STANDS, Plan, Spelled, raised_fuses, read_text, rewrite, source_text

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

    Raises Findings for an entry that the plan has not, for two rows of one entry, for values that do not fit, and for
    a fuse that is raised without a reason.
    """
    book = _Book(tables)
    given = book.values()
    document = parse(source_text(plan), plan.path)
    changes: dict[str, str] = {}
    for key in [key for key in given if key in entries()]:
        there = document.value.get(key) or []
        index = {one.get("name"): number for number, one in enumerate(there) if isinstance(one, dict)}
        first: dict[Any, int] = {}
        for number, entry in enumerate(given[key]):
            before = first.setdefault(entry.get("name"), number)
            if before != number:
                book.wrong(
                    f"{key}[{number}].name", "row-twice", "another row is of this entry",
                    found=f"{entry.get('name')!r}, first at {book.cell(f'{key}[{before}].name')}",
                    expected="one row for each entry", mend="delete one of the two",
                )  # fmt: skip
                continue
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
    after = book.check(text, plan.path)
    for fuse in raised_fuses(plan, after):
        book.wrong(
            f"supplies[{fuse.number}].fuse", "fuse-raised", f"a larger fuse for {fuse.supply!r} needs a reason",
            found=fuse.text, expected="`fuse_reason`: why the cable bears it, and who answers for it",
            mend="have a licensed electrician decide it, then write the reason into a column `fuse_reason`",
            in_plan=True,
        )  # fmt: skip
    book.raise_wrong()
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
        self.heads: dict[str, dict[str, int]] = {}
        self.headless: set[tuple[str, int]] = set()
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
                if not table.rows:
                    self.told.append(f"table {table.name!r} has no rows: nothing of it was changed")

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
            if not is_key(PLAN, str(key)):
                self._add(table, at(table.name, row.number, 0), "unknown-key", "a plan has no such key",
                          found=repr(str(key)[:60]), expected=", ".join(keys_of(PLAN)),
                          mend=suggestion(str(key), keys_of(PLAN), "delete the row"))  # fmt: skip
                continue
            self.origin[str(key)] = at(table.name, row.number, 1)
            found[str(key)] = self._value(table, row.number, 1, value, PLAN, str(key))
        return found

    def _entries(self, key: str, table: Table) -> list[dict[str, Any]]:
        columns = self._columns(key, table)
        return [
            self._entry(f"{key}[{number}]", key, table, row, columns) for number, row in enumerate(table.rows)
        ]  # fmt: skip

    def _columns(self, key: str, table: Table) -> dict[int, str]:
        """Paths by column. Case and spaces of a head do not count, and that is told. Of a table without any known head
        no column is read: its heads are in another row."""
        paths = [head.strip().replace(" ", "_").lower() for head in table.columns]
        if table.rows and not any(path and is_key(key, path) for path in paths):
            self._add(table, at(table.name, 1, 0), "no-heads", "row 1 has no heads of this table",
                      found=repr(", ".join(filter(None, table.columns))[:60]), expected=", ".join(keys_of(key)),
                      mend="delete what stands above the heads, or write them into row 1")  # fmt: skip
            return {}
        found: dict[int, str] = {}
        other: list[str] = []
        for number, (head, path) in enumerate(zip(table.columns, paths, strict=True)):
            where = at(table.name, 1, number)
            if not path:
                if any(len(row.cells) > number and row.cells[number] is not None for row in table.rows):
                    self._add(table, where, "no-head", "a column with values has no head", found="an empty cell",
                              expected="the name of a key of the plan",
                              mend="write it, or delete the column")  # fmt: skip
            elif path in found.values():
                self._add(table, where, "column-twice", "two columns have this head", found=repr(head[:60]),
                          expected="each once", mend="delete one of the two")  # fmt: skip
            elif not is_key(key, path):
                known = keys_of(key)
                self._add(table, where, "unknown-column", "this table has no such column", found=repr(head[:60]),
                          expected=", ".join(known), mend=suggestion(path, known, "delete the column"))  # fmt: skip
            else:
                found[number] = path
                other += [f"{head!r} {'' if other else 'was read '}as `{path}`"] if path != head else []
        if other:
            self.told.append(f"{table.name}: {', '.join(other)}")
        self.heads[table.name] = dict(zip(found.values(), found, strict=True))
        return found

    def _entry(self, spot: str, key: str, table: Table, row: Row, columns: dict[int, str]) -> dict[str, Any]:
        entry: dict[str, Any] = {}
        self.origin[spot] = at(table.name, row.number, 0)
        self.origin |= {f"{spot}.{path}": at(table.name, row.number, number) for number, path in columns.items()}
        for number, cell in enumerate(row.cells):
            if cell is None:
                continue
            if number not in columns:
                if number >= len(table.columns) and columns and (table.name, number) not in self.headless:
                    self.headless.add((table.name, number))
                    where = at(table.name, row.number, number)
                    self._add(table, where, "no-head", "a value in a column without a head", found=str(cell)[:60],
                              expected="a head in row 1", mend="delete it, or write the head")  # fmt: skip
                continue
            path = columns[number]
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
        hidden = next((sign for sign in str(cell) if (sign < " " and sign not in "\t\r\n") or sign == "\x7f"), None)
        if hidden:
            self._add(table, at(table.name, row, column), "bad-cell", "a character that no plan can hold",
                      found=f"U+{ord(hidden):04X}", expected="characters that can be printed",
                      mend="write the cell again")  # fmt: skip
            return None
        try:
            return to_value(cell, text=is_text(key, path))
        except UserError as error:
            self._add(table, at(table.name, row, column), "bad-cell", error.what, found=error.found,
                      expected=error.expected, mend=error.mend)  # fmt: skip
            return None

    def _positions(self, values: dict[str, Any], table: Table) -> None:
        """The order of each line, in the order of the rows."""
        columns = self._columns(CABLES, table)
        lines: dict[Any, tuple[int, dict[str, Any]]] = {}
        for number, one in enumerate(values.get("lines") or ()):
            first, _ = lines.setdefault(one.get("name"), (number, one))
            if first != number:
                self.wrong(f"lines[{number}].name", "duplicate-name", "another line has this name",
                           found=f"{one.get('name')!r}, first at {self.cell(f'lines[{first}].name')}",
                           expected="a name of its own", mend="rename one of the two")  # fmt: skip
        if not lines and columns:
            self._add(table, at(table.name, 1, 0), "no-lines", "these positions are of no line",
                      found="no rows in a table `lines`", expected="a table `lines` with a row for each line",
                      mend="add that table")  # fmt: skip
            return
        astray: dict[Any, list[int]] = {}
        for row in table.rows if columns else ():
            given = self._entry("", CABLES, table, row, columns)
            where = at(table.name, row.number, 0)
            line, kind, name = (given.pop(key, None) for key in ("line", "position", "name"))
            if line not in lines:
                astray.setdefault(line, []).append(row.number)
                continue
            if kind not in STANDS:
                self._add(table, self.origin.get(".position", where), "no-such-position", "not a kind of position",
                          found=repr(kind)[:60], expected=", ".join(STANDS),
                          mend="write one of these into `position`")  # fmt: skip
                continue
            number, entry = lines[line]
            order = entry.setdefault("order", [])
            spot = f"lines[{number}].order[{len(order)}]"
            for path in [path for path in self.origin if path.startswith(".")]:
                key = path[1:]
                self.origin[f"{spot}.{kind if key == 'name' else key}"] = self.origin.pop(path)
            self.origin[spot] = where
            order.append({kind: True if kind == "terminator" else name, **given})
        self._astray(table, lines, astray)

    def _astray(self, table: Table, lines: Mapping[Any, Any], astray: Mapping[Any, list[int]]) -> None:
        """Positions of lines that are not there, once for each name: of a line declared twice they are no mistake."""
        if any(one.code == "duplicate-name" for one in self.findings):
            return
        column = self.heads.get(table.name, {}).get("line", 0)
        for line, rows in astray.items():
            known = [str(name) for name in lines]
            found = repr(line)[:60] if line is not None else "an empty cell"
            self._add(table, at(table.name, rows[0], column), "no-such-line", "there is no line of this name",
                      found=found if len(rows) == 1 else f"{found} in {len(rows)} rows",
                      expected=", ".join(map(repr, known))[:300],
                      mend=suggestion(str(line), known, "write the name as in the table `lines`"))  # fmt: skip

    # -- mistakes -----------------------------------------------------------------------------------------------

    def check(self, text: str, path: str) -> Plan:
        """The plan. Raises Findings with its mistakes at the cells that they come from."""
        try:
            return read_text(text, path or "plan.yaml")
        except Findings as error:
            cells = self._cells(parse(text, path))
            placed = [self._placed(one, cells) for one in error.findings]
            raise Findings({(one.code, one.field, one.what, one.found): one for one in placed}.values()) from None

    def _cells(self, document: Declared) -> dict[int, str]:
        """The cell of each line of the text that was made."""
        found: dict[int, str] = {}
        for path, (line, _) in document.positions.items():
            where = self.origin.get(self._as_given(path), "")
            if where:
                found[line] = where
        return found

    def _placed(self, one: Finding, cells: Mapping[int, str]) -> Finding:
        path = self._as_given(one.field or "")
        where = self.cell(path)
        if not where and self.moved:
            return one  # of the plan that was there, at its own place
        table = where.partition("!")[0]
        if one.code == "missing-key" and path not in self.origin:
            where = at(table, 1, 0)  # no row can have it
            key = (one.field or "").rpartition(".")[2]
            one = replace(one, found="no such column", mend=f"add a column `{key}`")
        placed = replace(one, file=self.files.get(table, "") or None, line=None, column=None, field=where or one.field)
        return in_table_words(placed, lambda line: cells.get(line, ""))

    def cell(self, path: str) -> str:
        """The cell of a field of the tables, or of what holds it."""
        while path and path not in self.origin:
            dot, bracket = path.rfind("."), path.rfind("[")
            path = path[: max(dot, bracket, 0)]
        return self.origin.get(path, "")

    def _as_given(self, path: str) -> str:
        return next((new + path[len(old) :] for old, new in self.moved.items() if path.startswith(old)), path)

    def wrong(
        self, path: str, code: str, what: str, *, found: str, expected: str, mend: str, in_plan: bool = False
    ) -> None:
        """A mistake at the cell of a field: of the tables, or with `in_plan` of the plan that was there."""
        where = self.cell(path if not in_plan else self._as_given(path))
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
