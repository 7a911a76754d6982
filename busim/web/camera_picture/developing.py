"""From light to signal, in the order in which a television camera does it.

Light: iris, shutter, ND; flare. Electronics: noise and gain, colour gains, blacks, gamma and knee. Colour: saturation,
hue, hue sectors. Then detail, clipping at -7 and 109 %, flip. Bars take the place of all of it.
"""

from __future__ import annotations

import numpy as np

from busim.web.camera_picture.bt709 import BARS, Pixels, oetf, to_rgb, to_ycc
from busim.web.camera_picture.chart import WHITE, chart
from busim.web.camera_picture.looks import Look, sector_angles

_LOWEST, _HIGHEST = -0.07, 1.09  # of the signal (EBU R 103 allows -5 and 105 for delivery; from memory)
_SLOPE = 0.2  # above the knee


def picture(look: Look, width: int, height: int, at: int, grain: Pixels | None = None) -> Pixels:
    """R'G'B' of the chart, 0 black and 1 white, and beyond. `grain`: noise of variance 1, as large as the picture."""
    if look.bars:
        return _flipped(bars(width, height), look.flip)
    return developed(look, chart(width, height, at, look.shutter), grain)


def developed(look: Look, light: Pixels, grain: Pixels | None = None) -> Pixels:
    """R'G'B' of a picture's light, of which the white card (90 %) is the full signal where all is normal."""
    signal = light * np.float32(look.exposure / WHITE)
    if look.flare:
        signal = signal + np.float32(look.flare) * signal.mean(axis=(0, 1))
    if grain is not None:
        signal = signal + grain[..., None] * np.float32(look.noise * 10 ** (look.gain / 20))
    signal = oetf(signal * np.array(look.white, dtype=np.float32), look.gamma) + np.array(look.black, dtype=np.float32)
    over = signal - np.float32(look.knee)
    signal = np.where(over > 0, np.float32(look.knee) + np.float32(_SLOPE) * over, signal)
    if look.saturation != 1 or look.hue or look.sectors:
        signal = _coloured(look, signal)
    if look.detail:
        signal = _sharpened(signal, look.detail)
    return _flipped(np.clip(signal, _LOWEST, _HIGHEST).astype(np.float32), look.flip)


def bars(width: int, height: int) -> Pixels:
    """The eight bars at 75 %."""
    made = np.zeros((height, width, 3), dtype=np.float32)
    for number, colour in enumerate(BARS.values()):
        made[:, round(width * number / 8) : round(width * (number + 1) / 8)] = colour
    return made


def _coloured(look: Look, signal: Pixels) -> Pixels:
    """Colour differences stretched and turned, all of them and sector by sector."""
    y, cb, cr = to_ycc(signal)
    factor: Pixels | np.float32 = np.float32(look.saturation)
    turn: Pixels | np.float32 = np.float32(np.radians(look.hue))
    if look.sectors:
        angle = np.degrees(np.arctan2(cr, cb))
        near = 360 / len(look.sectors)
        for middle, (degrees, times) in zip(sector_angles(len(look.sectors)), look.sectors, strict=True):
            if degrees or times != 1:
                away = np.abs((angle - middle + 180) % 360 - 180)
                weight = np.clip(1 - away / near, 0, 1).astype(
                    np.float32
                )  # full in the middle of a sector, 0 in the middle of the next
                factor = factor * (1 + weight * np.float32(times - 1))
                turn = turn + weight * np.float32(np.radians(degrees))
    cos, sin = np.cos(turn) * factor, np.sin(turn) * factor
    return to_rgb(y, cb * cos - cr * sin, cb * sin + cr * cos)


def _sharpened(signal: Pixels, much: float) -> Pixels:
    """Luma with raised edges: the difference from the mean of the neighbours is added."""
    y = to_ycc(signal)[0]
    around = (np.roll(y, 1, 0) + np.roll(y, -1, 0) + np.roll(y, 1, 1) + np.roll(y, -1, 1)) / 4
    return np.asarray(signal + np.float32(much) * (y - around)[..., None], dtype=np.float32)


def _flipped(signal: Pixels, how: str) -> Pixels:
    if "upside down" in how or "both" in how:
        signal = signal[::-1]
    if "mirrored" in how or "both" in how:
        signal = signal[:, ::-1]
    return signal
