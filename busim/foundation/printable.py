"""Text from outside made safe to print: characters that steer a terminal are escaped.

A plan, a trace or a controller can hold any text. Characters that move a cursor, set a title or turn the direction of
writing could falsify a screen. The escape is that of JSON, so JSON stays JSON.
"""

from __future__ import annotations

import re

# C0 but tab and line feed, DEL, C1 (ISO/IEC 6429); line and paragraph separators; directional marks (UAX #9); halves of
# pairs, as Python has them for bytes of a file name that are no text
_STEERING = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069\ud800-\udfff]")


def printable(text: str) -> str:
    """The text, with every character that steers a terminal escaped, as `\\u001b`."""
    return _STEERING.sub(lambda match: f"\\u{ord(match[0]):04x}", text)
