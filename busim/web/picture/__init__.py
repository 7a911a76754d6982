"""The picture of a line: the records of one line over a stretch of time, as shapes in nanoseconds and metres.

In: an open trace and the lines of its plan. Out: a `LinePicture`, which the page draws on a canvas and the report as
SVG. Nothing here knows pixels, colours or browsers, so each zoom level is tested without one. Open `line_picture`
first.

The form is that of Marey's train diagrams (E.-J. Marey, La methode graphique, 1878): time to the right, the place along
the cable downwards, and every moving signal a band across both.
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
