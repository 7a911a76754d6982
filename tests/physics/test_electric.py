"""Cable, bias and unit loads against published figures; networks against nodal solutions made another way."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from busim.foundation.errors import UserError
from busim.foundation.units import parse_gauge
from busim.physics.electric import (
    BESIDE_BIAS,
    CAUTIOUS,
    IMPEDANCE,
    LEAST_DRIVER_LOAD,
    LONGEST,
    MOST_UNIT_LOADS,
    THRESHOLD,
    UNIT_LOAD_OHMS,
    WARM,
    WIDELY_QUOTED,
    Bias,
    Conductor,
    Hung,
    Stand,
    bias_divider,
    bias_resistor,
    copper,
    derivation_limit,
    devices,
    diameter,
    driver_load,
    fuse_limit,
    longest,
    loop,
    loop_loss_db,
    lost,
    propagation_ns,
    receiver_reads,
    reflection,
    stub_limit,
    undriven,
)

FOOT = 0.3048

# -- the pair ------------------------------------------------------------------------------------------------


def test_32_unit_loads_are_32_stations_of_one_and_256_of_an_eighth() -> None:
    """32 x 1 UL; 256 x 1/8 UL; 1 UL >= 12 kohm. TIA/EIA-485-A via TI SLLA272 and ADI AN-960 table 1."""
    assert devices(1) == 32
    assert devices(1 / 8) == 256
    assert (MOST_UNIT_LOADS, UNIT_LOAD_OHMS) == (32, 12_000)
    # 375 ohm, the 32 loads in parallel, is what TI's bias formula has: TI SLLA272 sec. 7
    assert UNIT_LOAD_OHMS / MOST_UNIT_LOADS == 375


def test_two_published_figures_say_what_a_bias_leaves() -> None:
    """96 devices of 1/8 UL (bias costs up to 20 UL), TI SLLA272 sec. 8; 28 devices of 1 UL (bias costs 4), MODBUS
    over Serial Line V1.02, 3.4.6."""
    texas, modbus = BESIDE_BIAS
    assert "SLLA272 sec. 8" in texas.source
    assert "V1.02, 3.4.6" in modbus.source
    assert devices(1 / 8, texas.value) == 96
    assert devices(1, modbus.value) == 28


@pytest.mark.parametrize(
    ("volts", "plain", "fail_safe"),
    [(0.2, 1, 1), (0.199, None, 1), (0.0, None, 1), (-0.03, None, 1), (-0.031, None, None), (-0.2, 0, 0), (-1.5, 0, 0)],
)
def test_a_receiver_reads_as_the_standard_says(volts: float, plain: int | None, fail_safe: int | None) -> None:
    """>= +200 mV 1, <= -200 mV 0, between undefined; true fail-safe parts read 0 V as 1 (-200..-30 mV).

    ADI AN-960 table 3.
    """
    assert receiver_reads(volts) == plain
    assert receiver_reads(volts, fail_safe=True) == fail_safe


def test_a_matched_end_reflects_nothing() -> None:
    """Each terminator equal to the line's impedance, 120 ohm: TI SLLA272 sec. 6, AN-960. The three limits are of any
    text on transmission lines."""
    assert reflection(IMPEDANCE) == 0
    assert IMPEDANCE == 120
    assert reflection(math.inf) == 1
    assert reflection(0) == -1
    assert reflection(150) == pytest.approx(1 / 9)  # MODBUS's 150 ohm (V1.02, 3.4.5) on a 120 ohm cable


@pytest.mark.parametrize(("rise_ns", "feet"), [(100, 7), (250, 19), (500, 38)])
def test_a_stub_is_short_against_the_rise_time(rise_ns: float, feet: int) -> None:
    """7 / 19 / 38 ft at v = 0.78, L <= (tr/10) v c. TI SLLA272 sec. 6."""
    assert math.floor(stub_limit(rise_ns, 0.78) / FOOT) == feet


def test_derivation_cables_share_40_m_at_one_tap_and_have_20_m_at_most() -> None:
    """At most 20 m; an n-port tap at most 40/n m each. MODBUS over Serial Line V1.02, 3.4.3."""
    assert [derivation_limit(ports) for ports in (1, 2, 4, 8)] == [20, 20, 10, 5]


def test_length_times_rate_has_two_published_limits_and_a_cap() -> None:
    """10^8 m bit/s: 50 m at 2 Mbit/s is on the limit (widely quoted); 10^7 in TI SLLA272 sec. 9; 1000 m at 9600 on
    AWG 26: MODBUS V1.02, 3.4.3; 1200 m cap: TI SLLA272."""
    assert longest(2_000_000, WIDELY_QUOTED) == 50
    assert longest(2_000_000, CAUTIOUS) == 5
    assert "SLLA272 sec. 9" in CAUTIOUS.source
    assert longest(9600, WIDELY_QUOTED, gauge=26) == 1000
    assert longest(9600, WIDELY_QUOTED, gauge=24) == 1200 == LONGEST.value
    # TI's own points: 4000 ft at 100 kbit/s, 40 ft at 10 Mbit/s. The first is the cap, the second within a fifth.
    assert longest(100_000, WIDELY_QUOTED) == pytest.approx(4000 * FOOT, rel=0.2)
    assert longest(10_000_000, WIDELY_QUOTED) == pytest.approx(40 * FOOT, rel=0.2)


def test_half_the_level_is_lost_over_1200_m_of_awg_22() -> None:
    """-6.27 dB into 120 ohm ("-6 dB" in print). TI SLLA272 sec. 9; derived."""
    assert loop_loss_db(loop(22, 1200), 120) == pytest.approx(-6.27, abs=0.01)


@pytest.mark.parametrize(("velocity", "ns"), [(0.66, 5.05), (0.78, 4.28)])
def test_a_metre_takes_some_nanoseconds(velocity: float, ns: float) -> None:
    """5.05 ns/m at v = 0.66, 4.28 ns/m at 0.78. Derived."""
    assert propagation_ns(1, velocity) == pytest.approx(ns, abs=0.01)


# -- copper --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("gauge", "ohms"), [(16, 4.016), (18, 6.385), (20, 10.15), (22, 16.14), (24, 25.67), (26, 40.81), (28, 64.9)]
)
def test_copper_resists_as_in_the_tables(gauge: float, ohms: float) -> None:
    """Ohm per 1000 ft at 20 C: HyperPhysics wire table (from Floyd); ASTM B258. At 75 C x 1.2162 (0.00393 /K):
    second-hand, NIST coefficient."""
    assert copper(gauge) * 1000 * FOOT == pytest.approx(ohms, rel=1e-3)
    assert copper(gauge, WARM) / copper(gauge) == pytest.approx(1.2162, rel=1e-3)


@pytest.mark.parametrize(
    ("square_mm", "stranded", "flexible"),
    [("0.5", 36.0, 39.0), ("0.75", 24.5, 26.0), ("1.0", 18.1, 19.5), ("1.5", 12.1, 13.3), ("2.5", 7.41, 7.98)],
)
def test_a_cross_section_has_the_most_ohms_that_the_standard_allows(
    square_mm: str, stranded: float, flexible: float
) -> None:
    """Ohm/km at 20 C: IEC 60228, classes 2 and 5 (from memory). Class 1 has the same maxima as class 2."""
    gauge = parse_gauge(f"{square_mm} mm2")
    assert copper(gauge, conductor="solid") * 1000 == pytest.approx(stranded, rel=1e-9)
    assert copper(gauge, conductor="stranded") * 1000 == pytest.approx(stranded, rel=1e-9)
    assert copper(gauge, conductor="flexible") * 1000 == pytest.approx(flexible, rel=1e-9)


def test_stranded_awg_has_two_percent_more_than_solid() -> None:
    """ASTM B8 (from memory). Flexible: by the ratio of classes 5 and 2 of IEC 60228 more (derived)."""
    assert copper(24, conductor="solid") == copper(24)
    assert copper(24, conductor="stranded") == pytest.approx(1.02 * copper(24))
    assert copper(24, conductor="flexible") == pytest.approx(1.02 * 19.5 / 18.1 * copper(24))


@given(st.floats(0.01, 50), st.sampled_from(("solid", "stranded", "flexible")))
def test_a_wire_in_square_millimetres_never_counts_as_better_than_bare_copper(
    size: float, conductor: Conductor
) -> None:
    gauge = parse_gauge(f"{size:.6f} mm2")
    assert copper(gauge, conductor=conductor) >= copper(gauge)


def test_a_gauge_is_a_diameter() -> None:
    """d = 0.127 x 92^((36-n)/39) mm: ASTM B258, in which AWG 36 is 0.127 mm."""
    assert diameter(36) == pytest.approx(0.127e-3)


def test_a_pair_has_the_resistance_of_two_wires() -> None:
    assert loop(24, 100) == pytest.approx(200 * copper(24))


def test_a_fuse_keeps_to_the_code_where_that_has_a_figure() -> None:
    """7, 10, 15, 20, 30 A for AWG 18 to 10: NEC 240.4(D) (second-hand)."""
    assert [fuse_limit(gauge) for gauge in (18, 16, 14, 12, 10)] == [7, 10, 15, 20, 30]
    assert fuse_limit(17) == 7
    assert fuse_limit(24) == pytest.approx(7 * (diameter(24) / diameter(18)) ** 2)  # derived: the same current density


@given(st.floats(0, 40), st.floats(0, 40))
def test_a_thinner_wire_resists_more_and_takes_no_larger_fuse(one: float, other: float) -> None:
    thick, thin = sorted((one, other))
    assert copper(thick) <= copper(thin)
    assert fuse_limit(thick) >= fuse_limit(thin) - 1e-12


# -- bias ----------------------------------------------------------------------------------------------------


def test_the_bias_resistor_is_what_the_design_guide_gets() -> None:
    """4.75 V, 250 mV, 120 ohm: V/(Vab(1/375 + 4/Z0)) = 527.8 ohm. TI SLLA272 sec. 7."""
    assert bias_resistor(4.75, 0.25, 120) == pytest.approx(527.8, abs=0.5)


def test_the_same_resistor_leaves_less_as_a_network() -> None:
    """523 ohm, two 120 ohm, 32 UL: 0.2396 V, 39.6 mV above the threshold. Derived from TI SLLA272 sec. 7."""
    hung = [Hung((Bias(4.75, 523),), (120,), 16), Hung((), (120,), 16)]
    assert undriven(hung, [0.0]) == pytest.approx((0.2396, 0.2396), abs=1e-4)
    assert undriven(hung, [0.0])[0] - THRESHOLD == pytest.approx(0.0396, abs=1e-4)


@given(st.floats(3, 24), st.floats(100, 5000), st.lists(st.floats(50, 500), max_size=4), st.floats(0, 32))
def test_one_bias_on_a_cable_without_resistance_has_a_closed_form(
    volts: float, ohms: float, terminators: list[float], unit_loads: float
) -> None:
    """V / (1 + R (n/12000 + 2 G)), G the sum of the terminators' conductances. Derived from TI SLLA272 sec. 7."""
    across = sum(1 / each for each in terminators)
    (got,) = undriven([Hung((Bias(volts, ohms),), tuple(terminators), unit_loads)], [])
    assert got == pytest.approx(volts / (1 + ohms * (unit_loads / 12_000 + 2 * across)), rel=1e-9)


