"""The roll call: the procedures of `identify` put to an emulated line by a tool, and what they take there.

Public: `follow` (a procedure through a `Tool`, stopped when somebody else begins to ask), `OthersAsk`, `Ground` (what a
plan says of a line beforehand), `scan_bus` (listen, and one `way` or all), what comes of it (`BusScan`, `Way`,
`Row`), `WAYS`; `listening` (for how long, by the plan, before anything is sent).
"""

from busim.commissioning.bus_scan.following import Followed, OthersAsk, follow
from busim.commissioning.bus_scan.ground import SCAN, SERIALS, SLOTS, WAYS, Ground, listening
from busim.commissioning.bus_scan.scanning import BusScan, Row, Way, scan_bus

__all__ = [
    "SCAN",
    "SERIALS",
    "SLOTS",
    "WAYS",
    "BusScan",
    "Followed",
    "Ground",
    "OthersAsk",
    "Row",
    "Way",
    "follow",
    "listening",
    "scan_bus",
]
