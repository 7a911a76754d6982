"""The open places of a line's pair over time, by site work and faults, folded from a trace.

A band ends where the pair is open. The records say where: cuts and joins by hand, cameras unplugged without a coupler,
cameras that open the pair without power, and the fault `cut-cable`.
"""

from __future__ import annotations

import re
from collections.abc import Iterable

from busim.installation import ResolvedCamera
from busim.recording.trace import CHANGE, INPUT, Record
from busim.web.picture.laid import LaidLine

_AHEAD = re.compile(r"on: position (\d+)")


class OpenPairs:
    """The open places of one line at the instant of the last record taken, in metres."""

    def __init__(self, line: LaidLine) -> None:
        self._line = line
        self._cuts: set[tuple[str, int]] = set()  # the cause, and the position or the camera's number
        stations = () if line.resolved is None else line.resolved.stations
        self._cutting = {
            one.at.name for one in stations if isinstance(one.at, ResolvedCamera) and one.at.unpowered == "cuts"
        }

    def take(self, record: Record) -> None:
        """Take inputs and changes of the trace, in order of time."""
        if record[0] == INPUT:
            _, _, number, _, what, data = record
            self._by_hand(number, what, data)
        elif record[0] == CHANGE and record[2] == self._line.number and record[3] == "fault cut-cable":
            self._cuts = {cut for cut in self._cuts if cut[0] != "fault"}
            ahead = _AHEAD.match(record[4])
            if ahead:
                self._cuts.add(("fault", min(int(ahead[1]), len(self._line.positions))))

    def _by_hand(self, number: int, what: str, data: bytes) -> None:
        if number == self._line.number and data.isdigit() and len(data) < 9:
            cut = "hand", int(data)
            if what == "cut":
                self._cuts.add(cut)
            elif what == "join":
                self._cuts.discard(cut)
            return
        stand = self._line.stand(number)
        if stand is None:
            return
        if what == "unplug" and data:
            self._cuts.add(("unplugged", number))
        elif what == "plug":
            self._cuts.discard(("unplugged", number))
        elif what == "no power" and stand.name in self._cutting:
            self._cuts.add(("unpowered", number))
        elif what == "power":
            self._cuts.discard(("unpowered", number))

    def places(self) -> tuple[float, ...]:
        """Metres of the open places, ascending: between two positions of a cut, or at a camera that opens the pair."""
        metres = self._line.positions
        found = set()
        for what, where in self._cuts:
            if what in ("hand", "fault"):
                if 0 < where < len(metres):
                    found.add((metres[where - 1] + metres[where]) / 2)
            elif (stand := self._line.stand(where)) is not None:
                found.add(stand.metres)
        return tuple(sorted(found))


def reach(line: LaidLine, at: float, cuts: Iterable[float]) -> tuple[float, float]:
    """The metres between which a driver at `at` metres is heard."""
    top, bottom = 0.0, line.length
    for cut in cuts:
        if cut <= at:
            top = max(top, cut)
        if cut >= at:
            bottom = min(bottom, cut)
    return top, bottom
