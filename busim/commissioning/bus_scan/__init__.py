"""Bus scan: the procedures of `scan_methods` run on an emulated line by a laptop, with their simulated times.

Public: `scan_bus` (listen, then find the cameras), its result (`BusScan`, `Way`, `Row`, `Unseen`), `WAYS`; `follow`
(run one procedure through a `Tool`; stops when another master polls), `OthersAsk`, `Ground` (facts about a line from
the plan), `listening` (how long to listen before sending).

Open `scanning.py` first.
"""

from busim.commissioning.bus_scan.following import Asks, Followed, OthersAsk, follow
from busim.commissioning.bus_scan.ground import SCAN, SERIALS, SLOTS, WAYS, Ground, listening
from busim.commissioning.bus_scan.result import BusScan, Row, Unseen, Way
from busim.commissioning.bus_scan.scanning import scan_bus

__all__ = [
    "SCAN",
    "SERIALS",
    "SLOTS",
    "WAYS",
    "Asks",
    "BusScan",
    "Followed",
    "Ground",
    "OthersAsk",
    "Row",
    "Unseen",
    "Way",
    "follow",
    "listening",
    "scan_bus",
]
