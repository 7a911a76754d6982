"""The bench: sorts records by time, reads the lines once, and calls every judge with the events it handles.

The same live, from a file and on replay. A file keeps the order within one kind of record only, and a running world
reports a burst at its end. So the bench sorts by the instant at which a record is known, then by kind; within a kind it
keeps the order of writing. It holds records back until nothing older can come.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from heapq import merge
from typing import Any, Final

from busim.foundation.errors import Defect
from busim.protocols import READ
from busim.recording.trace import BELIEF, BURST, CHANGE, EFFECT, EXCHANGE, HEARD, INPUT, INTENT, Record, Trace
from busim.testing.judging.contract import Judge, Scene
from busim.testing.judging.crossing import Crossing
from busim.testing.judging.events import Answered, Asked, Settled
from busim.testing.judging.ground import Ground
from busim.testing.judging.hidden import REPLIES, REQUESTS, Hidden
from busim.testing.judging.joined import JoinedReplies
from busim.testing.judging.past import LinePast
from busim.testing.judging.verdict import Frame, Verdict
from busim.testing.judging.wire import WireReader

# effects that are no faults: ordered actions of cameras, and settings of a converter
_NO_FAULTS: Final = frozenset(("camera", "refused", "clients", "idle", "arbitration", "purge"))
_HELD: Final = 4096  # records; then those that no older record can follow are judged
_HORIZON: Final = 2_000_000_000  # ns by which a record may come later than another that was known before
_ALONG: Final = 5_000  # ns: another receiver on the line may have the same character later
_RECENT: Final = 5_000_000_000  # ns for which a fault is named as the last one

_Held = tuple[int, int, int, int, Record]  # instant known, kind, tie-break of bursts, order of arrival
_KNOWN: Final = {
    BURST: 4,
    HEARD: 4,
    EXCHANGE: 10,
    INTENT: 3,
    BELIEF: 3,
    INPUT: 1,
    CHANGE: 1,
    EFFECT: 1,
}  # column of instant
_BEGUN: Final = _KNOWN | {BURST: 3, HEARD: 3}  # column of the instant that orders a trace file
_ENTERED: Final = 2  # an input's place among the kinds of one instant: before the exchanges, whose causes may be inputs
_METHODS: Final = {
    INTENT: "intended", BELIEF: "believed", CHANGE: "changed", EFFECT: "took_effect",
    INPUT: "entered", HEARD: "heard",
}  # fmt: skip


class Bench(Scene):
    """Takes records, then returns the verdicts. `meant`: whether the run was to have faults."""

    def __init__(self, ground: Ground, kinds: Sequence[type[Judge]], *, meant: bool = False) -> None:
        self._ground = ground
        self._meant = meant
        self._effects = 0
        self._last_fault: tuple[int, str] = (-1, "")
        self._fault_kind = "none"
        self._outcome: tuple[str, ...] = ("none",)
        self.reached: frozenset[tuple[str, str, str]] = frozenset()
        self._scenes: set[tuple[Any, ...]] = set()
        self._triples: set[tuple[str, str, str]] = set()
        self._pending: list[_Held] = []
        self._count = 0
        self._lines: dict[int, WireReader] = {}
        self._hidden = Hidden(ground)
        self._crossing = Crossing(ground)
        self._boxed = frozenset(ground.port_lines.values())
        self.pasts = {number: LinePast(line.way.packing) for number, line in ground.lines.items()}
        self.hides = self._hidden.times
        self._open: dict[int, LinePast] = {}  # lines with a request that is not over, in the order of these
        # A byte is known at the middle of its first stop bit, so a burst is by then, before its last stop bit ends.
        self._before = {number: line.char // 5 for number, line in ground.lines.items()}
        self._joined = {number: JoinedReplies(line) for number, line in ground.lines.items() if not line.silence}
        self.judges = [kind(ground, self) for kind in kinds]
        self._asked = self._overriding("asked")
        self._others_asked = self._overriding("others_asked")
        self._commanded = self._overriding("commanded")
        self._answered = self._overriding("answered")
        self._unasked = self._overriding("unasked")
        self._settled = self._overriding("settled")
        self._unanswered = self._overriding("unanswered")
        self._sent = self._overriding("sent") if ground.port_lines else []
        self._claimed = self._overriding("claimed")
        self._takers: dict[int, list[Callable[[Any], None]]] = {
            _ENTERED if kind == INPUT else kind: [getattr(judge, method) for judge in self._overriding(method)]
            for kind, method in _METHODS.items()
        }
        for number, line in ground.lines.items():
            self._lines[number] = WireReader(ground, line, self._tell_asked, self._tell_answered)

    def _overriding(self, method: str) -> list[Judge]:
        """The judges that override this method and do not ignore it."""
        plain = getattr(Judge, method)
        return [
            judge for judge in self.judges if getattr(type(judge), method) is not plain and method not in judge.ignores
        ]

    # -- what comes in --------------------------------------------------------------------------------------

    def take(self, record: Record) -> None:
        """Take one record, in the order in which a world emits them or a file has them."""
        self.take_all((record,))

    def take_all(self, records: Iterable[Record]) -> None:
        """Several records, as `take` takes one."""
        pending, before, count, known_in = self._pending, self._before, self._count, _KNOWN
        all_joined = self._joined
        for record in records:
            kind = record[0]
            if kind == BURST:
                line = record[1]
                for burst in all_joined[line].cut(record) if line in all_joined else (record,):
                    count += 1
                    pending.append((burst[4] - before[line], BURST, burst[3] << 16 | burst[2], count, burst))
            elif kind in known_in:
                count += 1
                place = _ENTERED if kind == INPUT else kind
                known = record[known_in[kind]] + (_ALONG if kind == BELIEF else 0)
                pending.append((known, place, 0, count, record))
        self._count = count
        if len(pending) >= _HELD:
            self._flush(max(pending)[0] - _HORIZON)

    def _flush(self, until: int) -> None:
        pending = self._pending
        pending.sort()
        self._let_bursts_end(pending)
        count = len(pending)
        if until < pending[-1][0]:
            count = next(n for n, one in enumerate(pending) if one[0] > until)
        lines, takers, claimed = self._lines, self._takers, self._claimed
        pasts, ours, sent = self.pasts, self._ground.ours, self._sent
        for _, kind, _, _, record in pending[:count]:
            if kind == BURST:
                if sent:
                    for judge in sent:
                        judge.sent(record)
                lines[record[1]].take(record)
            elif kind == EXCHANGE:
                if record[2] in ours:
                    pasts[record[1]].claim = record
                    for judge in claimed:
                        judge.claimed(record)
                self._outcome = record[5], record[12]
                self._look()
            else:
                if kind == EFFECT and record[3] not in _NO_FAULTS:
                    self._effects += 1
                    self._fault_kind = record[3]
                    self._last_fault = record[1], f"{record[3]} at {self._ground.name(record[2])}: {record[4]}"
                if kind == EFFECT:
                    self._hidden.took_effect(record)
                elif kind == CHANGE:
                    self._hidden.changed(record)
                elif kind == _ENTERED:
                    self._hidden.entered(record)
                    self._crossing.entered(record)
                for take in takers.get(kind, ()):
                    take(record)
        del pending[:count]

    @staticmethod
    def _let_bursts_end(pending: list[_Held]) -> None:
        """Move a controller's report from the middle of a burst to its end: one burst may hold more than one reply."""
        following: dict[int, _Held] = {}  # line -> its next burst
        moved, number = False, len(pending)
        for one in reversed(pending):
            number -= 1
            known, kind, tie, count, record = one
            if kind == BURST:
                following[record[1]] = one
            elif kind in (EXCHANGE, BELIEF):
                burst = following.get(record[1])
                if burst is not None and burst[4][3] < known:
                    pending[number] = burst[0], kind, tie, count, record
                    moved = True
        if moved:
            pending.sort()

    def _tell_asked(self, event: Asked) -> None:
        if not event.ours:
            for judge in self._others_asked:
                judge.others_asked(event)
            return
        line = event.line
        self._settle(line, event.start)
        past = self.pasts[line]
        if line in self._boxed:
            event.crossed = self._crossing.asked(event)
        if event.response > past.response:
            past.response = event.response
        if event.wait > past.wait:
            past.wait = event.wait
        for judge in self._asked:
            judge.asked(event)
        if event.request.verb != READ:
            for judge in self._commanded:
                judge.commanded(event)
        past.asked(event)
        self._open[line] = past

    def _tell_answered(self, event: Answered) -> None:
        line = event.line
        past = self.pasts[line]
        if line in self._boxed:
            self._crossing.answered(event)
        if event.asked is not None:
            past.answered(event)
            for judge in self._answered:
                judge.answered(event)
            return
        if past.request is not None and event.data:
            protocol = self._ground.lines[line].protocol
            event.poses = protocol.decode_reply(event.data, past.request.request) is not None
        past.answered(event)
        for judge in self._unasked:
            judge.unasked(event)

    def _settle(self, line: int, over: int) -> None:
        past = self._open.pop(line, None)
        if past is None or past.request is None or not (self._settled or self._unanswered):
            return
        asked, answers, others = past.request, past.answers, past.others
        if not self._ground.played:  # there are no exchange records: the wire shows the result
            self._outcome = asked.request.verb, "answered" if answers else "unanswered"
            self._look()
        sure = not (asked.exact or others or (self.hides and self.hidden(line, asked.start, over, REPLIES)))
        for answer in answers:
            sure = sure and not answer.exact
        before = asked.start if past.before < 0 else past.before
        event = Settled(asked, answers, others, over, sure, before)
        for judge in self._settled:
            judge.settled(event)
        if not answers:
            for judge in self._unanswered:
                judge.unanswered(event)

    def _look(self) -> None:
        """Note the state of each judge with the outcome of an exchange and the fault before it."""
        scene = self._fault_kind, self._outcome, tuple([judge.state for judge in self.judges])
        if scene in self._scenes:
            return
        self._scenes.add(scene)
        situation = self._fault_kind, " ".join(self._outcome)
        for judge in self.judges:
            if judge.state != "quiet":
                self._triples.add((f"{judge.about.name} {judge.state}", *situation))

    # -- what comes of it ---------------------------------------------------------------------------------------

    def finish(self, until: int) -> list[Verdict]:
        """The run is over, at `until` ns. A bench returns its verdicts once."""
        if self._pending:
            self._flush(1 << 63)
        for line, past in list(self._open.items()):
            asked = past.request
            cut = asked is not None and not past.answers and until - asked.start <= asked.wait
            if not cut:  # else the end of the run cuts its last exchange short: it has no result
                self._settle(line, until)
        for judge in self.judges:
            judge.ended(until)
        self.reached = frozenset(self._triples)
        return [judge.verdict(self._effects, self._meant) for judge in self.judges]

    @property
    def effects(self) -> int:
        """The number of effects of faults."""
        return self._effects

    @property
    def lines(self) -> tuple[int, ...]:
        """The numbers of the lines that it reads."""
        return tuple(self._lines)

    def met(self, line: int, since: int, until: int) -> bool:
        return self._crossing.met(line, since, until)

    def frames(self, line: int, until: int) -> tuple[Frame, ...]:
        reader = self._lines.get(line)
        return () if reader is None else reader.frames(until)

    def hidden(self, line: int, since: int, until: int, *kinds: str) -> bool:
        if not self._hidden.times:
            return False
        within = self._hidden.within
        return any(within(line, since, until, kind) for kind in kinds or (REQUESTS, REPLIES))

    def fault(self, at: int) -> str:
        when, what = self._last_fault
        return what if what and at - when <= _RECENT else ""


