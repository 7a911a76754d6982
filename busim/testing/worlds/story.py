"""The story of a world, from its records: the messages on the lines, and all events as a timeline in text."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import NamedTuple

from busim.plan import Plan
from busim.recording.trace import BELIEF, BURST, EFFECT, INPUT, INTENT, MARK, Record
from busim.simulator.world import Name
from busim.testing.judging import Answered, Asked, Ground, ground_of
from busim.testing.judging.wire import WireReader

_WIDTH = 80  # columns
_AROUND = 18  # rows of a timeline before the marked instant
_BEHIND = 4
_CAUSES = 3  # earlier faults and inputs, shown as possible causes
_QUIET_INPUTS = ("bytes", "ready", "stall")  # effects that the line itself shows


class Row(NamedTuple):
    """One line of a timeline: `at` in ns, a `sign` of its kind, the entity, and the text; `data`: bytes in hex."""

    at: int
    sign: str
    who: str
    what: str
    data: str = ""


class Said(NamedTuple):
    """The controller believes that `parameter` of `camera` is `value`."""

    at: int
    camera: str
    parameter: str
    value: int


class Status(NamedTuple):
    """The controller believes that `camera` is online, or not."""

    at: int
    camera: str
    online: bool


class Story:
    """Records of one run up to `until` ns, read once. `answers`: bursts of cameras, in the order of their ends."""

    def __init__(self, plan: Plan, names: Iterable[Name], records: Sequence[Record], until: int, master: str) -> None:
        self.ground: Ground = ground_of(plan, names, master, hooked=True, played=False)
        self.until = until
        self.asked: list[Asked] = []
        self.answers: list[Answered] = []
        self.values: list[Said] = []
        self.status: list[Status] = []
        self.effects: list[tuple[int, str, str]] = []  # ns, fault, where
        self.rows: list[Row] = []
        self._read_lines(records)
        for record in records:
            self._take(record)
        self.rows.sort(key=lambda row: row.at)

    def _read_lines(self, records: Sequence[Record]) -> None:
        readers = {
            number: WireReader(self.ground, line, self.asked.append, self.answers.append)
            for number, line in self.ground.lines.items()
        }
        bursts = [record for record in records if record[0] == BURST]
        for burst in sorted(bursts, key=lambda one: (one[4], one[3])):
            reader = readers[burst[1]]
            reader.take(burst)
            (frame,) = reader.frames(burst[3])[-1:] or (None,)
            if frame is not None:
                sign = "<-" if burst[2] in self.ground.camera_lines else "->"
                self.rows.append(Row(burst[3], sign, frame.driver, frame.meaning, frame.data))

    def _take(self, record: Record) -> None:
        kind, name = record[0], self.ground.name
        if kind == EFFECT:
            _, at, who, fault, text = record
            self.effects.append((at, fault, name(who)))
            self.rows.append(Row(at, "!!", name(who), f"{fault}: {text}"))
        elif kind == MARK:
            self.rows.append(Row(record[1], "##", "mark", record[2]))
        elif kind == INPUT and record[4] not in _QUIET_INPUTS:
            _, at, port, _, what, _ = record
            self.rows.append(Row(at, "##", name(port), what))
        elif kind == INTENT:
            _, _, camera, at, parameter, value, panel, _ = record
            self.rows.append(Row(at, "##", panel or "operator", f"wants {parameter} of {name(camera)} = {value}"))
        elif kind == BELIEF:
            self._believed(record)

    def _believed(self, record: Record) -> None:
        _, _, number, at, kind, parameter, value, text, _ = record
        camera = self.ground.name(number) if number else ""
        if kind == "value":
            self.values.append(Said(at, camera, parameter, int(value)))
            what = f"{parameter} of {camera} is {value}"
        elif kind in ("online", "offline"):
            self.status.append(Status(at, camera, kind == "online"))
            what = f"{camera} is {kind}"
        else:
            what = f"{kind}: {text}" + (f" ({camera})" if camera else "")
        self.rows.append(Row(at, "==", "controller", what))

    def began(self, fault: str) -> int | None:
        """When a fault took effect for the first time, ns; None if it never did."""
        return min((at for at, name, _ in self.effects if name == fault), default=None)

    def sender(self, value: int, before: int) -> tuple[str, str, int] | None:
        """The last sender of a value before an instant: camera, parameter, ns; None for nobody."""
        for answer in reversed(self.answers):
            reply = answer.reply
            if answer.end > before or reply is None or reply.refused or value not in reply.values:
                continue
            camera = self.ground.camera(answer.camera)
            if camera is not None:
                key = reply.key + reply.values.index(value)
                return camera.name, camera.names.get(key, f"register {key}"), answer.end
        return None

    def timeline(self, at: int | None = None) -> str:
        """The rows around an instant, or the last ones; says how many more there are."""
        rows = self.rows
        end = len(rows) if at is None else sum(1 for row in rows if row.at <= at) + _BEHIND
        end = min(end, len(rows))
        start = max(0, end - _AROUND - _BEHIND)
        lines = ["  time [s]  -> to the cameras  <- from a camera  == belief  !! fault  ## input"]
        if start:
            causes = [row for row in rows[:start] if row.sign in ("!!", "##") and not row.what.startswith("wants ")]
            for row in causes[-_CAUSES:]:
                lines += _drawn(row, row.at == at)
            lines.append(
                f"  ... {start} earlier, of which the last faults and inputs are shown"
                if causes
                else f"  ... {start} earlier"
            )
        for row in rows[start:end]:
            lines += _drawn(row, row.at == at)
        if end < len(rows):
            lines.append(f"  ... {len(rows) - end} later")
        return "\n".join(lines)


def _drawn(row: Row, marked: bool) -> list[str]:
    front = f"{'>' if marked else ' '} {row.at / 1e9:11.6f} {row.sign} {row.who[:16]:<16} "
    indent = " " * 18
    lines = [(front + row.what)[:_WIDTH]]
    rest = (front + row.what)[_WIDTH:]
    if rest:
        lines.append(indent + rest[: _WIDTH - len(indent)])
    if row.data:
        data = row.data if len(row.data) <= 56 else row.data[:53] + "..."
        both = f"{lines[-1]}  [{data}]"
        lines[-1:] = [both] if len(both) <= _WIDTH else [lines[-1], f"{indent}[{data}]"]
    return lines
