"""The starter: a commented plan to start from, valid as it is."""

from __future__ import annotations

from pathlib import Path

from busim.foundation.schema import begun

_STARTER = Path(__file__).parent / "starter.yaml"


def starter(name: str) -> str:
    """The text of a plan of this name. Raises UserError for an invalid name."""
    return begun(_STARTER, name, "plan", "climbing-hall")
