"""Values as YAML text that `parse` reads as the same values."""

from __future__ import annotations

import json
import re
from typing import Any

from busim.foundation.yaml_source.document import Real
from busim.foundation.yaml_source.reading import resolved

# Without these a scalar has one reading only, on a line of its own and between brackets.
_PLAIN = re.compile(r"[A-Za-z0-9_.+/(-][\w.+/() %°µΩ²×-]*(?::(?! )[\w.+/()-]+)*")
# Line ends of YAML that JSON does not escape, and a mark that readers skip at the beginning.
_FOLDED = re.compile("[\x7f-\x9f\u2028\u2029\ufeff]")


def scalar(value: Any) -> str:
    """A scalar (text, number, true, false, None) as written after a colon, in a list or between brackets."""
    if value is None:
        return "null"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, Real):
        return value.text
    if isinstance(value, float):
        return repr(value).replace("inf", ".inf").replace("nan", ".nan")
    if isinstance(value, int):
        return str(value)
    text = str(value)
    plain = _PLAIN.fullmatch(text) and text == text.strip() and not text.startswith(("- ", "---", "..."))
    if plain and text != "-" and isinstance(resolved(text), str):
        return text
    return _FOLDED.sub(lambda found: f"\\u{ord(found[0]):04x}", json.dumps(text, ensure_ascii=False))


def flow(value: Any) -> str:
    """Any value on one line, mappings in braces and lists in brackets."""
    if isinstance(value, dict):
        return "{" + ", ".join(f"{scalar(key)}: {flow(entry)}" for key, entry in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(flow(entry) for entry in value) + "]"
    return scalar(value)
