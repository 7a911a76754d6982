"""Values from the JSON of a command, as text and numbers of a page; other values show unchanged."""

from __future__ import annotations

import json
import math
from typing import Any

_LONGEST = 300  # characters of a cell


def said(value: Any) -> str:
    """A value as text: a number with its origin, a list with commas."""
    if value is None:
        text = ""
    elif isinstance(value, dict) and value.keys() == {"value", "kind"}:
        number = value["value"]
        text = f"{f'{number:.4g}' if isinstance(number, float) else said(number)} ({said(value['kind'])})"
    elif isinstance(value, bool):
        text = "yes" if value else "no"
    elif isinstance(value, list):
        text = ", ".join(map(said, value[:_LONGEST]))
    else:
        text = value if isinstance(value, str) else json.dumps(value, ensure_ascii=False)
    return text if len(text) <= _LONGEST else text[: _LONGEST - 1] + "…"


def number(value: Any) -> float:
    """A number, with or without its origin; 0 for any other value."""
    if isinstance(value, dict):
        value = value.get("value")
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        return 0.0
    return float(value)


def entries(value: Any) -> list[dict[str, Any]]:
    """The objects of a list; empty for any other value."""
    return [one for one in value if isinstance(one, dict)] if isinstance(value, list) else []
