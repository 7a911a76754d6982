"""The starter: a declaration to begin with, full of comments, and sound as it stands."""

from __future__ import annotations

from pathlib import Path

from busim.foundation.schema import begun

_STARTER = Path(__file__).parent / "starter.yaml"


def starter(name: str) -> str:
    """The text of a declaration of this name. Raises UserError for a name that does not do."""
    return begun(_STARTER, name, "protocol", "wall-lines")
