"""The instruments: a waveform of luma, and a vectorscope with the places of the bars by ITU-R BT.709."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from busim.web.camera_picture.bt709 import BARS, Pixels, luma, to_ycc

Counts = npt.NDArray[np.uint8]

LOW, HIGH = -0.1, 1.15  # of the signal, bottom and top of a waveform
EDGE = 0.6  # colour difference at the edge of a vectorscope


def waveform(signal: Pixels, width: int = 240, height: int = 128) -> Counts:
    """The count of each level in each column, from the bottom up; 0 none, 255 most."""
    y = luma(signal)
    rows = np.clip((HIGH - y) / (HIGH - LOW) * (height - 1), 0, height - 1).astype(np.int64)
    columns = np.broadcast_to(np.arange(y.shape[1]) * width // y.shape[1], y.shape)
    return _lit(rows * width + columns, width, height)


def vectorscope(signal: Pixels, size: int = 192) -> Counts:
    """The count of each colour, C'b to the right and C'r upwards."""
    _, cb, cr = to_ycc(signal)
    x, y = (np.clip((each / (2 * EDGE) + 0.5) * (size - 1), 0, size - 1).astype(np.int64) for each in (cb, -cr))
    return _lit(y * size + x, size, size)


def _lit(places: npt.NDArray[np.int64], width: int, height: int) -> Counts:
    """Counts as brightness: their square root, so that rare ones are visible too."""
    counts = np.bincount(places.ravel(), minlength=width * height).reshape(height, width)
    root = np.sqrt(counts)
    return (root * (255 / max(1.0, float(root.max())))).astype(np.uint8)


def vector_place(colour: tuple[float, float, float]) -> tuple[float, float]:
    """The place of a colour (R'G'B') on a vectorscope, as shares of its width from the left and from the top."""
    _, cb, cr = to_ycc(np.array([colour], dtype=np.float32))
    return float(cb[0]) / (2 * EDGE) + 0.5, 0.5 - float(cr[0]) / (2 * EDGE)


# The boxes of the six colours of the bars at 75 %.
GRATICULE = {name: vector_place(colour) for name, colour in BARS.items() if name not in ("white", "black")}
