"""A picture with its instruments as bytes, as the page draws them."""

from __future__ import annotations

from typing import Any

import numpy as np

from busim.web.camera_picture.bt709 import Pixels
from busim.web.camera_picture.developing import picture
from busim.web.camera_picture.looks import Look
from busim.web.camera_picture.scopes import GRATICULE, HIGH, LOW, vectorscope, waveform

_WAVE, _VECTOR = (240, 126), 192
_FRAME = 40_000_000  # ns of a picture, for its noise


def look_bytes(look: Look, width: int, height: int, at: int) -> tuple[dict[str, Any], bytes]:
    """Sizes, and the bytes one behind the other: RGB of the picture, levels of the waveform, of the vectorscope."""
    signal = picture(look, width, height, at, grain(width, height, at // _FRAME))
    shown = np.clip(signal * 255, 0, 255).astype(np.uint8)
    sizes = {
        "picture": [width, height], "waveform": _WAVE, "vectorscope": [_VECTOR, _VECTOR], "low": LOW, "high": HIGH,
        "graticule": GRATICULE, "exposure": look.exposure,
    }  # fmt: skip
    return sizes, shown.tobytes() + waveform(signal, *_WAVE).tobytes() + vectorscope(signal, _VECTOR).tobytes()


def grain(width: int, height: int, frame: int) -> Pixels:
    """Noise of mean 0 and variance 1, the same for the same frame: scrambled numbers of pixels, four bytes added up."""
    mixed = np.arange(width * height, dtype=np.uint32) + np.uint32((frame * 2_654_435_761) % 2**32)
    for shift, factor in ((16, 0x7FEB352D), (15, 0x846CA68B)):
        mixed ^= mixed >> np.uint32(shift)
        mixed *= np.uint32(factor)
    mixed ^= mixed >> np.uint32(16)
    added = mixed.view(np.uint8).reshape(-1, 4).sum(axis=1, dtype=np.float32)
    return np.asarray((added - 510) / 147.8, dtype=np.float32).reshape(height, width)
