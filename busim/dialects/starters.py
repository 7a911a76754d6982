"""The starter: a declaration to begin with, full of comments, and sound as it stands."""

from __future__ import annotations

import re
from pathlib import Path

from busim.errors import UserError

_STARTER = Path(__file__).parent / "starter.yaml"
_NAME = re.compile("[a-z0-9](?:[a-z0-9-]{0,38}[a-z0-9])?")


def starter(name: str) -> str:
    """The text of a declaration of this name. Raises UserError for a name that does not do."""
    if not _NAME.fullmatch(name):
        raise UserError(
            "not a name for a dialect",
            found=repr(name[:60]),
            expected="up to 40 small letters, digits and hyphens",
            mend="choose for example wall-lines",
        )
    return _STARTER.read_text(encoding="utf-8").replace("NAME", name)
