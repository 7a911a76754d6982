"""Requirements for a split beyond the plan, with their defaults."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

HEADROOM = 0.3  # common practice, no source; the rule little-headroom warns below it
TARGET = 500_000_000  # ns, for groups polled without pause; without a target they would fill any line
DETOUR = 1.3  # cable along truss and walls per straight distance; common practice, no source
EXTRA = 3.0  # m per piece: drop to the camera, loop, plug; common practice, no source


@dataclass(frozen=True, slots=True)
class More:
    """Converters that may be added: copies of `like`, at `places`, in boxes with `ports` ports, at most `most` boxes
    (None: no limit)."""

    like: str
    places: tuple[str, ...] = ()
    ports: int = 1
    most: int | None = None


@dataclass(frozen=True, slots=True)
class Wishes:
    """`headroom`: share of a line's time to keep free. `targets`: group to ns between two polls, for groups polled
    without pause. `detour`, `extra`: cable = straight distance x detour + extra, m.

    `renumber`: bus IDs may change if two cameras of a line have the same one.
    """

    headroom: float = HEADROOM
    targets: Mapping[str, int] = field(default_factory=dict)
    detour: float = DETOUR
    extra: float = EXTRA
    renumber: bool = False
    more: More | None = None