def test_the_divider_limit_is_720_ohm() -> None:
    """5 V, 60 ohm, 200 mV: 720 ohm per side. Derived."""
    assert bias_divider(5, 60, 0.2) == pytest.approx(720, abs=0.5)
    assert undriven([Hung((Bias(5, 720),), (120, 120))], []) == pytest.approx((0.2,))


def test_a_standard_line_with_32_unit_loads_is_about_the_load_a_driver_is_made_for() -> None:
    """54 ohm: TIA/EIA-485-A via ADI AN-960 (from memory). 60 ohm beside 32 unit loads are 55.6 (derived)."""
    hung = [Hung((), (120.0,), 16.0), Hung((), (120.0,), 16.0)]
    assert LEAST_DRIVER_LOAD < driver_load(hung) == pytest.approx(1 / (1 / 60 + 32 / 24_000))
    assert driver_load([Hung()]) == math.inf


positions = st.builds(
    Hung,
    st.lists(st.builds(Bias, st.floats(3, 24), st.floats(100, 5000)), max_size=2).map(tuple),
    st.lists(st.sampled_from([100.0, 120.0, 150.0]), max_size=2).map(tuple),
    st.sampled_from([0.0, 0.125, 1.0, 2.0]),
)


@given(st.data(), st.lists(positions, min_size=1, max_size=8))
def test_an_undriven_cable_obeys_kirchhoff_as_a_ladder(data: st.DataObject, hung: list[Hung]) -> None:
    """A and B are loaded alike, so a difference and a mean part solve on their own: a ladder of the difference alone,
    built another way than the code's 2n nodes, must give the same."""
    n = len(hung)
    loops = data.draw(st.lists(st.sampled_from([0.0, 1e-3, 0.5, 8.0, 90.0]), min_size=n - 1, max_size=n - 1))
    # unknowns: n differences and n - 1 currents along wire A; equations: KCL at each position, KVL along each cable
    matrix, right = np.zeros((2 * n - 1, 2 * n - 1)), np.zeros(2 * n - 1)
    for k, at in enumerate(hung):
        matrix[k, k] = (
            sum(1 / ohms for ohms in at.terminators)
            + sum(0.5 / bias.ohms for bias in at.biases)
            + 0.5 * at.unit_loads / UNIT_LOAD_OHMS
        )
        right[k] = sum(0.5 * bias.volts / bias.ohms for bias in at.biases)
        if k:
            matrix[k, n + k - 1] = -1  # comes in
        if k < n - 1:
            matrix[k, n + k] = 1  # goes on
            matrix[n + k, k], matrix[n + k, k + 1], matrix[n + k, n + k] = 1, -1, -loops[k]
    if not any(at.biases for at in hung):
        assert undriven(hung, loops) == (0.0,) * n
        return
    expected = np.linalg.solve(matrix, right)[:n]
    assert undriven(hung, loops) == pytest.approx(expected.tolist(), rel=1e-6, abs=1e-9)


