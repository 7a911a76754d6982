"""The picture of a line as SVG, for paper: hatches and words distinguish the bands, so it reads in grey too."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from markupsafe import Markup

from busim.foundation.markup import el, void
from busim.web.picture.bands import BREAK, REPLY, REQUEST, STRAY, Band, Exchange
from busim.web.picture.laid import LaidLine, Stand
from busim.web.picture.line_picture import LinePicture
from busim.web.picture.signs import Sign

# Okabe and Ito, "Color Universal Design", 2008 (from memory), each with a hatch of its own.
COLOURS = {REQUEST: "#0072B2", REPLY: "#E69F00", STRAY: "#CC79A7", BREAK: "#555555"}
_LEFT, _RIGHT, _TOP, _BOTTOM = 150.0, 14.0, 14.0, 30.0
_LEAST = 15.0  # between two names of stations
_MOST_SIGNS = 12
_MOST_WORDS = 6  # words on bands; more would cover them
_NICE = (1, 2, 5)
_SAID = {"time-out": "no answer", "ran-together": "ran together", "damaged": "damaged", "refused": "refused"}


def svg(picture: LinePicture, *, width: float = 720.0, number: int = 0) -> Markup:
    """The picture, `width` wide (its unit is a CSS pixel); the height follows from the stations.

    `number`: of the picture on its page, since names of hatches must be unique there. At the level of sums it has no
    bands and shows signs alone.
    """
    line = picture.line
    height = _TOP + _BOTTOM + max(90.0, _LEAST * 1.6 * len(line.stands))
    scale = _Scale(picture, width, height)
    parts = [
        el("title", f"{line.name}, {_seconds(picture.since)} to {_seconds(picture.until)}"),
        _hatches(number),
        void("rect", x=_LEFT, y=_TOP, width=_n(scale.across), height=_n(scale.down), class_="ground"),
        *_stations(line, scale),
        *_time(picture, scale),
        *(shape for one in picture.exchanges for shape in _exchange(one, scale)),
        *(shape for band in picture.bands for shape in _band(line, band, scale, number)),
        *_outcomes(picture.exchanges, scale),
        *_collisions(picture, scale),
        *_cuts(picture, scale),
        *_signs(picture.signs, scale),
    ]
    return el("svg", *parts, xmlns="http://www.w3.org/2000/svg", viewBox=f"0 0 {_n(width)} {_n(height)}", class_="line",
              role="img")  # fmt: skip


@dataclass(frozen=True)
class _Scale:
    picture: LinePicture
    width: float
    height: float

    @property
    def across(self) -> float:
        return self.width - _LEFT - _RIGHT

    @property
    def down(self) -> float:
        return self.height - _TOP - _BOTTOM

    def x(self, at: float) -> float:
        """Clipped slightly outside the window, so no coordinate grows without bound."""
        share = (at - self.picture.since) / max(1, self.picture.until - self.picture.since)
        return _LEFT + min(1.0, max(0.0, share)) * self.across

    def y(self, metres: float) -> float:
        return _TOP + 8 + metres / self.picture.line.length * (self.down - 16)


def _hatches(number: int) -> Markup:
    """A pattern for each role but the first, which is plain."""
    marks = {
        REPLY: (void("path", d="M0 6 L6 0", stroke="#000", stroke_width="0.8"),),
        STRAY: (
            void("path", d="M0 6 L6 0", stroke="#000", stroke_width="0.8"),
            void("path", d="M0 0 L6 6", stroke="#000", stroke_width="0.8"),
        ),
        BREAK: (void("path", d="M3 0 V6", stroke="#fff", stroke_width="1.2"),),
    }
    made = [
        el(
            "pattern", void("rect", width=6, height=6, fill=COLOURS[role]), *lines, id=f"{role}{number}",
            width=6, height=6, patternUnits="userSpaceOnUse",
        )
        for role, lines in marks.items()
    ]  # fmt: skip
    return el("defs", *made)


def _stations(line: LaidLine, scale: _Scale) -> Iterator[Markup]:
    last = -_LEAST
    for stand in sorted(line.stands, key=lambda stand: stand.metres):
        y = scale.y(stand.metres)
        last = max(y, last + _LEAST)
        yield void("line", x1=_LEFT, y1=_n(y), x2=_n(scale.width - _RIGHT), y2=_n(y), class_=f"station {stand.kind}")
        yield void("path", d=f"M{_n(_LEFT - 8)} {_n(last)} L{_n(_LEFT)} {_n(y)}", class_="lead")
        yield el("text", _name(stand), x=_n(_LEFT - 10), y=_n(last + 3.5), class_="name", text_anchor="end")


def _name(stand: Stand) -> str:
    name = stand.name if len(stand.name) <= 16 else stand.name[:15] + "…"
    return f"{name}  {stand.metres:g} m" if stand.planned else f"{name}  not planned"


def _time(picture: LinePicture, scale: _Scale) -> Iterator[Markup]:
    step = nice((picture.until - picture.since) / 6)
    for at in range(picture.since, picture.until + 1, step):
        x = scale.x(at)
        yield void("line", x1=_n(x), y1=_TOP, x2=_n(x), y2=_n(_TOP + scale.down), class_="tick")
        anchor = "end" if x > scale.width - _RIGHT - 20 else "middle"
        yield el("text", _relative(at - picture.since, step), x=_n(x), y=_n(scale.height - 14), class_="time",
                 text_anchor=anchor)  # fmt: skip
    yield el("text", f"from {_seconds(picture.since)} on", x=_n(_LEFT), y=_n(scale.height - 2), class_="time")


def nice(least: float) -> int:
    """The least of 1, 2, 5, 10, 20, ... that is not below `least`."""
    power = 1
    while True:
        for base in _NICE:
            if base * power >= least:
                return base * power
        power *= 10


def _relative(at: int, step: int) -> str:
    for unit, size in (("s", 10**9), ("ms", 10**6), ("µs", 10**3)):
        if step >= size // 10:
            return f"+{at / size:g} {unit}"
    return f"+{at} ns"


def _seconds(at: int) -> str:
    return f"{at / 1e9:.6f} s"


def outline(line: LaidLine, band: Band) -> list[tuple[int, float]]:
    """The corners of a band as (ns, metres): it begins at its driver and reaches farther places later."""
    top, bottom = line.delay(band.metres, band.top), line.delay(band.metres, band.bottom)
    return [
        (band.start + top, band.top), (band.start, band.metres), (band.start + bottom, band.bottom),
        (band.end + bottom, band.bottom), (band.end, band.metres), (band.end + top, band.top),
    ]  # fmt: skip


def _band(line: LaidLine, band: Band, scale: _Scale, number: int) -> Iterator[Markup]:
    points = " ".join(f"{_n(scale.x(at))},{_n(scale.y(metres))}" for at, metres in outline(line, band))
    fill = COLOURS[REQUEST] if band.role == REQUEST else f"url(#{band.role}{number})"
    hit = " hit" if band.collides else ""
    yield void("polygon", points=points, fill=fill, class_=f"band {band.role}{hit}")
    yield void("circle", cx=_n(scale.x(band.start)), cy=_n(scale.y(band.metres)), r=2.6, class_="driver")


def _exchange(one: Exchange, scale: _Scale) -> Iterator[Markup]:
    y = _n(scale.y(one.metres))
    if one.answered >= 0:
        yield void("line", x1=_n(scale.x(one.asked)), y1=y, x2=_n(scale.x(one.answered)), y2=y, class_="tie")
    elif one.outcome != "unanswered":
        yield void("line", x1=_n(scale.x(one.asked)), y1=y, x2=_n(scale.x(one.ended)), y2=y, class_="waits")


def _outcomes(given: list[Exchange], scale: _Scale) -> Iterator[Markup]:
    """The outcome of a failed exchange, above the bands; words do not overlap."""
    last: dict[float, float] = {}
    for one in given:
        said = _SAID.get(one.outcome)
        x, y = min(scale.x(one.ended), scale.width - _RIGHT) - 3, scale.y(one.metres) - 4
        if said is not None and x > last.get(y, float("-inf")) + 60:
            last[y] = x
            yield el("text", said, x=_n(max(x, _LEFT + 54)), y=_n(y), class_="said", text_anchor="end")


def _collisions(picture: LinePicture, scale: _Scale) -> Iterator[Markup]:
    """A cross at each place where two drivers meet, with the word at the first few."""
    hit = [band for band in picture.bands if band.collides]
    last = float("-inf")
    said = 0
    for band in hit:
        x, y = scale.x(max(band.start, picture.since)), scale.y(band.metres)
        yield void("path", d=f"M{_n(x - 4)} {_n(y - 4)} l8 8 m0 -8 l-8 8", class_="cross")
        if x > last + 60 and said < _MOST_WORDS:
            last, said = x, said + 1
            yield el("text", "collision", x=_n(x + 6), y=_n(_TOP - 3), class_="said")


def _cuts(picture: LinePicture, scale: _Scale) -> Iterator[Markup]:
    edges = [*picture.cuts.items()]
    for place, (at, metres) in enumerate(edges):
        until = edges[place + 1][0] if place + 1 < len(edges) else picture.until
        for where in metres:
            y = _n(scale.y(where))
            yield void("line", x1=_n(scale.x(at)), y1=y, x2=_n(scale.x(until)), y2=y, class_="cut")
            yield el("text", "pair open", x=_n(scale.x(at) + 3), y=_n(scale.y(where) - 3), class_="said")


def _signs(given: list[Sign], scale: _Scale) -> Iterator[Markup]:
    for sign in given[:_MOST_SIGNS]:
        x = scale.x(sign.at)
        y = _TOP if sign.metres is None else scale.y(sign.metres)
        yield el(
            "g", el("title", f"{_seconds(sign.at)}: {sign.text}"),
            void("path", d=f"M{_n(x)} {_n(y)} l-4 -7 h8 z", class_=f"sign {sign.what}"),
        )  # fmt: skip


def _n(value: float) -> str:
    """A coordinate, short."""
    return f"{value:.1f}".rstrip("0").rstrip(".")
