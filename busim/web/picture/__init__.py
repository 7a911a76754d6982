"""The picture of a line: what a trace holds of one line in a stretch of time, as shapes in nanoseconds and metres.

In: an open trace and the lines of its plan. Out: a `LinePicture`, which the page draws on a canvas and the report as
SVG. Nothing here knows of pixels, colours or browsers, so what a zoom level shows is tested without one. Read
`line_picture` first.

The form is that of Marey's train diagrams (E.-J. Marey, La methode graphique, 1878): time to the right, the place along
the cable downwards, and everything that moves is a band across both.
"""

from busim.web.picture.bands import Band, Exchange
from busim.web.picture.bits import Bit
from busim.web.picture.decoding import decoded
from busim.web.picture.laid import LaidLine, Stand, laid_lines
from busim.web.picture.line_picture import BITS, EXCHANGES, SUMMARY, LinePicture, line_picture
from busim.web.picture.signs import FAULT, HAND, MARKED, Sign, sign_of
from busim.web.picture.story import Story
from busim.web.picture.sums import Sums
from busim.web.picture.svg import svg

__all__ = [
    "BITS",
    "EXCHANGES",
    "FAULT",
    "HAND",
    "MARKED",
    "SUMMARY",
    "Band",
    "Bit",
    "Exchange",
    "LaidLine",
    "LinePicture",
    "Sign",
    "Stand",
    "Story",
    "Sums",
    "decoded",
    "laid_lines",
    "line_picture",
    "sign_of",
    "svg",
]