def test_a_cable_of_nearly_no_length_is_none() -> None:
    hung = [Hung((Bias(5, 560),), (120,)), Hung((), (120,))]
    assert undriven(hung, [1e-18]) == undriven(hung, [0.0])


def test_a_far_end_behind_a_thin_cable_is_held_less_than_the_near_one() -> None:
    near, far = undriven([Hung((Bias(5, 560),), (120,)), Hung((), (120,))], [loop(24, 600)])
    assert near > far > 0


# -- an opened chain -----------------------------------------------------------------------------------------

CHAIN = [Stand("box", asks=True), Stand("left"), Stand("centre"), Stand("right")]


def test_what_lies_behind_an_unplugged_station_is_lost_with_a_terminator() -> None:
    """Common practice, no source."""
    loss = lost(CHAIN, 1, "unplugged")
    assert (loss.unreached, loss.open_ends) == (("centre", "right"), 1)
    assert lost(CHAIN, 1, "cuts") == loss


def test_nothing_lies_behind_the_last_station() -> None:
    loss = lost(CHAIN, 3, "unplugged")
    assert (loss.unreached, loss.open_ends) == ((), 0)


def test_a_dead_station_that_passes_the_pair_costs_itself_and_one_that_loads_it_endangers_all() -> None:
    assert lost(CHAIN, 1, "passes").unreached == ()
    assert lost(CHAIN, 1, "loads").disturbed
    assert not lost(CHAIN, 1, "passes").disturbed


