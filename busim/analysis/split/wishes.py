"""What is asked of a split beyond the plan, and the defaults that stand in for what nobody said."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

HEADROOM = 0.3  # common practice, no source; the rule little-headroom warns below it
TARGET = 500_000_000  # ns, of a group that is polled without rest: a number is needed, or no line were ever full
DETOUR = 1.3  # cable along truss and walls over the straight way; common practice, no source
EXTRA = 3.0  # m of every piece: down to the camera, a loop, the plug; common practice, no source


@dataclass(frozen=True, slots=True)
class More:
    """Converters that may be added: `like` one of the plan, at `places`, in boxes of so many `ports`, `most` boxes in
    all (None: as many as are needed)."""

    like: str
    places: tuple[str, ...] = ()
    ports: int = 1
    most: int | None = None


@dataclass(frozen=True, slots=True)
class Wishes:
    """`headroom`: share of a line's time to keep free. `targets`: group to ns between two polls, for groups that never
    rest. `detour` and `extra`: from the straight way between two places to metres of cable.

    `renumber`: bus IDs may change where two cameras of one line have the same.
    """

    headroom: float = HEADROOM
    targets: Mapping[str, int] = field(default_factory=dict)
    detour: float = DETOUR
    extra: float = EXTRA
    renumber: bool = False
    more: More | None = None
