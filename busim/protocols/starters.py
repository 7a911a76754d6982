"""The starter: a first declaration, full of comments, and valid as it is."""

from __future__ import annotations

from pathlib import Path

from busim.foundation.schema import begun

_STARTER = Path(__file__).parent / "starter.yaml"


def starter(name: str) -> str:
    """The text of a declaration of this name. Raises UserError for an impossible name."""
    return begun(_STARTER, name, "protocol", "wall-lines")
