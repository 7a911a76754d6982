"""The roll call: the procedures of `identify` put to an emulated line by a tool, and what they take there.

Public: `follow` (a procedure through a `Tool`, stopped when somebody else begins to ask), `OthersAsk`, `Ground` (what a
plan says of a line beforehand), `roll_call` (listen, and one `way` or all), what comes of it (`RollCall`, `Way`,
`Row`), `WAYS`; `listening` (for how long, by the plan, before anything is sent).
"""

from busim.commissioning.bus_scan.following import Followed, OthersAsk, follow
from busim.commissioning.bus_scan.ground import SCAN, SERIALS, SLOTS, WAYS, Ground, listening
from busim.commissioning.bus_scan.scanning import RollCall, Row, Way, roll_call

__all__ = [
    "SCAN",
    "SERIALS",
    "SLOTS",
    "WAYS",
    "Followed",
    "Ground",
    "OthersAsk",
    "RollCall",
    "Row",
    "Way",
    "follow",
    "listening",
    "roll_call",
]
