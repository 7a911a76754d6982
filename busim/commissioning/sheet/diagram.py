"""The wiring of a line as SVG, one picture for each row of positions, so that a page break falls between rows.

One unit is one millimetre on A4. Shapes and words show the kind of a station, never colours. A camera is a box with
round corners and its ID, a converter has a thick edge, a master on the line a broken edge. A terminator is a box with
its ohms. A station in the chain sits on the pair; a station on a stub hangs below it. A broken line below the pair is
the supply pair, where a supply is injected into the line.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from markupsafe import Markup

from busim.commissioning.sheet.markup import marked
from busim.commissioning.sheet.model import LinePart, Stand
from busim.foundation.markup import el, void

WIDTH = 186.0
_LEAD = 7.5  # margin at both ends of a continued row
_CELL, _BOX, _HIGH = 28.5, 15.0, 9.0
_END_CELL, _END_BOX = 19.0, 13.0
_TEXT = 3.0
_SMALL = 2.5
_SUPPLY = 2.1  # the supply pair below the data pair
_STUB = 12.0  # drop of a station on a stub
_UNDER = 4.4  # gap below a station, to clear the text under the cable
_MOST_LINES = 3


@dataclass(frozen=True, slots=True)
class _Placed:
    """A position in its row. `left`, `right`: x where the pair meets it; `middle` between them."""

    stand: Stand
    left: float
    right: float

    @property
    def middle(self) -> float:
        return (self.left + self.right) / 2


def diagrams(part: LinePart) -> tuple[Markup, ...]:
    """A picture for each row."""
    rows = list(_rows(part.stands))
    return tuple(_row(row, number > 0, number < len(rows) - 1, part.name) for number, row in enumerate(rows))


def _rows(stands: Sequence[Stand]) -> Iterator[list[_Placed]]:
    if sum(_size(stand)[0] for stand in stands) <= WIDTH:
        yield _placed(stands, 0.0)
        return
    for row in _wrapped(stands):
        yield _placed(row, _LEAD)


def _wrapped(stands: Sequence[Stand]) -> list[list[Stand]]:
    rows: list[list[Stand]] = [[]]
    x = 0.0
    for stand in stands:
        x += _size(stand)[0]
        if x > WIDTH - 2 * _LEAD:
            rows.append([])
            x = _size(stand)[0]
        rows[-1].append(stand)
    if rows[-1][0].kind == "terminator":  # keep a terminator together with its neighbour
        rows[-1].insert(0, rows[-2].pop())
    return rows


def _placed(stands: Sequence[Stand], x: float) -> list[_Placed]:
    found = []
    for stand in stands:
        cell, box = _size(stand)
        found.append(_Placed(stand, x + (cell - box) / 2, x + (cell + box) / 2))
        x += cell
    return found


def _size(stand: Stand) -> tuple[float, float]:
    return (_END_CELL, _END_BOX) if stand.kind == "terminator" else (_CELL, _BOX)


def _row(row: list[_Placed], comes: bool, goes: bool, name: str) -> Markup:
    most = max(len(_marked(one.stand)) for one in row)
    pair = 4.5 + 3.2 * max(most, 1) + _HIGH / 2
    drop = _STUB if any(one.stand.stub for one in row) else 0.0
    below = pair + _HIGH / 2 + drop
    texts = [_texts(one.stand) for one in row]
    high = below + _UNDER + 3.4 * max((len(lines) for lines in texts), default=0) + 2
    start = 0.0 if comes else row[0].middle
    end = WIDTH if goes else row[-1].middle
    drawn = [_pair(start, end, pair), *_supply_pair(row, comes, goes, pair)]
    if goes:
        drawn.append(_word("continues", WIDTH, pair - 2.0, _SMALL, anchor="end"))
        drawn.append(_word("below", WIDTH, pair + 5.0, _SMALL, anchor="end"))
    before = 0.0
    for number, one in enumerate(row):
        if number or comes:
            drawn += _cable(one.stand, before, one.left, pair)
        drawn += _station(one, pair, drop if one.stand.stub else 0.0)
        drawn += _marks(one, pair)
        drawn += _below(one, texts[number], below)
        before = one.right
    title = el("title", f"Wiring of {name}: " + ", ".join(_spoken(one.stand) for one in row))
    return el(
        "svg", title, *drawn, xmlns="http://www.w3.org/2000/svg", viewBox=f"0 0 {WIDTH:g} {high:.1f}", class_="wiring",
        role="img",
    )  # fmt: skip


def _spoken(stand: Stand) -> str:
    bus_id = f" ID {stand.bus_id.text}" if stand.bus_id else ""
    return f"{stand.kind} {stand.name}{bus_id}".strip()


# -- shapes -----------------------------------------------------------------------------------------------------------


def _pair(start: float, end: float, y: float) -> Markup:
    """The two wires of the pair."""
    return Markup().join(_wire(start, end, y + off, y + off) for off in (-0.7, 0.7))


def _wire(x1: float, x2: float, y1: float, y2: float) -> Markup:
    return void("line", x1=f"{x1:g}", x2=f"{x2:g}", y1=f"{y1:g}", y2=f"{y2:g}", stroke="#000", stroke_width=0.35)


def _supply_pair(row: Sequence[_Placed], comes: bool, goes: bool, pair: float) -> Iterator[Markup]:
    """The supply pair, broken, below the data pair: joined at each station, around one that it goes past, with a gap
    before a position where it is cut. It ends at the last stations, since terminators have none."""
    stations = [one for one in row if one.stand.kind != "terminator" and one.stand.supply_pair]
    if not stations:
        return
    y = pair + _SUPPLY
    x = 0.0 if comes else stations[0].left
    for one in stations:
        if one.stand.supply_pair == "cut":
            yield _broken([(x, y), (max(x, one.left - 5), y)])
            yield _wire(one.left - 5, one.left - 5, y - 1, y + 0.7)
            yield _wire(one.left - 1.5, one.left - 1.5, y - 1, y + 0.7)
            x = one.left - 1.5
        if one.stand.supply_pair == "past":
            low = pair + _HIGH / 2 + 1.2
            around = [(one.left - 2, y), (one.left - 0.8, low), (one.right + 0.8, low), (one.right + 2, y)]
            yield _broken([(x, y), *(around if one is not stations[-1] or goes else [])])
            x = one.right + 2
        elif one.stand.stub:
            yield _broken([(x, y), (one.middle, y), (one.middle, pair + _STUB - _HIGH / 2)])
            x = one.middle
        else:
            yield _broken([(x, y), (max(x, one.left), y)])
            x = one.right
    if goes:
        yield _broken([(x, y), (WIDTH, y)])


def _broken(points: Sequence[tuple[float, float]]) -> Markup:
    if len(set(points)) == 1:
        return Markup()
    return void(
        "polyline", points=" ".join(f"{x:g},{y:g}" for x, y in points), fill="none", stroke="#000", stroke_width=0.5,
        stroke_dasharray="2 1",
    )  # fmt: skip


def _station(one: _Placed, pair: float, drop: float) -> Iterator[Markup]:
    stand = one.stand
    y = pair + drop
    if drop:
        for off in (-0.7, 0.7):
            yield _wire(one.middle + off, one.middle + off, pair + off, y)
        assert stand.stub is not None
        for line, text in enumerate(("stub", marked(stand.stub))):
            yield _word(text, one.middle + 1.3, pair + 5.0 + 2.5 * line, _SMALL, anchor="start")
    terminator = stand.kind == "terminator"
    yield void(
        "rect", x=f"{one.left:g}", y=f"{y - _HIGH / 2:g}", width=f"{one.right - one.left:g}", height=_HIGH,
        rx=2.5 if stand.kind == "camera" else 0, fill="#fff", stroke="#000",
        stroke_width=0.9 if stand.kind == "converter" else 0.4,
        stroke_dasharray="1.2 0.8" if stand.kind == "master" or not stand.present else None,
    )  # fmt: skip
    if stand.kind == "camera":
        yield _word(f"ID {marked(stand.bus_id)}" if stand.bus_id else "ID ?", one.middle, y + 1.2, 3.6, bold=True)
    elif terminator:
        ohms = marked(stand.ohms) if stand.ohms else ""
        parts = ohms.split(" + ")
        for line, text in enumerate(parts):
            yield _word(text, one.middle, y + 1 + 3 * line - 1.5 * (len(parts) - 1), _SMALL)
    else:
        yield _word(stand.kind, one.middle, y + 1, _SMALL + 0.2)


def _cable(stand: Stand, start: float, end: float, pair: float) -> Iterator[Markup]:
    if stand.cable is None:
        return
    middle = (start + end) / 2
    length = marked(stand.cable.metres) if stand.cable.metres else "? m"
    yield _word(length, middle, pair - 2.0, _TEXT, bold=True)
    yield _word(f"cable {stand.cable.number}", middle, pair + 5.4, _SMALL)
    yield _word(marked(stand.cable.gauge), middle, pair + 8.2, _SMALL)


def _marks(one: _Placed, pair: float) -> Iterator[Markup]:
    for number, mark in enumerate(reversed(_marked(one.stand))):
        yield _word(mark, one.middle, pair - _HIGH / 2 - 1.4 - 3.2 * number, _SMALL, bold=True)


def _marked(stand: Stand) -> list[str]:
    return [line for mark in stand.marks for line in fitted(mark, _CELL - 1, _SMALL * 1.06, 2)]


def _below(one: _Placed, lines: list[tuple[str, bool]], y: float) -> Iterator[Markup]:
    for number, (text, bold) in enumerate(lines):
        yield _word(text, one.middle, y + _UNDER + 3.4 * (number + 1), _TEXT if bold else _SMALL, bold=bold)


def _texts(stand: Stand) -> list[tuple[str, bool]]:
    """The lines under a station, and whether each is bold."""
    if stand.kind == "terminator":
        return [("terminator", False)]
    width = _CELL - 1
    found = [(line, True) for line in fitted(stand.name, width, _TEXT * 1.06, _MOST_LINES)]
    if not stand.present:
        found.append(("NOT PRESENT", False))
    if stand.serial is not None:
        found.append((f"serial {marked(stand.serial)}", False))
    if stand.place:
        found += [(line, False) for line in fitted(stand.place, width, _SMALL, 2)]
    if stand.idle is not None and stand.peak is not None:
        both = (stand.idle.text, "at rest"), (stand.peak.text, "at peak")
        found += [(text, False) for text in dict.fromkeys(f"{volts} {state}" for volts, state in both)]
    return found


# -- words ------------------------------------------------------------------------------------------------------------


def _word(text: str, x: float, y: float, size: float, *, bold: bool = False, anchor: str = "middle") -> Markup:
    return el(
        "text", text, x=f"{x:.2f}", y=f"{y:.2f}", font_size=f"{size:g}", text_anchor=anchor,
        font_weight="bold" if bold else None,
    )  # fmt: skip


def _long(text: str, size: float) -> float:
    """Approximate width of a text in a sans serif, mm; East Asian wide letters count double."""
    return sum(map(_wide, text)) * size


def _wide(letter: str) -> float:
    if unicodedata.east_asian_width(letter) in "WF":
        return 1.0
    return 0.85 if letter in "MWmw@%" else 0.7 if letter.isupper() else 0.56


def fitted(text: str, width: float, size: float, most: int) -> list[str]:
    """A text in at most `most` lines of `width`; longer text ends in dots (the tables have all of it)."""
    lines: list[str] = [""]
    for word in text.split() or [text]:
        joined = f"{lines[-1]} {word}".strip()
        if _long(joined, size) <= width:
            lines[-1] = joined
            continue
        if lines[-1]:
            lines.append("")
        for letter in word:
            if _long(lines[-1] + letter, size) > width:
                lines.append("")
            lines[-1] += letter
    if len(lines) > most:
        kept = lines[most - 1]
        while kept and _long(kept + "...", size) > width:
            kept = kept[:-1]
        lines = [*lines[: most - 1], kept + "..."]
    return lines
