"""Signs: other events on a line and beside it, each with its instant and its text."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from busim.recording.trace import BREAK, CHANGE, EFFECT, FRAME, FRAMING, HEARD, INPUT, MARK, PARITY, Record, Trace
from busim.web.picture.laid import LaidLine
from busim.web.picture.story import Story

MOST = 300  # of one picture; the others are counted
MARKED, FAULT, HAND, DAMAGED, AMISS, PULSED = "mark", "fault", "hand", "damaged", "amiss", "pulse"
_FLAGS = ((FRAMING, "framing error"), (PARITY, "parity error"), (BREAK, "break"))
_AT_A_CONVERTER = ("open", "bytes", "close", "reset", "stall", "ready", "set")  # actions of network clients: no sign


@dataclass(frozen=True, slots=True)
class Sign:
    """`what`: mark, fault, hand (site work), damaged (a rejected frame), amiss (heard differently than sent).

    `at`: ns; `metres`: its place, None for the whole line or the whole run.
    """

    at: int
    what: str
    text: str
    metres: float | None = None

    def as_json(self) -> dict[str, Any]:
        """JSON-ready."""
        return {"at": self.at, "what": self.what, "text": self.text, "metres": self.metres}


def signs(trace: Trace, story: Story, line: LaidLine, since: int, until: int) -> tuple[list[Sign], int]:
    """The signs of a line in the window in order of time, and the number of those left out. `story`: of this trace, up
    to the window's end.
    """
    found: list[Sign] = []
    left = 0
    for record in _told(trace, story, line, since, until):
        sign = sign_of(line, record)
        if sign is None:
            continue
        if len(found) < MOST:
            found.append(sign)
        else:
            left += 1
    return sorted(found, key=lambda sign: sign.at), left


def _told(trace: Trace, story: Story, line: LaidLine, since: int, until: int) -> Iterator[Record]:
    """The records that may be signs. Of the many changes only faults are, which the story has kept."""
    yield from trace.records(MARK, since, until, by_time=True)
    yield from story.between(CHANGE, since, until)
    yield from story.between(INPUT, since, until)
    yield from trace.records(EFFECT, since, until, by_time=True)
    for kind in (FRAME, HEARD):
        yield from trace.records(kind, since, until, by_time=True, line=line.number)


def sign_of(line: LaidLine, record: Record) -> Sign | None:
    """The sign of a record on this line; None without one."""
    kind = record[0]
    if kind == MARK:
        return Sign(record[1], MARKED, record[2])
    if kind in (FRAME, HEARD):
        return None if record[1] != line.number else _heard(line, record)
    number = record[2]
    stand = line.stand(number)
    if stand is None and number != line.number:
        return None
    name, metres = (line.name, None) if stand is None else (stand.name, stand.metres)
    if kind == CHANGE:
        _, at, _, parameter, value = record
        return Sign(at, FAULT, f"{parameter}: {value} ({name})", metres) if parameter.startswith("fault ") else None
    if kind == EFFECT:
        _, at, _, fault, text = record
        return Sign(at, FAULT, f"{fault}{f': {text}' if text else ''} ({name})", metres)
    if kind == INPUT:
        _, at, _, _, what, data = record
        if what in _AT_A_CONVERTER:
            return None
        told = data.decode("utf-8", "replace")[:80]
        return Sign(at, HAND, f"{what}{f' {told}' if told else ''} ({name})", metres)
    return None


def _heard(line: LaidLine, record: Record) -> Sign | None:
    if record[0] == FRAME:
        _, _, station, at, what, data = record
        stand = line.stand(station)
        name = "" if stand is None else f" at {stand.name}"
        return Sign(
            at,
            DAMAGED,
            f"frame not accepted{name}: {what}, {_bytes(len(data))}",
            None if stand is None else stand.metres,
        )
    _, _, station, first, _, data, flags = record
    stand = line.stand(station)
    if stand is None:
        return None
    wrong = [text for flag, text in _FLAGS if any(one & flag for one in flags)]
    said = ", ".join(wrong) or "other characters than were sent"
    return Sign(first, AMISS, f"{stand.name} heard {_bytes(len(data))}: {said}", stand.metres)


def _bytes(number: int) -> str:
    return f"{number} byte" if number == 1 else f"{number} bytes"
