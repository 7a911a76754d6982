"""The camera's picture: levels by ITU-R BT.709, by hand and by colour-science; and the effect of each setting."""

from __future__ import annotations

import time
from dataclasses import replace

import numpy as np
import pytest

from busim.plan.models import load
from busim.web.camera_picture import (
    BARS,
    GRATICULE,
    PATCHES,
    Look,
    chart,
    codes,
    developed,
    grain,
    look_of,
    luma,
    oetf,
    picture,
    to_rgb,
    to_ycc,
    vectorscope,
    waveform,
)

W, H = 240, 136

# By hand from ITU-R BT.709 (from memory), 8 bits: Y' = 16 + 219 (0.2126 R' + 0.7152 G' + 0.0722 B'), C' = 128 + 224 C'.
# Yellow: 16 + 219 x 0.75 x 0.9278 = 168.4; C'b = -0.5 x 0.75: 128 - 84 = 44; C'r = 0.75 (1 - 0.9278) / 1.5748: 136.
BY_HAND = {
    "white": (180, 128, 128), "yellow": (168, 44, 136), "cyan": (145, 147, 44), "green": (133, 63, 52),
    "magenta": (63, 193, 204), "red": (51, 109, 212), "blue": (28, 212, 120), "black": (16, 128, 128),
}  # fmt: skip


@pytest.mark.parametrize("name", BARS)
def test_bars_have_the_levels_that_the_standard_gives(name: str) -> None:
    y, cb, cr = to_ycc(np.array([BARS[name]], dtype=np.float32))
    assert codes(float(y[0]), float(cb[0]), float(cr[0])) == BY_HAND[name]


def test_transfer_luma_and_bars_agree_with_an_independent_library() -> None:
    """colour-science: its ITU-R BT.709 transfer function and its Y'CbCr."""
    import colour

    light = np.linspace(0, 1, 257)
    assert np.abs(oetf(light.astype(np.float32)) - colour.models.oetf_BT709(light)).max() < 1e-3  # at the joint of both
    for rgb in BARS.values():
        wanted = colour.RGB_to_YCbCr(
            np.array(rgb), K=colour.WEIGHTS_YCBCR["ITU-R BT.709"], in_bits=8, in_legal=False, in_int=False, out_bits=8,
            out_legal=True, out_int=True,
        )  # fmt: skip
        y, cb, cr = to_ycc(np.array([rgb], dtype=np.float32))
        assert codes(float(y[0]), float(cb[0]), float(cr[0])) == tuple(int(one) for one in wanted)


def test_patches_are_the_samples_of_cie_13_3_by_their_published_spectra() -> None:
    """CIE 13.3-1995, spectra as colour-science has them, under D65 for the 2 degree observer, in BT.709 primaries."""
    import colour
    from colour.quality import cri

    samples = cri.SDS_TCS.get("CIE 1995", cri.SDS_TCS)
    observer = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    to_linear = colour.models.RGB_COLOURSPACE_BT709.matrix_XYZ_to_RGB
    for number, patch in enumerate(PATCHES, 1):
        xyz = colour.sd_to_XYZ(samples[f"TCS{number:02d}"], observer, colour.SDS_ILLUMINANTS["D65"]) / 100
        assert patch == pytest.approx(to_linear @ xyz, abs=6e-5)


def test_colour_differences_and_back_are_the_same_colour() -> None:
    colours = chart(W, H, 0, 0.02)
    assert np.abs(to_rgb(*to_ycc(colours)) - colours).max() < 1e-5


def test_grey_steps_are_equal_steps_of_the_signal_up_to_full_white() -> None:
    signal = luma(picture(Look(noise=0), W, H, 0))
    steps = [float(signal[5, round(W * (number + 0.5) / 11)]) for number in range(11)]
    assert steps[0] == pytest.approx(0, abs=1e-3)
    assert steps[-1] == pytest.approx(1, abs=1e-3)
    assert np.diff(steps) == pytest.approx(np.full(10, 0.1), abs=0.02)