def judge_records(
    ground: Ground, records: Iterable[Record], until: int, kinds: Sequence[type[Judge]], *, meant: bool = False
) -> list[Verdict]:
    """The verdicts on a finished run."""
    bench = Bench(ground, kinds, meant=meant)
    for record in records:
        bench.take(record)
    return bench.finish(until)


def judge_trace(ground: Ground, trace: Trace, kinds: Sequence[type[Judge]], *, meant: bool = False) -> list[Verdict]:
    """The verdicts on a trace, which may be larger than memory.

    Raises UserError for a damaged trace, Defect for one whose run did not end.
    """
    until = trace.head.get("ended_at")
    if not isinstance(until, int):
        raise Defect("a trace is judged when its run is over")
    bench = Bench(ground, kinds, meant=meant)
    return bench_trace(bench, trace, until)


def bench_trace(bench: Bench, trace: Trace, until: int) -> list[Verdict]:
    """The verdicts of a new bench on a trace up to `until` ns. Raises UserError for a damaged trace."""
    # Each kind by its own instant (of a burst its start); the bench sorts them by the instant at which they are known.
    rows = merge(*(trace.records(kind, by_time=True) for kind in _KNOWN), key=lambda record: record[_BEGUN[record[0]]])
    for record in rows:
        bench.take(record)
    return bench.finish(until)
