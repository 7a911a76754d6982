"""A plan as tables: one for each list of entries, one for the positions of its lines, one for the rest.

Beside them, for people: every setting of every converter, the cables with their numbers, and the bill of material.
Those tables begin with `info`, and reading them back passes them over.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from busim.analysis.check import Survey
from busim.commissioning.sheet import Card, Said, Value, bill, line_parts, loose_cards
from busim.commissioning.sheet import Table as Printed
from busim.commissioning.spreadsheets.cells import Cell, Table, guarded, to_cell
from busim.commissioning.spreadsheets.shapes_of import CABLES, PLAN, entries, is_text
from busim.foundation.yaml_source import parse
from busim.installation import outline
from busim.plan import STANDS, Plan, source_text

INFO = "info "


def tables_of(plan: Plan) -> tuple[Table, ...]:
    """The tables of a plan, with the values as they are written in it, and the tables to read.

    Raises UserError if the plan's data changed after it was read.
    """
    return (*_written(parse(source_text(plan), plan.path).value), *_to_read(plan))


def pages_of(plan: Plan) -> dict[str, str]:
    """The settings of each converter as text to type from, by the converter's name."""
    return {card.name: _page(card) for card in _cards(plan)}


# -- what is written --------------------------------------------------------------------------------------------


def _written(values: dict[str, Any]) -> Iterator[Table]:
    lists = [key for key in entries() if key in values]
    rest = [[key, to_cell(value, text=is_text(PLAN, key))] for key, value in values.items() if key not in lists]
    yield Table.made(PLAN, ["key", "value"], [list(row) for row in rest])
    for key in lists:
        given = values[key]
        if not isinstance(given, list):
            continue
        if key == "lines":
            yield _table(key, [{name: value for name, value in one.items() if name != "order"} for one in given])
            yield _table(CABLES, [_stand(line, stand) for line in given for stand in line.get("order") or ()])
        else:
            yield _table(key, given)


def _stand(line: dict[str, Any], stand: Any) -> dict[str, Any]:
    """A position with the name of its line in front, and its kind and name in columns of their own."""
    given = {stand: True} if isinstance(stand, str) else stand
    kind = next(kind for kind in STANDS if kind in given)
    name = {} if kind == "terminator" else {"name": given[kind]}
    return {"line": line.get("name"), "position": kind, **name, **{key: v for key, v in given.items() if key != kind}}


def _table(key: str, given: list[dict[str, Any]]) -> Table:
    flat = [dict(_flat(one, "")) for one in given]
    columns = list(dict.fromkeys(path for one in flat for path in one))
    rows: list[list[Cell]] = [
        [to_cell(one[path], text=is_text(key, path)) if path in one else None for path in columns] for one in flat
    ]
    return Table.made(key, columns or ["name"], rows)


def _flat(values: dict[str, Any], path: str) -> Iterator[tuple[str, Any]]:
    """Paths with dots, and their values; a key with a dot in its name keeps its mapping in one cell."""
    for key, value in values.items():
        inner = f"{path}.{key}" if path else str(key)
        if isinstance(value, dict) and value and not any("." in str(name) for name in value):
            yield from _flat(value, inner)
        else:
            yield inner, value


# -- to read ----------------------------------------------------------------------------------------------------


def _cards(plan: Plan) -> tuple[Card, ...]:
    survey = Survey(outline(plan))
    said = Said(survey.site)
    cards = [card for part in line_parts(survey, said) for card in part.cards]
    return (*cards, *loose_cards(survey, said, {card.name for card in cards}))


def _to_read(plan: Plan) -> Iterator[Table]:
    survey = Survey(outline(plan))
    said = Said(survey.site)
    rows: list[list[Cell]] = [
        [card.name, card.place, name, _text(value), value.kind if isinstance(value, Value) else None]
        for card in _cards(plan)
        for name, value in card.facts
    ]
    yield Table.made(f"{INFO}converters", ["converter", "place", "setting", "value", "origin"], _guarded(rows))
    cables: list[list[Cell]] = []
    for part in line_parts(survey, said):
        for stand in part.stands:
            if stand.cable is not None:
                one = stand.cable
                metres = one.metres.text if one.metres else "not planned"
                cables.append([one.number, part.name, one.start, one.end, metres, one.gauge.text])
    yield Table.made(f"{INFO}cables", ["cable", "line", "from", "to", "length", "gauge"], _guarded(cables))
    yield Table.made(f"{INFO}bill", ["table", "item", "values"], _guarded(_bill(bill(survey, said))))


def _bill(tables: tuple[Printed, ...]) -> list[list[Cell]]:
    rows: list[list[Cell]] = []
    for table in tables:
        for row in table.rows:
            pairs = zip(table.columns[1:], row[1:], strict=True)
            rest = "; ".join(f"{name}: {_text(value)}" for name, value in pairs if _text(value))
            rows.append([table.title, _text(row[0]), rest])
    return rows


def _guarded(rows: list[list[Cell]]) -> list[list[Cell]]:
    """Texts that no program runs, and empty cells where there is none: nobody reads these tables back."""
    return [[guarded(cell) or None if isinstance(cell, str) else cell for cell in row] for row in rows]


def _text(value: str | Value) -> str:
    return value.text if isinstance(value, Value) else value


def _page(card: Card) -> str:
    """One converter: setting and value on each line, with a box to tick."""
    wide = max((len(name) for name, _ in card.facts), default=0)
    head = f"Converter {card.name}" + (f", {card.place}" if card.place else "")
    lines = [f"[ ] {name:<{wide}}  {_text(value)}" for name, value in card.facts]
    caution = (
        "Caution: a converter in a show has a controller on it, and connecting may throw it off.\n"
        "Its supply and mains: the local code and a licensed electrician."
    )
    return "\n".join([head, "=" * len(head), *lines, "", caution, ""])
