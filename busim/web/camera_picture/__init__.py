"""The picture of a camera: a test chart through its settings, and what the instruments show of it.

In: values of a camera's parameters. Out: arrays of 8-bit RGB, a waveform and a vectorscope. The path is that of a
television camera, in the order in which one is built; the numbers of the signal are those of ITU-R BT.709. Open
`developing.py` first. It is a model to learn by, with no lens, no sensor and no maker's curve in it.
"""

from busim.web.camera_picture.bt709 import BARS, codes, luma, oetf, to_rgb, to_ycc
from busim.web.camera_picture.chart import PATCHES, chart
from busim.web.camera_picture.developing import developed, picture
from busim.web.camera_picture.looks import Look, look_of
from busim.web.camera_picture.scopes import GRATICULE, vector_place, vectorscope, waveform
from busim.web.camera_picture.shown import grain, look_bytes

__all__ = [
    "BARS",
    "GRATICULE",
    "PATCHES",
    "Look",
    "chart",
    "codes",
    "developed",
    "grain",
    "look_bytes",
    "look_of",
    "luma",
    "oetf",
    "picture",
    "to_rgb",
    "to_ycc",
    "vector_place",
    "vectorscope",
    "waveform",
]
