"""One row per line of the installation: whether it works, how often and how soon, and its headroom.

A run fills it with measured values, a budget with computed ones, so both read alike.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import NamedTuple

from rich.text import Text

from busim.cli.screen import Column, Screen
from busim.foundation.units import show_time
from busim.recording.figures import Value

YES, LOSSES, NO, IDLE = "yes", "losses", "NO", "idle"
STYLES = {YES: "green", LOSSES: "yellow", NO: "bold red", IDLE: "dim"}


class Row(NamedTuple):
    """A line, or a master on it. `rate`: of the camera polled least; times in seconds; None: not applicable.

    `wanted`: the wanted rate in words, `lost`: the share of all exchanges; "" if unknown.
    """

    name: str
    works: str
    rate: float | None = None
    wanted: str = ""
    age_mean: float | None = None
    age_worst: float | None = None
    move: float | None = None
    headroom: float | None = None
    lost: str = ""


def row_of(name: str, works: str, cameras: Sequence[Mapping[str, Value]]) -> Row:
    """The row of cameras with these figures: the slowest poll rate, the mean age, the worst age."""
    ages = _known(cameras, "age_mean")
    return Row(
        name,
        works,
        rate=min(_known(cameras, "poll_rate"), default=None),
        age_mean=sum(ages) / len(ages) if ages else None,
        age_worst=max(_known(cameras, "age_worst"), default=None),
    )


def _known(cameras: Iterable[Mapping[str, Value]], figure: str) -> list[float]:
    values = (figures[figure].value for figures in cameras if figure in figures)
    return [value for value in values if value is not None]


def wanted_rate(periods: Iterable[float]) -> str:
    """The wanted rate of the group polled most, from each group's period in seconds."""
    shortest = min(periods, default=None)
    if shortest is None:
        return ""
    return f"{1 / shortest:.3g}" if shortest else "max"


def print_rows(screen: Screen, rows: Sequence[Row], *, worst: str) -> None:
    """The table. `worst`: the title of the worst age. Columns without any value are left out."""
    columns = [Column("line"), Column("works")]
    cells: list[list[str | Text]] = [[row.name, Text(row.works, STYLES[row.works])] for row in rows]
    for title, texts in (
        ("polls/s\nof each", [_rate(row.rate) for row in rows]),
        ("wanted", [row.wanted for row in rows]),
        ("age\nmean", [_time(row.age_mean) for row in rows]),
        (f"age\n{worst}", [_time(row.age_worst) for row in rows]),
        ("a move\n95 %", [_time(row.move) for row in rows]),
        ("head-\nroom", ["-" if row.headroom is None else f"{row.headroom:.0%}" for row in rows]),
        ("lost\nof all", [row.lost for row in rows]),
    ):
        if any(texts):
            columns.append(Column(title, right=True))
            for cell, text in zip(cells, texts, strict=True):
                cell.append(text or "-")
    screen.table(columns, cells)


def _rate(rate: float | None) -> str:
    return "-" if rate is None else f"{rate:.3g}"


def _time(seconds: float | None) -> str:
    return "-" if seconds is None else show_time(1e9 * seconds)
