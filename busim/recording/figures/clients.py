"""When clients from outside were there, by line: before the first has come and after the last has gone, nobody asks.

That time says nothing of a controller, so rates, shares and ages of a line that only clients from outside ask are taken
between the two. A pause between clients counts: it is an outage.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from busim.recording.trace import EFFECT, Record

_REFUSED = re.compile(r"client (\d+) refused")


@dataclass(slots=True)
class _Presence:
    """`clients`: port and number of those who are there."""

    first: int
    last: int
    clients: set[tuple[int, int]] = field(default_factory=set)


class Presence:
    """Takes records of inputs and effects. `doors`: number of a converter that is open to clients -> its line's."""

    def __init__(self) -> None:
        self.doors: Mapping[int, int] = {}
        self._lines: dict[int, _Presence] = {}

    def take(self, record: Record) -> None:
        """An input (a client comes, goes), or an effect (it was refused)."""
        if record[0] == EFFECT:
            self._effect(record)
            return
        _, at, port, client, what, _ = record
        line = self.doors.get(port)
        if line is None:
            return
        one = self._lines.get(line)
        if what == "open":
            if one is None:
                one = self._lines[line] = _Presence(at, at)
            one.clients.add((port, client))
        elif what in ("close", "reset") and one is not None:
            one.clients.discard((port, client))
            one.last = max(one.last, at)

    def _effect(self, record: Record) -> None:
        _, _, port, fault, text = record
        line = self.doors.get(port)
        if line in self._lines and fault in ("clients", "reboot") and (found := _REFUSED.match(text)):
            self._lines[line].clients.discard((port, int(found[1])))

    def span(self, line: int, askers: Iterable[int], until: int) -> tuple[int, int] | None:
        """First and last instant (ns) that count for a line on which `askers` asked; None: nobody was there."""
        if line not in self.doors.values() or any(master not in self.doors for master in askers):
            return 0, until
        one = self._lines.get(line)
        if one is None:
            return None
        return one.first, until if one.clients else one.last
