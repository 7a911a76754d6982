"""Supplies over cables: one load against its closed form, several against a nodal solution made another way."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from busim.foundation.errors import UserError
from busim.physics.electric import (
    BRANCH_DROP,
    POE,
    WHOLE_DROP,
    Chain,
    Collapse,
    Drop,
    branches,
    chain,
    drop,
    drop_advice,
    loop,
    most_power,
    poe_class,
)


@pytest.mark.parametrize(
    ("volts", "ohms", "watts", "amperes", "at_load", "source"),
    [
        (44.0, 20.0, 12.95, 0.3500, 37.00, 15.40),  # IEEE 802.3af (power second-hand; loop resistance from memory)
        (50.0, 12.5, 25.5, 0.6000, 42.50, 30.00),  # IEEE 802.3at (same)
    ],
)
def test_one_load_of_constant_power(
    volts: float, ohms: float, watts: float, amperes: float, at_load: float, source: float
) -> None:
    one = drop(volts, ohms, watts)
    assert isinstance(one, Drop)
    assert (one.amperes, one.volts, one.source_watts) == pytest.approx((amperes, at_load, source), rel=1e-9)
    assert one.lost_watts == pytest.approx(amperes**2 * ohms, rel=1e-9)
    many = chain(volts, [ohms], [watts])
    assert isinstance(many, Chain)
    got = (many.source_amperes, many.volts[0], many.source_watts)
    assert got == pytest.approx((amperes, at_load, source), rel=1e-9)


def test_above_the_limit_there_is_no_solution() -> None:
    """44 V, 20 ohm: V^2/4R = 24.2 W, above it there is no solution. Derived."""
    assert most_power(44, 20) == pytest.approx(24.2, rel=1e-12)
    at_limit = drop(44, 20, most_power(44, 20))
    assert isinstance(at_limit, Drop)
    assert at_limit.volts == pytest.approx(22)
    for solve in (lambda watts: drop(44, 20, watts), lambda watts: chain(44, [20], [watts])):
        assert not isinstance(solve(24.2 - 1e-6), Collapse)
        over = solve(24.2 + 1e-6)
        assert isinstance(over, Collapse)
        assert over.share == pytest.approx(1, abs=1e-6)
    halved = chain(44, [20], [48.4])
    assert isinstance(halved, Collapse)
    assert halved.share == pytest.approx(0.5, abs=1e-8)


def test_power_over_ethernet_classes() -> None:
    """PSE / PD watts: IEEE 802.3bt (from memory)."""
    assert [(poe.source_watts, poe.device_watts) for _, poe in sorted(POE.items())] == [
        (4.0, 3.84),
        (7.0, 6.49),
        (15.4, 12.95),
        (30, 25.5),
        (45, 40),
        (60, 51),
        (75, 62),
        (90, 71.3),
    ]
    assert [poe_class(number) for number in (0, 3, 8)] == [POE[3], POE[3], POE[8]]


def test_advice_on_voltage_drop() -> None:
    """3 % branch, 5 % in all (a note, not a rule; local code decides). NEC 210.19(A) informational note."""
    assert drop_advice(0.03) is None
    assert drop_advice(0.04) is BRANCH_DROP
    assert drop_advice(0.06) is WHOLE_DROP
    assert (BRANCH_DROP.value, WHOLE_DROP.value) == (0.03, 0.05)


# -- several loads -------------------------------------------------------------------------------------------

supplies = st.floats(5, 60)
loads = st.lists(st.tuples(st.floats(0, 20), st.floats(0, 30)), min_size=1, max_size=12)


def by_nodes(volts: float, loops: list[float], watts: list[float]) -> np.ndarray | None:
    """The voltages by conductances: each load a resistor V^2/P of its last voltage, the linear network of resistors
    solved as a tridiagonal system, again and again. Another formulation than currents and shared ways; slow near the
    limit, so it may give up (None)."""
    n = len(loops)
    g = np.array([1 / ohms for ohms in loops])
    at = np.full(n, volts)
    for _ in range(20_000):
        matrix = np.zeros((n, n))
        for k in range(n):
            matrix[k, k] += g[k] + watts[k] / at[k] ** 2
            if k:
                matrix[k - 1, k - 1] += g[k]
                matrix[k, k - 1] = matrix[k - 1, k] = -g[k]
        right = np.zeros(n)
        right[0] = g[0] * volts
        new = np.linalg.solve(matrix, right)
        if abs(new - at).max() < 1e-12 * volts:
            return new
        if new.min() < 1e-3 * volts:
            return None
        at = new
    return None


@settings(max_examples=60, deadline=None)
@given(supplies, loads)
def test_a_chain_is_what_the_network_of_resistors_settles_at(volts: float, pairs: list[tuple[float, float]]) -> None:
    loops, watts = [0.01 + ohms / len(pairs) for ohms, _ in pairs], [power / 2 for _, power in pairs]
    got = chain(volts, loops, watts)
    expected = by_nodes(volts, loops, watts)
    if isinstance(got, Collapse):
        assert expected is None
    elif expected is not None:
        assert got.volts == pytest.approx(expected.tolist(), rel=1e-7)


@given(supplies, loads)
def test_a_chain_keeps_energy_and_falls_along_the_cable(volts: float, pairs: list[tuple[float, float]]) -> None:
    loops, watts = [ohms for ohms, _ in pairs], [power for _, power in pairs]
    got = chain(volts, loops, watts)
    if isinstance(got, Collapse):
        assert 0 <= got.share <= 1
        return
    heat = sum(ohms * amperes**2 for ohms, amperes in zip(loops, got.amperes, strict=True))
    assert got.source_watts == pytest.approx(sum(watts) + heat, rel=1e-9, abs=1e-9)
    assert all(near >= far - 1e-9 for near, far in zip((volts, *got.volts), got.volts, strict=False))
    # at least half of the source's voltage at one load, as with the closed form: the stable branch is the upper one
    if len(pairs) == 1:
        assert got.volts[0] >= volts / 2 * (1 - 1e-6)


@settings(max_examples=40, deadline=None)
@given(supplies, loads)
def test_a_collapse_names_the_share_that_could_be_fed(volts: float, pairs: list[tuple[float, float]]) -> None:
    loops, watts = [ohms for ohms, _ in pairs], [power for _, power in pairs]
    got = chain(volts, loops, watts)
    if isinstance(got, Collapse):
        assert not isinstance(chain(volts, loops, [power * got.share * 0.999 for power in watts]), Collapse)
        assert isinstance(chain(volts, loops, [power * (got.share + 0.001) for power in watts]), Collapse)


def test_loads_at_one_place_are_one_load() -> None:
    together, single = chain(24, [3, 0, 0], [5, 6, 7]), chain(24, [3], [18])
    assert isinstance(together, Chain)
    assert isinstance(single, Chain)
    assert together.volts == pytest.approx((single.volts[0],) * 3)
    assert together.source_amperes == pytest.approx(single.source_amperes)


def test_segments_may_differ_in_gauge_and_length() -> None:
    """By hand: 24 V; 0.5 A and 1 A drawn at voltages chosen first, so that the answer is known exactly. Derived."""
    thick, thin = loop(18, 30), loop(24, 20)
    far = 24 - thick * 1.5 - thin * 1.0
    near = 24 - thick * 1.5
    got = chain(24, [thick, thin], [near * 0.5, far * 1.0])
    assert isinstance(got, Chain)
    assert got.volts == pytest.approx((near, far), rel=1e-12)
    assert got.amperes == pytest.approx((1.5, 1.0), rel=1e-12)


@given(supplies, st.floats(0, 3), loads, loads)
def test_two_chains_share_the_cable_that_leads_to_both(
    volts: float, trunk: float, one: list[tuple[float, float]], other: list[tuple[float, float]]
) -> None:
    """Each chain on its own behind what is left at the end of the trunk gives the same; the trunk obeys Ohm's law."""
    chains = [([ohms for ohms, _ in pairs], [power / 4 for _, power in pairs]) for pairs in (one, other)]
    got = branches(volts, trunk, chains)
    if isinstance(got, Collapse):
        return
    amperes = sum(each.source_amperes for each in got)
    for each, (loops, watts) in zip(got, chains, strict=True):
        assert each.source_volts == pytest.approx(volts - trunk * amperes, rel=1e-9)
        alone = chain(each.source_volts, loops, watts)
        assert isinstance(alone, Chain)
        assert each.volts == pytest.approx(alone.volts, rel=1e-6)


def test_nothing_is_fed_by_an_empty_chain() -> None:
    assert chain(24, [], []) == Chain(24, (), ())
    idle = chain(24, [5.0], [0.0])
    assert isinstance(idle, Chain)
    assert idle.source_amperes == 0
    no_load = drop(24, 5, 0)
    assert isinstance(no_load, Drop)
    assert no_load.lost_watts == 0


@pytest.mark.parametrize(
    "call",
    [
        lambda: drop(0, 1, 1),
        lambda: drop(24, -1, 1),
        lambda: drop(24, 1, math.inf),
        lambda: most_power(24, -1),
        lambda: poe_class(9),
        lambda: chain(24, [1], []),
        lambda: chain(24, [1], [-1]),
        lambda: chain(math.nan, [1], [1]),
    ],
)
def test_what_has_no_meaning_is_the_users_mistake(call) -> None:
    with pytest.raises(UserError):
        call()
