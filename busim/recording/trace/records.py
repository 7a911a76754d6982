"""The records of a trace: events on the lines as plain tuples, one table each.

Plain tuples, because a clean exchange makes three of them and must cost little. The first element is the kind; `TABLES`
names the columns after it. Times are integer ns since the start of the run; `line`, `driver`, `station`, `master`,
`camera` and `port` are numbers in the `name` table (0: none).
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

Record = tuple[Any, ...]
Emit = Callable[[Record], None]

SCHEMA = 3  # 1 had no intents and beliefs; 2 no pulses, and no cables in its head

BURST, HEARD, FRAME, EXCHANGE, INPUT, CHANGE, EFFECT, MARK, INTENT, BELIEF, PULSE = range(11)
RAN_TOGETHER = "ran-together"  # outcome of an exchange whose request had merged with neighbouring bytes

# kind -> (table, columns, meaning); the SQL type is INTEGER unless the column is in _TYPES
TABLES: dict[int, tuple[str, tuple[str, ...], str]] = {
    BURST: (
        "burst",
        ("line", "driver", "start", "end", "setting", "data", "exact"),
        "one run of characters without a gap by one driver: first start bit to the end of the last stop bit; "
        "setting is a row of the setting table; exact 1 when some receiver took the exact path; "
        "no data: a break, space from start to end; of a burst under way at the end of the run the characters begun",
    ),
    HEARD: (
        "heard",
        ("line", "station", "first", "last", "data", "flags"),
        "what one receiver heard where it differs from what was sent: instants of the first and last character, heard "
        "or missed, the characters heard, and one flag byte each (1 framing, 2 parity, 4 break)",
    ),
    FRAME: (
        "frame",
        ("line", "station", "at", "what", "data"),
        "a frame a receiver did not accept, with the reason: check, length, flagged, gap",
    ),
    EXCHANGE: (
        "exchange",
        (
            "line",
            "master",
            "camera",
            "address",
            "kind",
            "work",
            "attempt",
            "asked",
            "sent",
            "ended",
            "free",
            "outcome",
            "read_at",
            "exact",
        ),
        "one request and what became of it. kind: poll, command, probe, foreign; work: poll group (with the first key "
        "behind it in the further exchanges of a group that takes several) or control, and of a read by a client from "
        "outside its keys (read 100..101); asked: when it was wanted; sent: first bit wanted on the wire; ended: reply "
        "whole at the master, or given up; free: when the master may ask again; outcome: ok, refused, time-out, "
        "damaged, unanswered (a broadcast); read_at: when the camera served it, -1 unknown; exact 1 when a burst of it "
        "took the exact path",
    ),
    INPUT: (
        "input",
        ("at", "port", "client", "what", "data"),
        "an input from outside. At a converter: open (data plain: no network connection), bytes, set (its port, baud "
        "and format), close, reset, stall, ready; client numbers count per port. By hand at a camera: unplug (data "
        "cuts: the pair does not go on past it), plug, swap, straight, dial (its port: baud and format), power, no "
        "power, unit (another one in its place: bus ID and serial number); at a line: cut, join (ahead of that "
        "position of its order). What replay feeds back",
    ),
    CHANGE: ("change", ("at", "who", "parameter", "value"), "a parameter changed; who is a name number"),
    EFFECT: (
        "effect",
        ("at", "who", "fault", "text"),
        "a fault or policy took effect, as a refused client; or a camera refused (and why), saved, lost its power",
    ),
    MARK: ("mark", ("at", "text"), "a mark set by a person or program while it ran"),
    INTENT: (
        "intent",
        ("line", "camera", "at", "parameter", "value", "panel", "had"),
        "a move that a controller under test was told of; value: the one wanted, or `step +2` for so many steps; "
        "panel: whose, empty where a test gave it, which replay feeds "
        "back; had: the camera's value at that instant, empty where the camera is not there",
    ),
    BELIEF: (
        "belief",
        ("line", "camera", "at", "kind", "parameter", "value", "text", "behind"),
        "what a controller under test believes, as it came: kind value, online, offline, diagnosis, or wrong for a "
        "line that was none, with the reason as text; behind, of a value: ns since the camera had it, 0 where it has "
        "it, -1 where it never had, -2 where that is not judged (a reading changes by itself); what replay feeds back",
    ),
    PULSE: (
        "pulse",
        ("line", "start", "end", "floating"),
        "a disturbance of the pair, at all positions at once: it turns the level over; or, floating 1, pulls the pair "
        "to space where no driver drives it and no bias holds it",
    ),
}

TYPES = {
    "data": "BLOB",
    "flags": "BLOB",
    "what": "TEXT",
    "kind": "TEXT",
    "work": "TEXT",
    "outcome": "TEXT",
    "parameter": "TEXT",
    "value": "TEXT",
    "fault": "TEXT",
    "text": "TEXT",
    "panel": "TEXT",
    "had": "TEXT",
}

FRAMING, PARITY, BREAK = 1, 2, 4
