"""The content of the page for a trace, as JSON-ready values: the same for a complete trace and a growing one.

A complete trace is opened once. A growing one is opened again for each look, since all reads see the file as of its
opening. Sums and changes are kept and followed, so a look costs only the new records.
"""

from __future__ import annotations

import gc
import re
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from threading import Lock
from typing import Any

from busim.analysis.budget import LineBudget, budget
from busim.foundation.errors import UserError
from busim.foundation.version import VERSION
from busim.installation import Installation, outline
from busim.plan import Plan
from busim.plan.models import Parameter
from busim.recording.trace import CHANGE, EFFECT, EXCHANGE, INPUT, MARK, REAL, Trace, open_trace
from busim.runtime.session import plan_of, recorded_report
from busim.web.picture import FAULT, HAND, MARKED, LaidLine, Story, Sums, decoded, laid_lines, line_picture, sign_of
from busim.web.report import differences, shown
from busim.web.station_states import StationStates

MOST_WIDTH = 8000  # pixels
_STEP = 100_000_000  # ns
_NUMBER = re.compile(r"-?\d{1,9}")
_POINTS = 300  # of a series
_LOOK = 600_000_000_000  # ns searched at once for a sign
JUMPS = ("anything", "time-out", "damaged", "fault", "mark")


class Source:
    """One shown trace. All methods but `expected` belong to one thread, and raise UserError if the trace is damaged."""

    def __init__(self, path: str) -> None:
        self.path = path
        self._kept: Trace | None = None
        with open_trace(path) as trace:
            self.plan = plan_of(trace)
            self.site: Installation = outline(self.plan)
            self.head = dict(trace.head)
        self.lines: tuple[LaidLine, ...] = ()
        self.sums: dict[int, Sums] = {}
        self._summed: set[int] = set()  # lines whose sums are those of the trace that is open
        self._end = 0  # ns: the end of the last 100 ms with an event
        self.story = Story()
        self._names = 0
        self._budget: tuple[Plan, dict[str, LineBudget]] | None = None  # and the plan that it is of
        self._computing = Lock()

    @contextmanager
    def look(self, line: int | None = None) -> Iterator[Trace]:
        """The trace as it is now, with its changes and the sums of this line up to it."""
        trace = self._kept or open_trace(self.path)
        try:
            if self._kept is None:
                self.head = dict(trace.head)
                self._lay(trace)
                self._summed.clear()
                self._end = max((trace.last_sum(one.number) for one in self.lines), default=-_STEP) + _STEP
                self.story.follow(trace)
                if self.head.get("complete"):
                    self._kept = trace
            if line in self.sums and line not in self._summed:
                self.sums[line].follow(trace)
                self._summed.add(line)
            yield trace
        finally:
            if self._kept is not trace:
                trace.close()

    def prepare(self) -> None:
        """Read ahead what the page shows first, the first line, while a browser starts. A trace that cannot be read is
        told to whoever looks.
        """
        with suppress(UserError):
            with self.look():
                first = [line.number for line in self.lines[:1]]
            for number in first:
                with self.look(number):
                    pass
        gc.freeze()  # all this stays: looking through it for garbage again and again would hold up pictures

    def _lay(self, trace: Trace) -> None:
        """The names of a trace come with its first records, and a page may be opened before that."""
        if len(trace.names) != self._names:
            self._names = len(trace.names)
            if trace.head.get("clock") == REAL:  # its plan grows with the cameras that are seen
                self.plan = plan_of(trace)
                self.site = outline(self.plan)
            self.lines = laid_lines(trace, self.site)
            for line in self.lines:
                self.sums.setdefault(line.number, Sums(line.number))

    def close(self) -> None:
        """Close the trace."""
        if self._kept is not None:
            self._kept.close()
            self._kept = None

    @property
    def end(self) -> int:
        """ns: the end of the run, or of the records read so far."""
        ended = self.head.get("ended_at")
        return ended if isinstance(ended, int) else self._end

    def line(self, number: int) -> LaidLine:
        """The line with this number. Raises UserError."""
        for line in self.lines:
            if line.number == number:
                return line
        raise UserError(
            "there is no such line", field="line", found=str(number),
            expected="one of " + ", ".join(str(line.number) for line in self.lines),
        )  # fmt: skip

    def now(self) -> dict[str, Any]:
        """The progress of the run."""
        with self.look():
            return {"end": self.end, "complete": bool(self.head.get("complete"))}

    def about(self) -> dict[str, Any]:
        """The run and its lines with their stations."""
        with self.look():
            return {
                "busim": VERSION, "plan": self.plan.name, "path": self.path, "clock": self.head.get("clock"),
                "seed": self.head.get("seed"), "epoch": self.head.get("epoch"), "end": self.end,
                "complete": bool(self.head.get("complete")), "jumps": JUMPS,
                "lines": [self._about(line) for line in self.lines],
            }  # fmt: skip

    def _about(self, line: LaidLine) -> dict[str, Any]:
        resolved = line.resolved
        return {
            "number": line.number, "name": line.name, "length": line.length, "bit": line.bit,
            "velocity": line.velocity, "positions": line.positions,
            "said": "" if resolved is None else f"{float(resolved.line.baud):g} Bd {resolved.line.format}, "
                                                f"{resolved.line.protocol}, {line.length:g} m",
            "stands": [
                {"number": one.number, "name": one.name, "kind": one.kind, "metres": one.metres, "planned": one.planned}
                for one in line.stands
            ],
        }  # fmt: skip

    def picture(self, line: int, since: int, until: int, width: int) -> dict[str, Any]:
        """The picture of a line. `took_ms`: milliseconds of its computation."""
        begun = time.perf_counter()
        with self.look(line) as trace:
            made = line_picture(trace, self.line(line), self.sums[line], self.story, since, until, width).as_json()
        return {**made, "took_ms": round(1e3 * (time.perf_counter() - begun), 1)}

    def overview(self, line: int, width: int) -> dict[str, Any]:
        """The sums of a line over the whole run so far, in at most `width` steps."""
        with self.look(line) as trace:
            self.line(line)
            step, rows = self.sums[line].steps(trace, 0, max(self.end, _STEP), width)
            return {"step": step, "rows": rows.tolist(), "end": self.end}

    def decoded(self, line: int, driver: int, start: int) -> dict[str, Any]:
        """A burst in words. Raises UserError without one."""
        with self.look() as trace:
            found = decoded(trace, self.line(line), driver, start)
        if found is None:
            raise UserError("no burst begins at this instant", field="start", found=str(start))
        return found

    def figures(self) -> dict[str, Any]:
        """The figures of the run so far, as in `busim run --json`, and the differences from the budget in words.

        Reads the whole trace; may be called from any thread.
        """
        with open_trace(self.path) as trace:
            made = recorded_report(trace)
        computed: dict[str, list[LineBudget]] = {}
        with suppress(UserError):
            for one in budget(self.plan, what_ifs=False).lines:
                computed.setdefault(one.line, []).append(one)
        alone = {name: found[0] for name, found in computed.items() if len(found) == 1}
        said = [sentence for line in made.lines for sentence in differences(line, alone.get(line.name))]
        return {**made.as_json(), "differences": said, "shown": {
            line.name: {name: shown(value) for name, value in line.figures.items()} for line in made.lines
        }}  # fmt: skip

    def stations(self, line: int, at: int) -> dict[str, Any]:
        """Cameras, converters and masters of a line at an instant."""
        with self.look() as trace:
            return StationStates(trace, self.line(line), self.story, at).as_json()

    def counts(self, line: int, camera: int, at: int) -> tuple[tuple[Parameter, ...], dict[str, int]]:
        """The parameters of a camera and their counts at an instant. Raises UserError if the number is no camera's."""
        with self.look() as trace:
            laid = self.line(line)
            stand = laid.stand(camera)
            known = {} if laid.resolved is None else {one.name: one for one in laid.resolved.cameras}
            found = None if stand is None else known.get(stand.name)
            if found is None or found.known is None:
                raise UserError("there is no such camera on this line", field="camera", found=str(camera))
            changed = self.story.values(trace, at)
        counts = {
            name: int(text) for (who, name), (_, text) in changed.items() if who == camera and _NUMBER.fullmatch(text)
        }
        return found.known.parameters, counts

    def series(self, line: int, since: int, until: int) -> dict[str, Any]:
        """Occupancy, time inside exchanges and losses over time, as shares of each step; and the budget's values of the
        first two. `computed`: None if the budget has no such figure for this line.
        """
        with self.look(line) as trace:
            laid = self.line(line)
            step, rows = self.sums[line].steps(trace, since, min(until, max(self.end, since + 1)), _POINTS)
        return {
            "step": step, "at": [row[0] for row in rows.tolist()],
            "occupancy": [row[3] / step for row in rows.tolist()], "load": [row[4] / step for row in rows.tolist()],
            "lost": [row[5] + row[6] for row in rows.tolist()], "computed": self._computed(laid.name),
        }  # fmt: skip

    def _computed(self, line: str) -> dict[str, float | None]:
        """Occupancy and load of a line by the budget."""
        expected = self.expected()
        figures = expected[line].figures if line in expected else None
        return {
            name: None if figures is None or name not in figures else figures[name].value
            for name in ("occupancy", "load", "headroom")
        }  # fmt: skip

    def expected(self) -> dict[str, LineBudget]:
        """The budget by the names of the lines, computed once for a plan, in whichever thread asks first; {} if it has
        none.
        """
        with self._computing:
            plan = self.plan
            if self._budget is None or self._budget[0] is not plan:
                found: dict[str, LineBudget] = {}
                with suppress(UserError):
                    found = {one.line: one for one in budget(plan, what_ifs=False).lines}
                self._budget = plan, found
            return self._budget[1]

    # -- where something is -----------------------------------------------------------------------------------

    def jump(self, line: int, what: str, at: int, *, back: bool) -> dict[str, Any]:
        """The nearest instant after `at` (`back`: before it) of an event of this kind on a line.

        `at` None: no such event. Raises UserError for a word that is not in `JUMPS`.
        """
        if what not in JUMPS:
            raise UserError("nothing to jump to", field="what", found=repr(what[:40]), expected=" or ".join(JUMPS))
        with self.look(line) as trace:
            laid = self.line(line)
            found = []
            for column, outcomes in (("time_outs", ("time-out", "ran-together")), ("damaged", ("damaged",))):
                if what in ("anything", outcomes[0]):
                    found.append(self._exchange(trace, laid, column, outcomes, at, back))
            if what in ("anything", "fault", "mark"):
                wanted = {"fault": (FAULT, HAND), "mark": (MARKED,)}.get(what, (FAULT, HAND, MARKED))
                found.append(self._sign(trace, laid, wanted, at, back))
            near = [one for one in found if one is not None]
        if not near:
            return {"at": None, "text": f"nothing {'before' if back else 'after'} this"}
        instant, text = max(near) if back else min(near)
        return {"at": instant, "text": text}

    def _exchange(
        self, trace: Trace, line: LaidLine, column: str, outcomes: tuple[str, ...], at: int, back: bool
    ) -> tuple[int, str] | None:
        """Finds the 100 ms by the sums, then the exchange in them."""
        place = at // _STEP * _STEP
        for _ in range(3):  # the events of `at`'s own 100 ms may all lie on its other side
            row = self.sums[line.number].next_with(trace, column, place + _STEP if back else place, back=back)
            if row is None:
                return None
            hits = [
                record
                for record in trace.records(EXCHANGE, row, row + _STEP, line=line.number, by_time=True)
                if record[12] in outcomes and (record[10] < at if back else record[10] > at)
            ]
            if hits:
                hit = hits[-1 if back else 0]
                stand = line.stand(hit[3])
                return hit[10], f"{hit[12]}: {hit[5]} of {stand.name if stand else hit[4]}"
            place = row - _STEP if back else row + _STEP
        return None

    def _sign(
        self, trace: Trace, line: LaidLine, wanted: tuple[str, ...], at: int, back: bool
    ) -> tuple[int, str] | None:
        kinds = [MARK] if wanted == (MARKED,) else list(_SIGN_KINDS)
        low, high = (max(0, at - _LOOK), at) if back else (at + 1, at + 1 + _LOOK)
        while True:
            best: tuple[int, str] | None = None
            for kind in kinds:
                for record in trace.records(kind, low, high, by_time=True):
                    sign = sign_of(line, record)
                    if sign is None or sign.what not in wanted:
                        continue
                    if best is None or (sign.at > best[0] if back else sign.at < best[0]):
                        best = sign.at, sign.text
                    if not back:
                        break
            if best is not None or (low == 0 if back else high > self.end):
                return best
            low, high = (max(0, low - _LOOK), low) if back else (high, high + _LOOK)


_SIGN_KINDS = (INPUT, CHANGE, EFFECT, MARK)
