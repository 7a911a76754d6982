"""Bands: each burst as a stretch of time and of cable; and exchanges, which connect request and reply."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable, Sequence
from typing import Any, NamedTuple

from busim.recording.trace import Record, Trace
from busim.web.picture.bits import Bit, bits
from busim.web.picture.laid import LaidLine, Stand
from busim.web.picture.open_pairs import reach

REQUEST, REPLY, STRAY, BREAK = "request", "reply", "stray", "break"


class Band(NamedTuple):
    """A burst. `start` and `end`: ns at its driver; `top` and `bottom`: metres between which it is heard.

    `role`: request, reply, stray (of no exchange that a master reported) or break. `collides`: another driver sends
    meanwhile. `cut_top`, `cut_bottom`: it ends there because the pair is open. `bits`: empty unless the picture shows
    bits.
    """

    driver: int
    start: int
    end: int
    metres: float
    top: float
    bottom: float
    role: str
    data: bytes
    collides: bool = False
    cut_top: bool = False
    cut_bottom: bool = False
    bits: tuple[Bit, ...] = ()

    def as_json(self) -> dict[str, Any]:
        """JSON-ready."""
        said: dict[str, Any] = {
            "driver": self.driver, "start": self.start, "end": self.end, "metres": self.metres, "top": self.top,
            "bottom": self.bottom, "role": self.role, "size": len(self.data),
        }  # fmt: skip
        if self.collides:
            said["collides"] = True
        if self.cut_top:
            said["cut_top"] = True
        if self.cut_bottom:
            said["cut_bottom"] = True
        if self.bits:
            said["bits"] = self.bits
        return said


class Exchange(NamedTuple):
    """An exchange. `asked`: ns of the end of its request; `answered`: of the start of its reply, -1 without one.

    `metres`: of its camera. `sent` and `ended` as in the trace.
    """

    camera: int
    address: int
    kind: str
    work: str
    attempt: int
    sent: int
    ended: int
    outcome: str
    asked: int
    answered: int
    metres: float

    def as_json(self) -> dict[str, Any]:
        """JSON-ready."""
        return self._asdict()


def bands(line: LaidLine, records: Iterable[Record], cuts: dict[int, tuple[float, ...]]) -> list[Band]:
    """The bands of burst records in order of time. `cuts`: instants with the open places from then on, ascending."""
    made: list[Band] = []
    turns = list(cuts.items())
    now: tuple[float, ...] = ()
    heard: dict[tuple[int, tuple[float, ...]], tuple[float, float, float]] = {}  # many bursts of few drivers
    for _, _, driver, start, end, _, data, _ in records:
        while turns and turns[0][0] <= start:
            now = turns.pop(0)[1]
        if (driver, now) not in heard:
            stand = line.stand(driver)
            at = 0.0 if stand is None else stand.metres
            heard[driver, now] = (at, *reach(line, at, now))
        at, top, bottom = heard[driver, now]
        made.append(
            Band(
                driver,
                start,
                end,
                at,
                top,
                bottom,
                STRAY if data else BREAK,
                data,
                cut_top=top > 0,
                cut_bottom=bottom < line.length,
            )
        )
    return made


def collided(line: LaidLine, given: Sequence[Band]) -> list[Band]:
    """The bands, with a mark on those that overlap one of another driver at a place that both reach."""
    hit: set[int] = set()
    open_: list[int] = []
    way = line.delay(0.0, line.length)
    for number, band in enumerate(given):
        open_ = [other for other in open_ if given[other].end + way > band.start]
        for other in open_:
            if given[other].driver != band.driver and _meet(line, given[other], band):
                hit |= {other, number}
        open_.append(number)
    return [band._replace(collides=True) if number in hit else band for number, band in enumerate(given)]


def _meet(line: LaidLine, one: Band, other: Band) -> bool:
    """Whether the two overlap anywhere: at one of the two drivers, if at all."""
    if one.bottom <= other.top or other.bottom <= one.top:
        return False
    way = line.delay(one.metres, other.metres)
    return other.start < one.end + way and one.start < other.end + way


def tied(line: LaidLine, given: Sequence[Band], records: Iterable[Record]) -> tuple[list[Band], list[Exchange]]:
    """Bands with their role, and the exchanges of exchange records, each with the instants of its turnaround."""
    roles: dict[int, str] = {}
    exchanges = []
    ordered = list(given)
    starts = [band.start for band in ordered]
    reported = 0
    for _, _, master, camera, address, kind, work, attempt, _, sent, ended, _, outcome, _, _ in records:
        asker = line.stand(master)
        stand = line.stand(camera)
        asked, answered = sent, -1
        reported = max(reported, ended)
        for number in range(bisect_left(starts, sent), bisect_left(starts, ended)):
            band = ordered[number]
            if number in roles or band.role == BREAK:
                continue
            driver = line.stand(band.driver)
            if _is_request(driver, asker, band.driver, master) and asked == sent:
                roles[number], asked = REQUEST, band.end
            elif band.driver == camera or (camera == 0 and driver is not None and driver.kind == "camera"):
                roles[number] = REPLY
                if answered < 0:
                    answered = band.start
        exchanges.append(
            Exchange(
                camera,
                address,
                kind,
                work,
                attempt,
                sent,
                ended,
                outcome,
                asked,
                answered,
                line.length if stand is None else stand.metres,
            )
        )
    made = []
    for number, band in enumerate(ordered):
        role = roles.get(number, band.role)
        if role == STRAY and band.start >= reported:  # its exchange is under way
            driver = line.stand(band.driver)
            role = REPLY if driver is not None and driver.kind == "camera" else REQUEST
        made.append(band if role == band.role else band._replace(role=role))
    return made, exchanges


def _is_request(driver: Stand | None, asker: Stand | None, number: int, master: int) -> bool:
    """A master on the line is its own driver; one behind a converter uses the converter's."""
    if asker is not None:
        return number == master
    return driver is not None and driver.kind == "converter"


def with_bits(trace: Trace, given: Sequence[Band], settings: Sequence[int], since: int, until: int) -> list[Band]:
    """The bands with their bits in the window."""
    made = []
    for band, label in zip(given, settings, strict=True):
        setting = trace.settings.get(label)
        if setting is None:
            made.append(band)
            continue
        shown = tuple(bit for bit in bits(setting, band.start, band.data) if bit.end > since and bit.start < until)
        made.append(band._replace(bits=shown))
    return made
