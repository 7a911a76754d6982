"""The worst moments of a run: those with most losses, then those with the longest waits.

A run is cut into steps of half a second. Lost exchanges that follow each other within a second are one episode; each
episode gives its worst step first, so that one bad minute does not hide another bad second. The remaining places go to
the next worst steps, and to the slowest exchanges of a run without losses.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field

from busim.foundation.units import show_time
from busim.recording.trace import Record
from busim.web.picture import LaidLine

MOST = 10
_STEP = 500_000_000  # ns
_APART = 1_000_000_000  # ns without a loss between two episodes
_AROUND = 25_000_000  # ns that are shown on each side
_LEAST, _LONGEST = 80_000_000, 400_000_000  # ns of a picture
_LOST = ("time-out", "damaged", "ran-together")
_WORDS = {"time-out": "time-out", "damaged": "damaged reply", "ran-together": "request run together with another"}


@dataclass(frozen=True, slots=True)
class Moment:
    """A stretch of a line that is worth a picture, since <= t < until (ns), with one sentence on it."""

    line: LaidLine
    since: int
    until: int
    text: str
    lost: int


@dataclass(slots=True)
class _Step:
    """Half a second of a line: its losses, and its slowest exchange."""

    outcomes: Counter[tuple[str, int, int]] = field(default_factory=Counter)
    first: Record | None = None
    slowest: Record | None = None

    @property
    def lost(self) -> int:
        return sum(self.outcomes.values())


class Moments:
    """The moments of one line, from its exchange records in any order."""

    def __init__(self, line: LaidLine) -> None:
        self.line = line
        self._steps: dict[int, _Step] = {}

    def take(self, record: Record) -> None:
        """An exchange record of this line."""
        step = self._steps.setdefault(record[10] // _STEP, _Step())
        if record[12] in _LOST:
            step.outcomes[record[12], record[3], record[4]] += 1
            if step.first is None or record[10] < step.first[10]:
                step.first = record
        elif step.slowest is None or _took(record) > _took(step.slowest):
            step.slowest = record

    def lossy(self) -> list[tuple[int, int, int]]:
        """(rank within its episode, losses, number) of each step with losses; rank 0 is the worst of an episode."""
        episodes: list[list[int]] = []
        for number in sorted(number for number, step in self._steps.items() if step.lost):
            if episodes and (number - episodes[-1][-1] - 1) * _STEP < _APART:
                episodes[-1].append(number)
            else:
                episodes.append([number])
        found = []
        for episode in episodes:
            worst = sorted(episode, key=lambda number: -self._steps[number].lost)
            found += [(rank, self._steps[number].lost, number) for rank, number in enumerate(worst)]
        return found

    def slow(self) -> list[tuple[int, int]]:
        """(ns, number) of the slowest exchange of each step without losses."""
        return [(_took(one.slowest), number) for number, one in self._steps.items() if one.slowest and not one.lost]

    def lost_moment(self, number: int) -> Moment:
        """The picture of a step with losses."""
        step = self._steps[number]
        assert step.first is not None
        parts = []
        for (outcome, camera, address), count in step.outcomes.most_common(4):
            stand = self.line.stand(camera)
            name = f"address {address}" if stand is None else stand.name
            parts.append(f"{count} × {_WORDS[outcome]}, {name}")
        rest = len(step.outcomes) - 4
        more = f"; {rest} more kinds" if rest > 0 else ""
        text = f"{step.lost} of its exchanges lost in half a second: {'; '.join(parts)}{more}"
        return self._moment(step.first, text, step.lost)

    def slow_moment(self, number: int) -> Moment:
        """The picture of a step's slowest exchange."""
        record = self._steps[number].slowest
        assert record is not None
        stand = self.line.stand(record[3])
        name = f"address {record[4]}" if stand is None else stand.name
        return self._moment(record, f"slowest exchange: {record[5]} of {name}, {show_time(_took(record))}", 0)

    def _moment(self, record: Record, text: str, lost: int) -> Moment:
        sent, ended = record[9], record[10]
        span = min(_LONGEST, max(_LEAST, ended - sent + 2 * _AROUND))
        since = max(0, min(sent - _AROUND, ended + _AROUND - span) if ended - sent > span else sent - _AROUND)
        return Moment(self.line, since, since + span, text, lost)


def _took(record: Record) -> int:
    return int(record[10] - record[9])


def worst(given: Sequence[Moments], most: int = MOST) -> tuple[list[Moment], str]:
    """The worst moments of all lines, at most `most`, the worst first; and a sentence about those left out.

    Lines take turns, so that one bad line does not hide the worst moment of another.
    """
    in_turn = sorted(
        (
            (turn, rank, -lost, number, one)
            for one in given
            for turn, (rank, lost, number) in enumerate(sorted(one.lossy(), key=lambda e: (e[0], -e[1], e[2])))
        ),
        key=lambda e: e[:4],
    )
    lossy = [entry[1:] for entry in in_turn]
    lossy[:most] = sorted(lossy[:most], key=lambda e: e[:3])
    chosen = [one.lost_moment(number) for _, _, number, one in lossy[:most]]
    left = len(lossy) - len(chosen)
    if left:
        lost = sum(-lost for _, lost, _, _ in lossy[most:])
        return chosen, f"Not shown: {left} more half seconds with {lost} lost exchanges."
    slow = sorted(((-took, number, one) for one in given for took, number in one.slow()), key=lambda e: e[:2])
    chosen += [one.slow_moment(number) for _, number, one in slow[: most - len(chosen)]]
    if not lossy:
        return chosen, "Nothing was lost; these are the slowest exchanges."
    return chosen, "Every half second with a lost exchange is shown; the others are the slowest exchanges."
