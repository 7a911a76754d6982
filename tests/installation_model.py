"""Rules for any installation, checked from its records alone: a small model without any part of the simulator.

It knows MODBUS RTU frames of one register (MODBUS Application Protocol V1.1b3, 6.3 and 6.6) with their CRC from
crccheck, the instants of power losses and reboots, and the requested moves. That an acknowledged value
stays, that what is down is silent, and how often a dead camera is probed is common practice, no source.

Received characters are not checked here: that takes an ideal decoder of the levels.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from small_plans import sealed

from busim.recording.trace import BURST, EXCHANGE, Record

SECOND = 1_000_000_000
STOP_BIT = 1 + SECOND // 38400  # ns: the last thing in a burst is that of its last character, and idle as well
LATEST = 2 * SECOND  # ns for which an answer may be under way: no box here holds one for longer
FIRST_PAUSE, LONGEST_PAUSE = SECOND // 2, 5 * SECOND  # ns between probes of a camera that does not answer


def writes_in(burst: Record, key: int) -> list[tuple[int, int, int]]:
    """Bus ID, value and begin (ns) of each sound write of one register, wherever it stands in a burst.

    Requests of two masters may follow each other in one burst, so a write can begin long after its burst.
    """
    found = []
    start_of_burst, end, data = burst[3], burst[4], burst[6]
    for start in range(len(data) - 7):
        frame = data[start : start + 8]
        if frame[1] == 6 and frame[2] << 8 | frame[3] == key and sealed(frame[:6].hex()) == frame:
            begin = start_of_burst + (end - start_of_burst) * start // len(data)
            found.append((frame[0], frame[4] << 8 | frame[5], begin))
    return found


@dataclass
class Installation:
    """`cameras` and `boxes`: number in the trace of each; `ids`: camera to bus ID; `key`: register that is moved.

    `asked`: the values that operators asked of each camera, in their order, each once. `take` returns violations.
    """

    cameras: dict[str, int]
    boxes: dict[str, int]
    ids: dict[str, int]
    key: int
    asked: dict[str, list[int]] = field(default_factory=dict)
    acknowledged: dict[str, int] = field(default_factory=dict)  # place in `asked` of what was acknowledged last
    expected: dict[str, int] = field(default_factory=dict)  # the value that the camera must have now
    bursts: list[Record] = field(default_factory=list)  # the latest
    down: dict[int, list[tuple[int, int]]] = field(default_factory=dict)  # number to spells without power, or down
    last_write: dict[str, int] = field(default_factory=dict)  # when the latest write to a camera began
    writes: dict[str, int] = field(default_factory=dict)  # how often a camera was written
    commands: dict[str, int] = field(default_factory=dict)  # how many attempts of moves are over
    probed: dict[int, list[Record]] = field(default_factory=dict)

    def down_from(self, number: int, at: int, until: int) -> None:
        self.down.setdefault(number, []).append((at, until))

    def up_at(self, number: int, at: int) -> None:
        spells = self.down[number]
        spells[-1] = spells[-1][0], at

    def take(self, records: list[Record]) -> list[str]:
        """Violations in these records, which follow those of the last call."""
        wrong: list[str] = []
        # what was sent comes first: an exchange is written at its end, and a burst when all have heard it
        for record in sorted((each for each in records if each[0] == BURST), key=lambda each: each[3]):
            wrong += self._burst(record)
        for record in records:
            if record[0] == EXCHANGE:
                wrong += self._exchange(record)
        wrong += [
            f"{name} was written {written} times, in {self.commands.get(name, 0)} attempts of moves and one under way"
            for name, written in self.writes.items()
            if written > self.commands.get(name, 0) + 1
        ]
        return wrong

    def _burst(self, record: Record) -> list[str]:
        _, _, sender, start, end, _, _, _ = record
        self.bursts = [*self.bursts[-199:], record]
        wrong = [
            f"{sender} sends from {start} to {end} and is down from {since} to {until}"
            for since, until in self.down.get(sender, ())
            if since + STOP_BIT < end and start < until
        ]
        if sender in self.cameras.values():
            return wrong
        for bus_id, value, begin in writes_in(record, self.key):
            name = next((name for name, id in self.ids.items() if id == bus_id), "")
            asked = self.asked.get(name, [])
            if value not in asked:
                wrong.append(f"{value} is written to {name!r} at {begin}, which nobody asked for")
            elif asked.index(value) < self.acknowledged.get(name, -1):
                later = asked[self.acknowledged[name]]
                wrong.append(f"{value} is written to {name} at {begin}, after the later {later} was acknowledged")
            self.last_write[name] = begin
            self.writes[name] = self.writes.get(name, 0) + 1
            if self.expected.get(name) != value:
                self.expected.pop(name, None)
        return wrong

    def _exchange(self, record: Record) -> list[str]:
        _, _, _, camera, bus_id, kind, _, _, _, sent, ended, _, outcome, _, _ = record
        name = next((name for name, number in self.cameras.items() if number == camera), "")
        wrong = []
        # one that came late may answer the same request asked again: which one it was nobody can tell without a tag
        before = [each for each in self.bursts if ended - LATEST <= each[3] <= ended]
        if outcome == "ok" and not any(each[2] == camera and each[6][:1] == bytes((bus_id,)) for each in before):
            wrong.append(f"an answer of {name} is delivered at {ended}, and it has sent none for {LATEST} ns")
        written = [
            (value, begin)
            for each in self.bursts
            if each[2] != camera
            for id, value, begin in writes_in(each, self.key)
            if id == bus_id and sent <= begin <= ended
        ]
        self.commands[name] = self.commands.get(name, 0) + (kind == "command")
        if kind == "command" and outcome == "ok" and written:
            value, begin = written[-1]
            self.acknowledged[name] = max(self.acknowledged.get(name, -1), self.asked[name].index(value))
            # its acknowledgement may be under way in a box while the camera loses power, and what it was told
            lost = any(since >= begin for since, _ in self.down.get(camera, ()))
            if self.last_write[name] <= ended and not lost:
                self.expected[name] = value
        if kind == "probe":
            wrong += self._probe(record, name)
        if kind != "foreign" and outcome in ("ok", "refused"):
            self.probed.pop(camera, None)
        return wrong

    def _probe(self, record: Record, name: str) -> list[str]:
        _, _, _, camera, _, _, _, _, _, sent, _, _, _, _, _ = record
        before = self.probed.setdefault(camera, [])
        wrong = []
        if before:
            pause = min(FIRST_PAUSE << len(before), LONGEST_PAUSE)
            if sent - before[-1][10] < pause:
                wrong.append(f"probe {len(before) + 1} of {name} at {sent}, {pause} ns have not passed since the last")
        before.append(record)
        return wrong
