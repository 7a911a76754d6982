"""The numbers of ITU-R BT.709 (from memory): transfer, luma, colour differences, quantisation.

V = 4.5 L below L = 0.018, else 1.099 L^0.45 - 0.099. Y' = 0.2126 R' + 0.7152 G' + 0.0722 B'; C'b = (B' - Y') / 1.8556,
C'r = (R' - Y') / 1.5748. In 8 bits Y' is 16 + 219 Y', a colour difference 128 + 224 C'.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Pixels = npt.NDArray[np.float32]

RED, GREEN, BLUE = 0.2126, 0.7152, 0.0722
_TO_B, _TO_R = 2 * (1 - BLUE), 2 * (1 - RED)  # 1.8556 and 1.5748

# Name to R', G', B' of the bars at 75 %, in their order on the screen.
BARS = {
    "white": (0.75, 0.75, 0.75), "yellow": (0.75, 0.75, 0.0), "cyan": (0.0, 0.75, 0.75), "green": (0.0, 0.75, 0.0),
    "magenta": (0.75, 0.0, 0.75), "red": (0.75, 0.0, 0.0), "blue": (0.0, 0.0, 0.75), "black": (0.0, 0.0, 0.0),
}  # fmt: skip


def oetf(light: Pixels, power: float = 0.45) -> Pixels:
    """The signal of a light, 0 for black and 1 for white; `power`: 0.45 is the standard's."""
    clean = np.maximum(light, 0)
    steep = np.float32(1.099) * np.power(clean, np.float32(power)) - np.float32(0.099)
    return np.where(clean < 0.018, np.float32(4.5 * 0.45 / power) * clean, steep).astype(np.float32)


def luma(signal: Pixels) -> Pixels:
    """Y' of R'G'B' in the last axis."""
    return np.asarray(signal @ np.array((RED, GREEN, BLUE), dtype=np.float32))


def to_ycc(signal: Pixels) -> tuple[Pixels, Pixels, Pixels]:
    """Y', C'b and C'r of R'G'B'; the differences from -0.5 to 0.5."""
    y = luma(signal)
    return y, (signal[..., 2] - y) / np.float32(_TO_B), (signal[..., 0] - y) / np.float32(_TO_R)


def to_rgb(y: Pixels, cb: Pixels, cr: Pixels) -> Pixels:
    """R'G'B' of Y', C'b and C'r."""
    red, blue = y + np.float32(_TO_R) * cr, y + np.float32(_TO_B) * cb
    green = (y - np.float32(RED) * red - np.float32(BLUE) * blue) / np.float32(GREEN)
    return np.stack((red, green, blue), axis=-1).astype(np.float32)


def codes(y: float, cb: float, cr: float) -> tuple[int, int, int]:
    """The 8-bit codes of a colour."""
    return round(16 + 219 * y), round(128 + 224 * cb), round(128 + 224 * cr)
