"""What a test says of the pair besides its error rate."""

from __future__ import annotations

from dataclasses import dataclass

HOLDS, FAILS, INCONCLUSIVE = "holds", "fails", "inconclusive"


@dataclass(frozen=True, slots=True)
class Sign:
    """One thing that was looked at (`what`), what it says (`state`), and by which evidence."""

    what: str
    state: str
    said: str
