"""The loss when a daisy chain is opened at a station that is unplugged or has no supply.

A daisy chain goes through its stations. The effect of a dead station depends on its design:
it passes the pair through (the connectors are wired to each other), loads it (its dead input pulls the pair down), or
cuts it (the pair goes through a relay or through circuits). Common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from busim.foundation.errors import UserError

Opening = Literal["unplugged", "passes", "loads", "cuts"]


@dataclass(frozen=True, slots=True)
class Stand:
    """A station in the order of the cable. `asks`: a master, or a converter of a master."""

    name: str
    asks: bool = False


@dataclass(frozen=True, slots=True)
class Loss:
    """The loss in an opened chain. `unreached`: other stations that no master can ask any more, in order.

    `open_ends`: the parts of the cable that stay in use lose a terminator and reflect. `disturbed`: the whole line is
    loaded and may fail. `split`: there are masters on both sides, each on a line of its own.
    """

    unreached: tuple[str, ...] = ()
    open_ends: int = 0
    disturbed: bool = False
    split: bool = False


def lost(stands: Sequence[Stand], at: int, opening: Opening) -> Loss:
    """The loss when the station at index `at` opens the chain.

    Unplugged: both cables are pulled and not joined, which has the effect of `cuts`. At an end of the cable no other
    station is lost. Raises UserError.
    """
    if not 0 <= at < len(stands):
        raise UserError("no station at this position", found=f"{at}", expected=f"0 to {len(stands) - 1}")
    if opening in ("passes", "loads"):
        return Loss(disturbed=opening == "loads")
    parts = stands[:at], stands[at + 1 :]
    asked = [any(stand.asks for stand in part) for part in parts]
    unreached = tuple(stand.name for part, kept in zip(parts, asked, strict=True) if not kept for stand in part)
    return Loss(unreached, open_ends=sum(asked) if all(parts) else 0, split=all(asked))
