"""When a converter stands between the records and the controller.

The records show the line. A fault of a converter, or a lost connection, keeps bytes from the controller, delays them or
adds some, behind the line: then nobody can tell from the records what the controller had sent and heard by when. Judges
hold nothing against a controller that may follow from that.
"""

from __future__ import annotations

import re
from typing import Any, Final

from busim.foundation.errors import UserError
from busim.foundation.units import parse_time
from busim.simulator.faults import all_faults
from busim.testing.judging.ground import Ground

_LINKED: Final = frozenset(("clients", "reboot", "idle", "refused"))  # effects that end or refuse connections
_UNSERVED: Final = "is let in and not served"  # a connection that carries nothing, until its client gives it up
_IN_TIME: Final = 1_000_000  # ns that no controller's time-out depends on (assumed)
_RECONNECTS: Final = 6_000_000_000  # ns at most without a connection: the longest pause between attempts, and 1 s
REQUESTS: Final = "requests"
REPLIES: Final = "replies"
LATE: Final = "late-replies"
SWALLOWED: Final = "swallowed-requests"  # taken over a connection that stands, and not sent, or not as a request
HELD_BACK: Final = "late-requests"
ADDED: Final = "added-requests"  # of others through the same converter, or repeats of its own
LINK: Final = "lost-connection"
# ns beyond the hold of a fault: the rest of a request's time-out, of a reply's delivery, a drain and the next exchange
_SETTLES: Final = {
    REQUESTS: 300_000_000, REPLIES: 30_000_000, LATE: 300_000_000, SWALLOWED: 300_000_000, HELD_BACK: 300_000_000,
    ADDED: 300_000_000, LINK: 300_000_000,
}  # fmt: skip
_ALL: Final = (REQUESTS, REPLIES, LATE, SWALLOWED, HELD_BACK, ADDED)
_SAID: Final = re.compile(r", the last (\S+ \w+) late$")  # an effect that says how long it holds its bytes back
_DOWN: Final = re.compile(r"^down for (\d+) ns$")  # a reboot: nobody can connect meanwhile
_WAYS: Final = {"to-line": _ALL, "to-net": (REPLIES, LATE)}  # a late request has a late reply
_LOST: Final = (REQUESTS, REPLIES, LINK)
_MORE_THAN_LATE: Final = {SWALLOWED, ADDED}  # a fault that hides these holds nothing back, or not only


class Hidden:
    """Collects, for each line, the times in which requests or replies may differ behind its converter.

    `times`: line and what is hidden, to the times [from, to] in their order (ns).
    """

    def __init__(self, ground: Ground) -> None:
        self._lines = ground.port_lines
        # port -> ns by which a reply may be later than its time-out, and is drained by a master that waits as planned
        self._drained = {port: ground.lines[line].drain for port, line in ground.port_lines.items()}
        self._on: dict[tuple[int, str], tuple[tuple[str, ...], int]] = {}  # port, fault -> what it hides, for how long
        self.times: dict[tuple[int, str], list[list[int]]] = {}
        self._unserved: set[tuple[int, int]] = set()  # port, client: its bytes reach nobody
        self._lost: dict[int, int] = {}  # port -> until when its controller may have no connection

    def changed(self, record: tuple[Any, ...]) -> None:
        """A fault is switched: its values say in which direction it works, and for how long."""
        _, _, port, what, text = record
        if port in self._lines and what.startswith("fault ") and text.startswith("on"):
            name = what[6:]
            fault = all_faults().get(name)
            if fault is not None and fault.hides:
                said = dict(one.partition(" ")[::2] for one in text[4:].split(", "))
                ways = _WAYS.get(said.get("way", ""), _ALL)
                hides = tuple(one for one in fault.hides if one in ways)
                self._on[port, name] = hides, _hold(fault.parameters, said)

    def took_effect(self, record: tuple[Any, ...]) -> None:
        _, at, port, fault, text = record
        line = self._lines.get(port)
        if line is None:
            return
        if fault in _LINKED:
            if _UNSERVED in text:
                self._unserved.add((port, int(text.split()[1])))
            self._unlinked(line, at, outage(text))
        else:
            hides, hold = self._on.get((port, fault), ((), -1))
            said = _SAID.search(text)
            if said:
                hold = parse_time(said[1])
            for what in self._matters(port, hides, hold):
                self._add(line, what, at, at + max(0, hold) + _SETTLES[what])

    def entered(self, record: tuple[Any, ...]) -> None:
        """Bytes of a client: the controller has a connection again. It may also end one itself, and hears no more."""
        line = self._lines.get(record[2])
        if record[4] in ("close", "reset") and line is not None:
            self._unlinked(line, record[1])
        if record[4] == "bytes" and line in self._lost and (record[2], record[3]) not in self._unserved:
            lost, at = self._lost.pop(line), record[1]
            for what in _LOST:
                times = self.times[line, what]
                if times[-1][1] == lost:
                    times[-1][1] = min(lost, at + _SETTLES[what])

    def _matters(self, port: int, hides: tuple[str, ...], hold: int) -> tuple[str, ...]:
        """What of that which a fault hides a controller may notice, where it holds bytes back for `hold` ns; -1: for a
        time that is not known.
        """
        if 0 < hold <= _IN_TIME and not _MORE_THAN_LATE & set(hides):
            return ()
        if 0 <= (2 * hold if HELD_BACK in hides else hold) <= self._drained[port]:  # both ways
            return tuple(one for one in hides if one != LATE)
        return hides

    def _unlinked(self, line: int, at: int, down: int = 0) -> None:
        until = self._lost[line] = max(at + down + _RECONNECTS, self._lost.get(line, 0))
        for what in _LOST:
            self._add(line, what, at, until)

    def _add(self, line: int, what: str, start: int, end: int) -> None:
        times = self.times.setdefault((line, what), [])
        if times and start <= times[-1][1]:
            times[-1][1] = max(times[-1][1], end)
        else:
            times.append([start, end])

    def within(self, line: int, since: int, until: int, what: str) -> bool:
        """Whether something of this kind may be hidden between two instants (ns)."""
        for start, end in reversed(self.times.get((line, what), ())):
            if end < since:
                return False
            if start <= until:
                return True
        return False


def outage(text: str) -> int:
    """ns for which a converter is down after an effect of this text, 0 if it is not."""
    said = _DOWN.search(text)
    return int(said[1]) if said else 0


def _hold(parameters: Any, said: dict[str, str]) -> int:
    """ns for which a fault holds bytes back at most, by its values; -1: it has no such value."""
    held = []
    for one in parameters:
        if one.kind == "time" and one.name in said:
            try:
                held.append(one.read(said[one.name]))
            except UserError:  # written by another version
                continue
    return sum(held) if held else -1
