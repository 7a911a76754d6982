"""Starters: first files for users, with NAME in place of the name."""

from __future__ import annotations

import re
from pathlib import Path

from busim.foundation.errors import UserError
from busim.foundation.yaml_source import scalar

_NAME = re.compile("[a-z0-9](?:[a-z0-9-]{0,38}[a-z0-9])?")


def begun(starter: Path, name: str, kind: str, example: str) -> str:
    """The text of a starter with its name filled in. Raises UserError for a name that a `kind` cannot have."""
    if not _NAME.fullmatch(name):
        raise UserError(
            f"not a name for a {kind}",
            found=repr(name[:60]),
            expected="up to 40 small letters, digits and hyphens",
            mend=f"choose for example {example}",
        )
    text = starter.read_text(encoding="utf-8")
    return text.replace("name: NAME", f"name: {scalar(name)}", 1).replace("NAME", name)  # 2 and true need quotes
