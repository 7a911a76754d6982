"""The records of a trace: events on the lines as plain tuples, one table each.

Plain tuples, because a clean exchange makes three of them and must cost little. The first element is the kind; `TABLES`
names the columns after it. Times are integer ns since the start of the run; `line`, `driver`, `station`, `master`,
`camera` and `port` are numbers in the `name` table (0: none).
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final

Record = tuple[Any, ...]
Emit = Callable[[Record], None]

SCHEMA: Final = 4  # 1 had no intents and beliefs; 2 no pulses, and no cables in its head; 3 called the column `row` id

BURST: Final = 0
HEARD: Final = 1
FRAME: Final = 2
EXCHANGE: Final = 3
INPUT: Final = 4
CHANGE: Final = 5
EFFECT: Final = 6
MARK: Final = 7
INTENT: Final = 8
BELIEF: Final = 9
PULSE: Final = 10
RAN_TOGETHER: Final = "ran-together"  # outcome of an exchange whose request had merged with neighbouring bytes

# kind -> (table, columns, meaning); the SQL type is INTEGER unless the column is in _TYPES
TABLES: Final[dict[int, tuple[str, tuple[str, ...], str]]] = {
    BURST: (
        "burst",
        ("line", "driver", "start", "end", "setting", "data", "exact"),
        "one run of characters without a gap by one driver, from the first start bit to the end of the last stop bit. "
        "setting: a row of the setting table; exact: 1 if some receiver took the exact path. Without data: a break, "
        "space from start to end. A burst cut by the end of the run has the characters begun",
    ),
    HEARD: (
        "heard",
        ("line", "station", "first", "last", "data", "flags"),
        "characters that one receiver heard, if they differ from those sent: instants of the first and last "
        "character, heard or missed, the characters heard, and one flag byte each (1 framing, 2 parity, 4 break)",
    ),
    FRAME: (
        "frame",
        ("line", "station", "at", "what", "data"),
        "a frame that a receiver rejected, with the reason: check, length, flagged, gap",
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
        "one request and its outcome. kind: poll, command, probe, foreign. work: the poll group or control; further "
        "exchanges of a group add their first key; a read by a client from outside has its keys (read 100..101). "
        "asked: when it was wanted; sent: when its first bit was wanted on the wire; ended: when the reply was "
        "complete at the master, or the time-out; free: when the master may send again. outcome: ok, refused, "
        "time-out, damaged, unanswered (a broadcast). read_at: when the camera served it, -1 unknown. exact: 1 if a "
        "burst of it took the exact path",
    ),
    INPUT: (
        "input",
        ("at", "port", "client", "what", "data"),
        "an input from outside, which replay repeats. At a converter: open (data plain: no network connection), "
        "bytes, set (its port, baud and format), close, reset, stall, ready; client numbers count per port. At a "
        "camera: unplug (data cuts: the pair ends there), plug, swap, straight, dial (its port: baud and format), "
        "power, no power, unit (a replacement: bus ID and serial number). At a line: cut, join (before that position "
        "of its order)",
    ),
    CHANGE: ("change", ("at", "who", "parameter", "value"), "a parameter changed; who is a name number"),
    EFFECT: (
        "effect",
        ("at", "who", "fault", "text"),
        "a fault or policy took effect, such as a refused client; or a camera refused (with the reason), saved, lost "
        "its power",
    ),
    MARK: ("mark", ("at", "text"), "a mark set by a person or program during the run"),
    INTENT: (
        "intent",
        ("line", "camera", "at", "parameter", "value", "panel", "had"),
        "an operator's move, as sent to a controller under test. value: the wanted one, or `step +2` for a number of "
        "steps; panel: its panel, empty for a move by a test, which replay repeats; had: the camera's value at that "
        "instant, empty without the camera",
    ),
    BELIEF: (
        "belief",
        ("line", "camera", "at", "kind", "parameter", "value", "text", "behind"),
        "a belief of a controller under test, which replay repeats. kind: value, online, offline, diagnosis, or wrong "
        "for any other line, with the reason as text. behind, of a value: ns since the camera had it, 0 if it has it, "
        "-1 if it never had it, -2 if that is not judged (a reading changes by itself)",
    ),
    PULSE: (
        "pulse",
        ("line", "start", "end", "floating"),
        "a disturbance of the pair, at all positions at the same time: it inverts the level or, with floating 1, "
        "pulls the pair to space while no driver drives it and no bias holds it",
    ),
}

TYPES: Final = {
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

FRAMING: Final = 1
PARITY: Final = 2
BREAK: Final = 4
