"""Quantities of supplies, cables and pictures: text with a unit in, numbers in base units out."""

from __future__ import annotations

import contextlib
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from busim.foundation.errors import UserError
from busim.foundation.units import (
    FrameRate,
    Range,
    parse_capacitance,
    parse_coordinate,
    parse_current,
    parse_frame_rate,
    parse_gauge,
    parse_power,
    parse_range,
    parse_resistance,
    parse_shutter,
    parse_voltage,
)


@pytest.mark.parametrize(
    ("parse", "text", "value"),
    [
        (parse_voltage, "48 V", 48.0),
        (parse_voltage, "500 mV", 0.5),
        (parse_current, "3.15 A", 3.15),
        (parse_current, "500 mA", 0.5),
        (parse_power, "12.95 W", 12.95),
        (parse_power, "0", 0.0),
        (parse_power, "500 mA at 12 V", 6.0),
        (parse_resistance, "120 ohm", 120.0),
        (parse_resistance, "4.7 kΩ", 4700.0),
        (parse_capacitance, "1 nF", 1e-9),
        (parse_coordinate, "-4 m", -4.0),
        (parse_coordinate, "10 ft", 3.048),
    ],
)
def test_a_quantity_is_read_into_its_base_unit(parse, text: str, value: float) -> None:
    assert parse(text) == value


@pytest.mark.parametrize(
    ("parse", "text"),
    [
        (parse_voltage, "48"),
        (parse_voltage, "48 W"),
        (parse_current, "-1 A"),
        (parse_power, "much"),
        (parse_power, "0.5 A"),
        (parse_power, "0.5 A at 12"),
        (parse_power, "6 W at 12 V"),
        (parse_resistance, "120 Ohms"),
        (parse_gauge, "24"),
        (parse_gauge, "AWG 41"),
        (parse_gauge, "0 mm2"),
        (parse_gauge, "1 m"),
        (parse_frame_rate, "50"),
        (parse_frame_rate, "0p"),
        (parse_shutter, "1/0 s"),
        (parse_shutter, "0 s"),
        (parse_shutter, "11 s"),
    ],
)
def test_what_is_no_such_quantity_is_refused_with_how_to_write_one(parse, text: str) -> None:
    with pytest.raises(UserError) as caught:
        parse(text)
    assert caught.value.mend
    assert caught.value.expected


def test_a_range_may_share_its_unit_or_have_two() -> None:
    assert parse_range("4..7 W", parse_power) == Range(4, 7)
    assert parse_range("500 mW..1 W", parse_power) == Range(0.5, 1)
    assert parse_range("0..1 W", parse_power) == Range(0, 1)
    assert parse_range("0.25..0.5 A at 12 V", parse_power) == Range(3, 6)
    assert parse_range("6 W", parse_power).fixed
    with pytest.raises(UserError, match="low to high"):
        parse_range("7..4 W", parse_power)


# diameters in mm: HyperPhysics wire table (from Floyd); ASTM B258
@pytest.mark.parametrize(("gauge", "diameter"), [(16, 1.291), (18, 1.024), (20, 0.812), (22, 0.644), (24, 0.511)])
def test_a_cross_section_is_the_gauge_of_that_diameter(gauge: int, diameter: float) -> None:
    area = 3.141592653589793 * diameter**2 / 4
    assert parse_gauge(f"{area:.6f} mm2") == pytest.approx(gauge, abs=0.02)
    assert parse_gauge(f"AWG {gauge}") == parse_gauge(f"{gauge} AWG") == gauge


# 59.94p is 60000/1001: ITU-R BT.709 (from memory)
def test_a_frame_rate_is_exact_and_says_frames_or_fields() -> None:
    assert parse_frame_rate("59.94p") == FrameRate(Fraction(60000, 1001))
    assert parse_frame_rate("50i") == FrameRate(Fraction(50), interlaced=True)
    assert parse_shutter("1/60 s") == Fraction(1, 60)
    assert parse_shutter("10 ms") == Fraction(1, 100)


@given(st.sampled_from(["23.976", "29.97", "59.94", "25", "50", "1234.567", "12.5"]), st.sampled_from("pi"))
def test_a_frame_rate_is_the_same_after_being_written(rate: str, kind: str) -> None:
    frames = parse_frame_rate(rate + kind)
    assert parse_frame_rate(str(frames)) == frames


@given(st.text(max_size=12))
def test_any_text_is_a_quantity_or_refused(text: str) -> None:
    for parse in (parse_gauge, parse_frame_rate, parse_shutter, lambda text: parse_range(text, parse_power)):
        with contextlib.suppress(UserError):
            assert parse(text) is not None
