"""When clients from outside were connected, by line. Before the first and after the last, nobody polls.

That time says nothing about a controller. So rates, shares and ages of a line polled only from outside count between
the two. A pause between clients counts as an outage.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Final

from busim.recording.trace import EFFECT, Record

_REFUSED: Final = re.compile(r"client (\d+) refused")


@dataclass(slots=True)
class _Presence:
    """`clients`: port and number of the connected clients."""

    first: int
    last: int
    clients: set[tuple[int, int]] = field(default_factory=set)


class Presence:
    """Takes records of inputs and effects. `doors`: number of a converter open to clients -> its line's."""

    def __init__(self) -> None:
        self.doors: Mapping[int, int] = {}
        self._lines: dict[int, _Presence] = {}

    def take(self, record: Record) -> None:
        """Take an input (a client comes, goes) or an effect (it was refused)."""
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
        """First and last instant (ns) that count for a line with these `askers`; None: nobody was connected."""
        if line not in self.doors.values() or any(master not in self.doors for master in askers):
            return 0, until
        one = self._lines.get(line)
        if one is None:
            return None
        return one.first, until if one.clients else one.last