def test_a_box_in_mid_line_keeps_one_side_and_two_boxes_keep_both() -> None:
    middle = [Stand("left"), Stand("box", asks=True), Stand("right"), Stand("far")]
    assert lost(middle, 2, "cuts").unreached == ("far",)
    assert lost(middle, 1, "cuts").unreached == ("left", "right", "far")
    both = [Stand("box", asks=True), Stand("left"), Stand("centre"), Stand("box", asks=True)]
    loss = lost(both, 1, "cuts")
    assert (loss.unreached, loss.open_ends, loss.split) == ((), 2, True)


# -- numbers without a meaning -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "call",
    [
        lambda: devices(0),
        lambda: reflection(-1),
        lambda: reflection(math.nan),
        lambda: stub_limit(0, 0.66),
        lambda: stub_limit(100, 1.2),
        lambda: derivation_limit(0),
        lambda: longest(0, WIDELY_QUOTED),
        lambda: loop_loss_db(-1, 120),
        lambda: propagation_ns(1, 0),
        lambda: copper(41),
        lambda: copper(24, 1000),
        lambda: loop(24, -1),
        lambda: bias_resistor(5, 0.2, 0),
        lambda: bias_divider(5, 60, 6),
        lambda: driver_load([Hung((), (0.0,))]),
        lambda: undriven([Hung()], [1.0]),
        lambda: undriven([Hung((Bias(5, -1),)), Hung()], [1.0]),
        lambda: lost(CHAIN, 4, "cuts"),
    ],
)
def test_what_has_no_meaning_is_the_users_mistake(call) -> None:
    with pytest.raises(UserError):
        call()
