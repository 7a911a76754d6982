"""Characters and clocks: the length of a character, the instant of its byte, and no accumulated rounding.

MODBUS over Serial Line V1.02 is the standard of that name; ANSI E1.11 (DMX512) is quoted second-hand.
"""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from busim.foundation.units import CharFormat, parse_baud
from busim.protocols import find
from busim.simulator.bus import Burst, Setting, Station, setting

FORMATS = [f"{bits}{parity}{stop}" for bits in "5678" for parity in "NEOMS" for stop in ("1", "1.5", "2")]


def _port(baud: int | str | Fraction, format: str) -> Setting:
    return setting(parse_baud(str(baud)) if isinstance(baud, str) else Fraction(baud), CharFormat.parse(format))


@pytest.mark.parametrize(
    ("format", "bits"), [("8N1", 10), ("8E1", 11), ("8O1", 11), ("8N2", 11), ("7E1", 10), ("8E2", 12)]
)
def test_a_character_has_as_many_bits_as_its_format_says(format: str, bits: int) -> None:
    """MODBUS over Serial Line V1.02, 2.5.1."""
    assert CharFormat.parse(format).half_bits == 2 * bits


@pytest.mark.parametrize(
    ("baud", "format", "ns"),
    [(9600, "8N1", 1_041_667), (38400, "8E1", 286_458), (115200, "8N1", 86_806), (250_000, "8N2", 44_000)],
)
def test_a_character_lasts_as_long_as_its_bits(baud: int, format: str, ns: int) -> None:
    """Derived from V1.02, 2.5.1; the 44 us slot: ANSI E1.11 (second-hand)."""
    assert _port(baud, format).char == pytest.approx(ns, abs=1)


@pytest.mark.parametrize(("format", "bits"), [("8N1", 9.5), ("8E1", 10.5), ("8N2", 9.5)])
def test_a_byte_is_there_in_the_middle_of_its_first_stop_bit(format: str, bits: float) -> None:
    """Analog Devices / Maxim tutorial 2141: the last sample of a 10-bit character is tick 152 of 16x, 9.5 bits."""
    port = _port(1_000_000, format)
    assert port.sample == bits * 1000
    assert port.sample + port.tail == port.char
    if format == "8N1":
        assert port.sample * 16 == 152 * 1000


@given(
    st.fractions(min_value=50, max_value=10**7, max_denominator=1000),
    st.sampled_from(FORMATS),
    st.integers(0, 10**7),
    st.sampled_from([0.0, 20_000.0, -35.5, 1.25]),
)
def test_an_instant_is_never_more_than_half_a_nanosecond_off(
    baud: Fraction, format: str, halves: int, ppm: float
) -> None:
    """Against exact rational arithmetic: half bit n of a burst lies n half bits after its start."""
    port = setting(baud, CharFormat.parse(format), ppm)
    exact = halves * Fraction(10**9) / (2 * baud * (1 + Fraction(ppm) / 10**6))
    assert abs(port.offset(halves) - exact) <= Fraction(1, 2)


@pytest.mark.parametrize("baud", [9600, 38400, 115200, "230769.23", Fraction(16_000_000, 16 * 9)])
@pytest.mark.parametrize("format", ["8N1", "8E1", "5N1.5"])
def test_character_a_million_of_a_burst_has_not_drifted(baud: int | str | Fraction, format: str) -> None:
    """A summed 1041667 ns would be a third of a second late by then."""
    port = _port(baud, format)
    burst = Burst(Station("far end", 0.0, port), b"\x55", 7_000_000_007)
    exact = (999_999 * port.format.half_bits + port.format.sample_halves) * Fraction(10**9) / (2 * port.baud)
    assert abs(burst.sampled(1_000_000) - 7_000_000_007 - exact) <= 1  # two roundings of half a nanosecond


@pytest.mark.parametrize(
    ("baud", "between", "after"),
    [
        (9600, 1718.75, 4010.42),
        (19200, 859.375, 2005.21),
        (19201, 750, 1750),
        (38400, 750, 1750),
        (115200, 750, 1750),
    ],
)
def test_silence_between_and_after_characters_is_that_of_the_standard(baud: int, between: float, after: float) -> None:
    """V1.02, p. 13: t1.5 and t3.5 of 11-bit characters up to 19200 Bd, 750 and 1750 us above; to 0.01 us."""
    protocol = find("modbus-rtu")
    port = _port(baud, "8E1")
    assert protocol.silence(baud) / 1000 == pytest.approx(after, abs=0.01)

    def flaw(gap_us: float) -> str:
        framer = protocol.wire_framer(baud, port.char, port.tail)
        framer.feed(b"\x01", 10**9, 10**9, 0)
        second = 10**9 + port.char + round(gap_us * 1000)
        framer.feed(b"\x02", second, second, 0)
        return framer.elapsed(2 * 10**9)[0][2]

    assert flaw(between - 0.01) == ""
    assert flaw(between + 0.01) == "gap"


def test_a_fractional_baud_is_kept_as_a_fraction() -> None:
    """A divider gives F / (16 (n + 1)): 32 MHz, n = 207 is 9615.4 Bd, +0.16 % (Microchip UART tables)."""
    assert parse_baud("9615.4 Bd") == Fraction(48077, 5)
    divided = Fraction(32_000_000, 16 * 208)
    assert float(divided) == pytest.approx(9615.4, rel=1e-4)
    assert float(divided / 9600 - 1) == pytest.approx(0.0016, abs=1e-4)
    assert _port(divided, "8N1").char == 1_040_000  # 16640 periods of 1/16 us


def test_the_best_divider_of_16_mhz_misses_115200_by_more_than_a_normal_link_allows() -> None:
    """Derived: 16 MHz / (16 x 9) = 111111 Bd, -3.55 %; the budget of a normal link is 3.3 % (tutorial 2141)."""
    best = min((Fraction(16_000_000, 16 * (n + 1)) for n in range(256)), key=lambda baud: abs(baud - 115200))
    assert float(best / 115200 - 1) == pytest.approx(-0.0355, abs=1e-4)
    bit = _port(best, "8N1").char / 10
    assert bit == pytest.approx(9000, abs=0.1)


def test_parity_of_1100_0101() -> None:
    """V1.02, 2.6.1: four ones, so even parity sends 0 and odd parity sends 1."""
    value = 0b1100_0101
    assert CharFormat.parse("8E1").parity_bit(value) == 0
    assert CharFormat.parse("8O1").parity_bit(value) == 1
    assert CharFormat.parse("8M1").parity_bit(value) == 1
    assert CharFormat.parse("8S1").parity_bit(value) == 0


@given(st.integers(0, 255), st.sets(st.integers(0, 7), min_size=1), st.sampled_from(["8E1", "8O1"]))
def test_parity_sees_an_odd_number_of_flipped_bits_and_misses_an_even_one(
    value: int, flipped: set[int], format: str
) -> None:
    """V1.02, 2.6.1."""
    damaged = value ^ sum(1 << bit for bit in flipped)
    parity = CharFormat.parse(format).parity_bit
    assert (parity(damaged) != parity(value)) == (len(flipped) % 2 == 1)


def test_a_dmx512_packet_of_513_slots_lasts_22676_us() -> None:
    """ANSI E1.11 (second-hand): break 92 us, mark after break 12 us, 513 slots at 250 kBd 8N2; 44.1 packets/s."""
    port = _port(250_000, "8N2")
    packet = 92_000 + 12_000 + port.offset(513 * port.halves)
    assert packet == pytest.approx(22_676_000, abs=1000)
    assert 1e9 / packet == pytest.approx(44.1, abs=0.05)
