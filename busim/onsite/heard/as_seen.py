"""A plan of a real line, as far as it was seen: the text that goes into its trace.

A trace includes its plan, so that reports, the page and exports find lines and cameras. A real line has none yet, so
this writes one of what was seen: a line, its converter, and a camera per address. What nobody can see from a tap is
left out or said to be assumed.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from fractions import Fraction

from busim.foundation.units import CharFormat

LINE, BOX = "line", "box"


@dataclass(frozen=True, slots=True)
class Seen:
    """What is known of a line without listening. `host` and `port`: the converter's, port 0: a serial port; `assumed`:
    baud and format are.
    """

    host: str
    port: int
    protocol: str
    baud: Fraction
    format: CharFormat
    assumed: bool


def camera_name(address: int) -> str:
    """The name of the camera at an address."""
    return f"ID {address}"


def plan_text(seen: Seen, addresses: Collection[int]) -> str:
    """A plan with a camera per address, in their order."""
    why = "  # assumed: nobody can see it behind a converter" if seen.assumed else ""
    made_up = "" if seen.port else "  # a serial port: this address is made up"
    rows = [
        "# Written from what passed at a real line: addresses as seen, positions and models unknown.",
        "busim: 1",
        "name: as seen",
        "lines:",
        f"  - name: {LINE}",
        f"    baud: {seen.baud} Bd{why}",
        f"    format: {seen.format}{why}",
        f"    protocol: {seen.protocol}",
        "    order:",
        "      - terminator",
        f"      - converter: {BOX}",
        *(f"      - camera: {camera_name(address)}" for address in sorted(addresses)),
        "      - terminator",
        "converters:",
        f'  - {{name: {BOX}, endpoint: "{seen.host}:{seen.port or 1}"}}' + made_up,
    ]
    if addresses:
        rows += ["cameras:", *(f"  - {{name: {camera_name(a)}, bus_id: {a}}}" for a in sorted(addresses))]
    return "\n".join(rows) + "\n"