def test_the_waveform_of_bars_has_a_line_at_each_level() -> None:
    made = waveform(picture(Look(bars=True), W, H, 0), 240, 126)
    for number, colour in enumerate(BARS.values()):
        column = made[:, 240 * number // 8 + 10]
        assert np.flatnonzero(column).size == 1
        level = 1.15 - np.flatnonzero(column)[0] / 125 * 1.25
        assert level == pytest.approx(float(luma(np.array(colour, dtype=np.float32))), abs=0.011)


def test_the_six_bars_lie_in_the_boxes_of_the_vectorscope() -> None:
    """Angles by BT.709: red at 103.3 degrees from C'b towards C'r, by atan2(0.5, -0.2126 / 1.8556)."""
    made = vectorscope(picture(Look(bars=True), W, H, 0), 192)
    rows, columns = np.nonzero(made)
    lit = {(round(float(x) / 191, 2), round(float(y) / 191, 2)) for x, y in zip(columns, rows, strict=True)}
    assert len(lit) == 7  # six colours, and the middle
    for x, y in GRATICULE.values():
        assert any(abs(x - a) < 0.012 and abs(y - b) < 0.012 for a, b in lit)
    x, y = GRATICULE["red"]
    assert np.degrees(np.arctan2(0.5 - y, x - 0.5)) == pytest.approx(103.3, abs=0.5)


def test_noise_has_mean_0_and_variance_1_and_is_new_with_each_frame() -> None:
    one, other = grain(480, 270, 1), grain(480, 270, 2)
    assert (float(one.mean()), float(one.var())) == (pytest.approx(0, abs=0.01), pytest.approx(1, abs=0.02))
    assert abs(float((one * other).mean())) < 0.01
    assert abs(float((one[:, 1:] * one[:, :-1]).mean())) < 0.01


def white_of(look: Look) -> float:
    """Light on the brightest step, before gamma."""
    return float(look.exposure)


def test_a_stop_is_a_factor_of_two_and_six_db_are_one() -> None:
    assert white_of(Look(nd=1)) == pytest.approx(0.5)
    assert white_of(Look(gain=6.0206)) == pytest.approx(2, rel=1e-4)
    assert white_of(Look(shutter=1 / 100)) == pytest.approx(0.5)


@pytest.mark.parametrize(
    ("change", "what"),
    [
        ({"white": (1.3, 1.0, 1.0)}, "red"),
        ({"black": (0.1, 0.1, 0.1)}, "black"),
        ({"flare": 0.1}, "black"),
        ({"gamma": 0.4}, "middle"),
        ({"saturation": 0.5}, "colour"),
        ({"hue": 20.0}, "colour"),
        ({"knee": 0.7}, "white"),
        ({"detail": 1.0}, "edges"),
        ({"flip": "mirrored"}, "place"),
        ({"flip": "upside down"}, "place"),
        ({"sectors": ((0.0, 2.0),) + ((0.0, 1.0),) * 7}, "one colour"),
    ],
)
def test_each_setting_changes_what_it_is_named_for_and_greys_stay_grey_under_colour(change: object, what: str) -> None:
    plain, made = (picture(look, W, H, 0) for look in (Look(), replace(Look(), **change)))  # type: ignore[arg-type]
    assert np.abs(plain - made).max() > 0.02
    if what in ("colour", "one colour"):
        assert made[:40] == pytest.approx(plain[:40], abs=2e-3)  # the grey steps
    if what == "white":
        assert luma(made)[5, W - 5] < luma(plain)[5, W - 5]
    if what == "place":
        back = made[:, ::-1] if change == {"flip": "mirrored"} else made[::-1]
        assert np.array_equal(back, plain)


def test_the_moving_part_is_drawn_out_by_a_long_shutter_and_loses_no_light() -> None:
    short, long = (chart(W, H, 2_000_000_000, shutter)[-10, :, 0] - 0.03 for shutter in (1 / 1000, 1 / 5))
    assert (long > 0.01).sum() > (short > 0.01).sum() + 8
    assert long.sum() == pytest.approx(short.sum(), rel=0.05)


def test_a_hue_sector_turns_its_own_colour_and_not_the_opposite_one() -> None:
    eight = ((20.0, 1.0),) + ((0.0, 1.0),) * 7
    red, cyan = (np.array([[colour]], dtype=np.float32) for colour in ((0.6, 0.1, 0.1), (0.1, 0.6, 0.6)))
    for light, moved in ((red, True), (cyan, False)):
        before, after = (to_ycc(developed(look, light)) for look in (Look(), Look(sectors=eight)))
        turned = abs(float(np.degrees(np.arctan2(after[2], after[1]) - np.arctan2(before[2], before[1]))[0, 0]))
        assert (turned > 5) == moved


@pytest.mark.parametrize("model", ["zoom-camera", "minicam", "slow-motion-camera", "pan-tilt-head"])
def test_the_defaults_of_every_model_change_nothing_but_exposure(model: str) -> None:
    look = look_of(load(model).parameters, {})
    assert look == replace(Look(), shutter=look.shutter, sectors=look.sectors)
    assert all(sector == (0.0, 1.0) for sector in look.sectors)


def test_values_of_a_camera_become_its_look() -> None:
    parameters = load("zoom-camera").parameters
    counts = {"iris": 1000, "gain": 12, "shutter": 2, "red_gain": 64, "red_black": 128, "test_picture": 1}
    look = look_of(parameters, counts)
    assert (look.iris, look.gain, look.shutter, look.bars) == (4.0, 6.0, 1 / 100, True)
    assert look.white == (0.5, 1.0, 1.0)
    assert look.black == (pytest.approx(0.25 * 64 / 255), 0.0, 0.0)
    assert look_of(parameters, {"shutter": 99}) == look_of(parameters, {"shutter": 5})  # clipped to its range


def test_values_out_of_all_bounds_give_a_picture_all_the_same() -> None:
    for model in ("zoom-camera", "slow-motion-camera"):
        parameters = load(model).parameters
        for count in (-(2**40), 0, 2**40):
            made = picture(look_of(parameters, {one.name: count for one in parameters}), 64, 36, 0)
            assert made.shape == (36, 64, 3)
            assert np.isfinite(made).all()


def test_ten_pictures_a_second_take_less_than_a_second_of_computing() -> None:
    """In processor time of this process, which other work on the machine hardly changes."""
    look = Look(saturation=1.1, hue=5, detail=0.5, flare=0.02, sectors=((3.0, 1.1),) * 8)
    grain = np.zeros((270, 480), dtype=np.float32)
    picture(look, 480, 270, 0, grain)
    begun = time.process_time()
    for number in range(5):
        made = picture(look, 480, 270, number * 100_000_000, grain)
        waveform(made)
        vectorscope(made)
    assert time.process_time() - begun < 0.5 * 3  # a shared processor is up to three times slower
