"""The picture of one line over a stretch of time, at the level of detail that the stretch allows.

Three levels: sums over steps of time (hours to minutes), exchanges as bands, single bits. The level depends on the
width in pixels and on the number of events, never on the time of computation.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from busim.recording.trace import BURST, EXCHANGE, Record, Trace
from busim.web.picture.bands import Band, Exchange, bands, collided, tied, with_bits
from busim.web.picture.laid import LaidLine
from busim.web.picture.open_pairs import OpenPairs
from busim.web.picture.signs import Sign, signs
from busim.web.picture.story import Story
from busim.web.picture.sums import COLUMNS, Sums

SUMMARY, EXCHANGES, BITS = "summary", "exchanges", "bits"
MOST_BANDS = 1500  # bursts that a browser draws at once
_PIXELS_AN_EXCHANGE = 3  # request, reply and what lies between; where there are fewer, sums show more
_LONGEST_BANDS = 60_000_000_000  # ns; on a longer stretch sums show more than bands, however few
_PIXELS_A_BIT = 4  # below that bits cannot be distinguished
_LONGEST_EXCHANGE = 10_000_000_000  # ns; a longer exchange shows from its last 10 s on
_LONGEST_BURST = 2_000_000_000  # ns by which a burst may begin before the window


@dataclass(frozen=True)
class LinePicture:
    """The events of a line in since <= t < until (ns). `level`: summary, exchanges or bits.

    `step`: ns of a row of `rows` (start and the sums named in `columns`), 0 at the other levels. `cuts`: instants (ns)
    with the metres at which the pair is open from then on. `left_out`: the number of signs not listed.
    """

    line: LaidLine
    since: int
    until: int
    level: str
    bands: list[Band] = field(default_factory=list)
    exchanges: list[Exchange] = field(default_factory=list)
    signs: list[Sign] = field(default_factory=list)
    cuts: dict[int, tuple[float, ...]] = field(default_factory=dict)
    step: int = 0
    rows: list[list[int]] = field(default_factory=list)
    left_out: int = 0

    def as_json(self) -> dict[str, Any]:
        """JSON-ready."""
        return {
            "line": self.line.number, "since": self.since, "until": self.until, "level": self.level,
            "bands": [band.as_json() for band in self.bands],
            "exchanges": [one.as_json() for one in self.exchanges],
            "signs": [sign.as_json() for sign in self.signs],
            "cuts": [{"from": at, "metres": places} for at, places in self.cuts.items()],
            "step": self.step, "columns": COLUMNS, "rows": self.rows, "left_out": self.left_out,
        }  # fmt: skip


def line_picture(
    trace: Trace, line: LaidLine, sums: Sums | None, story: Story, since: int, until: int, width: int = 1200
) -> LinePicture:
    """The picture of a window on `width` pixels; bands however many without `sums`. Raises UserError if the trace is
    damaged.
    """
    most = min(MOST_BANDS, 2 * width // _PIXELS_AN_EXCHANGE)
    if sums and (until - since > _LONGEST_BANDS or sums.count(trace, "bursts", since, until) > most):
        step, rows = sums.steps(trace, since, until, max(50, width // 3))
        found, left = signs(trace, story, line, since, until) if until - since < _FEW else ([], 0)
        return LinePicture(line, since, until, SUMMARY, signs=found, step=step, rows=rows.tolist(), left_out=left)
    cuts = _cuts(line, story.until(until))
    ended = trace.records(EXCHANGE, since, until + _LONGEST_EXCHANGE, line=line.number, by_time=True)
    reported = sorted((one for one in ended if one[9] < until), key=lambda one: int(one[9]))
    last = max((one[10] for one in reported), default=until)  # the reply to the last request shows as awaited
    since_burst = min((one[9] for one in reported), default=since) - _LONGEST_BURST
    started = list(trace.records(BURST, max(0, since_burst), max(until, last), line=line.number, by_time=True))
    made, exchanges = tied(line, collided(line, bands(line, started, cuts)), reported)
    labels = [record[5] for record in started]
    way = line.delay(0.0, line.length)
    shown = [number for number, band in enumerate(made) if band.end + way > since and band.start < until]
    made, labels = [made[number] for number in shown], [labels[number] for number in shown]
    level = BITS if until - since <= line.bit * width / _PIXELS_A_BIT else EXCHANGES
    if level == BITS:
        made = with_bits(trace, made, labels, since - way, until)
    found, left = signs(trace, story, line, since, until)
    return LinePicture(line, since, until, level, made, exchanges, found, _shown(cuts, since), left_out=left)


_FEW = 3_600_000_000_000  # ns: signs of longer stretches are not searched; the sums show the places of interest


def _shown(cuts: dict[int, tuple[float, ...]], since: int) -> dict[int, tuple[float, ...]]:
    """The state at the beginning of the window, and the changes in it."""
    before = [at for at in cuts if at <= since]
    return {max(at, since): places for at, places in cuts.items() if at > since or at == before[-1]}


def _cuts(line: LaidLine, story: list[Record]) -> dict[int, tuple[float, ...]]:
    """Instants with the open places of the pair from then on; the first entry is for instant 0."""
    pairs = OpenPairs(line)
    found: dict[int, tuple[float, ...]] = {0: ()}
    last: tuple[float, ...] = ()
    for record in story:
        pairs.take(record)
        if pairs.places() != last:
            last = found[record[1]] = pairs.places()
    return found
