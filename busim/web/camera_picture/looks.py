"""From a camera's parameters to their effects on a picture, by their meanings, whatever their names in a model.

Scales are our own (common practice, no source): the default of a parameter changes nothing. Exposure is in stops, one
for a factor of two of light; gain in dB, 6.02 for a factor of two.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np

from busim.plan.models import Parameter

_NORMAL_SHUTTER = 1 / 50  # s at which the chart is lit for a full white
_FRACTION = re.compile(r"(\d{1,6})/(\d{1,6}) s")
_BLACK = 0.25  # of the signal over the whole range of a black


@dataclass(frozen=True, slots=True)
class Look:
    """`iris`: area of the opening beside the normal one; `shutter`: s; `gain`: dB; `nd`: stops taken away.

    `white` and `black`: of red, green and blue, factors and shares of the signal. `flare`: share of the picture's mean
    light that lies over all. `gamma`: the power; `knee`: signal at which it begins, above 1.09 never. `saturation`:
    factor; `hue`: degrees; `sectors`: (degrees, factor) of equal parts of the colour circle, the first at red.
    `detail`: how strong edges are; `noise`: of the signal at 0 dB. `flip`: upside down, mirrored, both or "". `bars`.
    """

    iris: float = 1.0
    shutter: float = _NORMAL_SHUTTER
    gain: float = 0.0
    nd: float = 0.0
    white: tuple[float, float, float] = (1.0, 1.0, 1.0)
    black: tuple[float, float, float] = (0.0, 0.0, 0.0)
    flare: float = 0.0
    gamma: float = 0.45
    knee: float = 1.2
    saturation: float = 1.0
    hue: float = 0.0
    sectors: tuple[tuple[float, float], ...] = ()
    detail: float = 0.0
    noise: float = 0.002
    flip: str = ""
    bars: bool = False

    @property
    def exposure(self) -> float:
        """The factor of light on the way to the signal, 1 where all is normal."""
        return float(self.iris * self.shutter / _NORMAL_SHUTTER * 2**-self.nd * 10 ** (self.gain / 20))


def look_of(parameters: Sequence[Parameter], counts: Mapping[str, int]) -> Look:
    """The look of a camera; `counts`: values by the names of its parameters, its defaults for those left out."""
    known = {one.meaning: one for one in parameters}
    given, counts = counts, {one.name: one.default for one in parameters}
    for one in parameters:  # a trace may be damaged, and a page sends typed text
        counts[one.name] = min(one.high, max(one.low, given.get(one.name, one.default)))

    def ratio(meaning: str, normal: float = 1.0) -> float:
        """The difference of a count from its parameter's default."""
        one = known.get(meaning)
        return normal if one is None or not one.default else counts.get(one.name, one.default) / one.default

    def share(meaning: str) -> float:
        """The same as a share of the whole range."""
        one = known.get(meaning)
        return 0.0 if one is None else (counts.get(one.name, one.default) - one.default) / max(1, one.high - one.low)

    def scaled(meaning: str, normal: float) -> float:
        """A count in its own unit."""
        one = known.get(meaning)
        return normal if one is None else counts.get(one.name, one.default) * one.scale

    def chosen(meaning: str) -> str:
        one = known.get(meaning)
        if one is None:
            return ""
        count = counts.get(one.name, one.default)
        if one.choices:
            return one.choices[count - one.low] if 0 <= count - one.low < len(one.choices) else ""
        return "on" if count else "off"

    blacks = [share(f"{colour}_black") for colour in ("red", "green", "blue")]
    if not any(f"{colour}_black" in known for colour in ("red", "green", "blue")):
        blacks = [share("master_black")] * 3
    test = chosen("test_picture")
    flip = chosen("flip")
    look = Look(
        iris=ratio("iris") ** 2,
        shutter=_shutter(known.get("shutter"), counts),
        gain=scaled("gain", 0.0),
        nd=float(counts.get(known["nd"].name, known["nd"].default)) if "nd" in known else 0.0,
        white=(ratio("red_gain"), ratio("green_gain"), ratio("blue_gain")),
        black=(_BLACK * blacks[0], _BLACK * blacks[1], _BLACK * blacks[2]),
        flare=0.2 * share("flare"),
        gamma=0.45 * (1 - share("gamma")),
        knee=1.2 if "knee" not in known else 1.2 - 0.5 * share("knee"),
        saturation=ratio("saturation"),
        hue=60 * share("hue"),
        detail=2 * share("detail"),
        flip="" if flip in ("off", "") else flip,
        bars=test not in ("", "off"),
    )
    return replace(look, sectors=tuple(_sectors(parameters, counts)))


def _shutter(one: Parameter | None, counts: Mapping[str, int]) -> float:
    if one is None:
        return _NORMAL_SHUTTER
    count = counts.get(one.name, one.default)
    if one.choices:
        text = one.choices[count - one.low] if 0 <= count - one.low < len(one.choices) else ""
        found = _FRACTION.fullmatch(text)
        return float(Fraction(int(found[1]), int(found[2]))) if found and int(found[2]) else _NORMAL_SHUTTER
    size = {"us": 1e-6, "ms": 1e-3, "s": 1.0}.get(one.unit)
    return _NORMAL_SHUTTER if size is None else count * one.scale * size


def _sectors(parameters: Sequence[Parameter], counts: Mapping[str, int]) -> list[tuple[float, float]]:
    """Turns and factors of the sectors, in their order; empty if the model has no sectors."""
    found: dict[int, list[float]] = {}
    for one in parameters:
        match = re.fullmatch(r"sector_(\d+)_(hue|saturation)", one.name)
        if match is None:
            continue
        count = counts.get(one.name, one.default)
        entry = found.setdefault(int(match[1]), [0.0, 1.0])
        if match[2] == "hue":
            entry[0] = (count - one.default) * one.scale
        else:
            entry[1] = count / one.default if one.default else 1.0
    return [(entry[0], entry[1]) for _, entry in sorted(found.items())]


def sector_angles(number: int) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """Degrees of the middle of each sector on the vectorscope, the first at red."""
    red = np.degrees(np.arctan2(0.5, -0.2126 / 1.8556))  # C'r over C'b of pure red
    return np.asarray(red - np.arange(number) * 360 / max(1, number))
