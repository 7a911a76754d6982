"""The test chart, our own: light as reflected by a card, 1 for a perfect white, in BT.709 primaries.

From top to bottom: eleven grey steps that come out as equal steps of the signal; eight patches, the test colour samples
1 to 8 of CIE 13.3-1995; a sweep of lines ever closer, for detail; a white block that moves, for the shutter.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from busim.web.camera_picture.bt709 import Pixels

WHITE = 0.9  # of the brightest grey step: a good white card (common practice, no source)
GREY = 0.18
STEPS = 11
# CIE 13.3-1995, samples 1 to 8 under D65 for the 2 degree observer, as linear BT.709; a test works them out again from
# the published spectra with colour-science.
PATCHES = (
    (0.4892, 0.2491, 0.2167), (0.3722, 0.2818, 0.1140), (0.2577, 0.3434, 0.0559), (0.1029, 0.3640, 0.1758),
    (0.1344, 0.3532, 0.3775), (0.1680, 0.3094, 0.5661), (0.3634, 0.2501, 0.5205), (0.5114, 0.2420, 0.4366),
)  # fmt: skip
_PERIOD = 4_000_000_000  # ns in which the block crosses the chart


def grey_steps() -> tuple[float, ...]:
    """Reflectances of the grey steps: equal steps of the signal, from black to the white card."""
    top = 1.099 * WHITE**0.45 - 0.099
    signals = (top * step / (STEPS - 1) for step in range(STEPS))
    return tuple(v / 4.5 if v < 0.081 else ((v + 0.099) / 1.099) ** (1 / 0.45) for v in signals)


@lru_cache(maxsize=8)
def _still(width: int, height: int) -> Pixels:
    """The chart without the moving block."""
    made = np.full((height, width, 3), GREY, dtype=np.float32)
    rows = [round(height * share) for share in (0.0, 0.36, 0.66, 0.84, 1.0)]
    for number, grey in enumerate(grey_steps()):
        made[: rows[1], round(width * number / STEPS) : round(width * (number + 1) / STEPS)] = grey
    for number, patch in enumerate(PATCHES):
        left, right = round(width * number / 8), round(width * (number + 1) / 8)
        made[rows[1] + 2 : rows[2] - 2, left + 2 : right - 2] = patch
    x = np.arange(width, dtype=np.float32) / width
    phase = np.cumsum(0.02 + 0.48 * x)  # lines for each pixel: up to the finest that it can show
    lines = np.float32(0.45) + np.float32(0.4) * np.cos(2 * np.pi * phase).astype(np.float32)
    made[rows[2] : rows[3]] = lines[None, :, None]
    made[rows[3] :] = 0.03
    return made


def chart(width: int, height: int, at: int, shutter: float) -> Pixels:
    """The chart at `at` ns; the moving block is blurred over the `shutter` seconds of exposure."""
    made = _still(width, height).copy()
    low = round(height * 0.84)
    size = width / 16
    place = (at % _PERIOD) / _PERIOD * (width + size) - size
    way = max(0.0, min(shutter, 0.5)) * 1e9 / _PERIOD * (width + size)
    x = np.arange(width, dtype=np.float32)
    # The share of the time for which the block covers each column: a box drawn out over the way.
    lit = np.clip(x - place + 1, 0, None), np.clip(x - place - size + 1, 0, None)
    if way < 1:
        share = np.clip(lit[0], 0, 1) - np.clip(lit[1], 0, 1)
    else:
        share = (np.clip(lit[0], 0, way) - np.clip(lit[1], 0, way)) / np.float32(way)
    made[low + 4 : height - 4] += (share * np.float32(0.87))[None, :, None]
    return made
