"""Two masters on one line: what the budget says that a second one may spoil, and what runs have.

Both sides are our own. The laws behind them are held to Abramson 1970 and to Kleinrock and Tobagi 1975 in
test_budget_formulas.py, and so is the emulated line in test_sharing.py.
"""

from __future__ import annotations

import pytest

from busim.budget import LineBudget, budget
from busim.plan import Plan, read_text
from busim.trial import LineTrial, trial

OTHER = "on: [wall]"
_SECONDS = 300


def two(
    *,
    turnaround: str = "10..14 ms",
    packing: str = "4 ms",
    gap: str = "0",
    every: str = "997 ms",
    listen: str = "0",
    other: str = OTHER,
    sharing: str = "replies-to-all",
    pace: str = "0",
    latency: str = "1 ms",
) -> Plan:
    """Three cameras that `desk` polls through a converter, and another master that polls one of them."""
    names = ["c1", "c2", "c3"]
    order = "".join(f"      - {{camera: {name}, after: 5 m}}\n" for name in names)
    cameras = "".join(
        f"  - {{name: {name}, id: {number}, turnaround: {turnaround}}}\n" for number, name in enumerate(names, 1)
    )
    place = "      - {master: other, after: 2 m}\n" if other == OTHER else ""
    return read_text(
        f"""
busim: 1
name: two masters
lines:
  - name: wall
    baud: 38400 Bd
    format: 8E1
    dialect: modbus-rtu
    order:
      - terminator
      - converter: box
{order}{place}      - terminator
converters:
  - name: box
    endpoint: "10.20.0.44:15001"
    packing: {{idle: {packing}}}
    latency: {latency}
    clients: {{most: 4, sharing: {sharing}}}
cameras:
{cameras}masters:
  - name: desk
    through: [box]
    gap: {gap}
    offline_after: 10000
    groups: [{{name: fast, values: [iris, gain, shutter], every: {pace}}}]
  - name: other
    {other}
    cameras: [c1]
    listen: {listen}
    retries: 0
    offline_after: 10000
    groups: [{{name: watch, values: [iris, gain, shutter], every: {every}}}]
"""
    )


def run(plan: Plan) -> tuple[LineTrial, LineTrial]:
    desk, other = sorted(trial(plan, _SECONDS * 10**9), key=lambda one: one.master)
    return desk, other


def of(plan: Plan, master: str) -> LineBudget:
    return next(line for line in budget(plan).lines if line.master == master)


@pytest.mark.parametrize(
    ("settings", "tight"),
    [
        ({}, True),
        ({"turnaround": "2..6 ms"}, True),
        ({"turnaround": "1..3 ms", "packing": "20 ms"}, True),
        ({"turnaround": "1..9 ms", "gap": "60 ms"}, False),
        ({"turnaround": "1..3 ms", "packing": "0", "latency": "0..1 ms"}, True),
    ],
    ids=["slow cameras", "quick cameras", "slow packing", "long pauses", "hardly a pause"],
)
@pytest.mark.parametrize("listen", ["0", "5 ms"], ids=["at will", "listening first"])
def test_a_second_master_spoils_no_more_than_the_budget_says(
    settings: dict[str, str], tight: bool, listen: str
) -> None:
    """And, without long pauses into which its exchanges fit, at least a quarter of that."""
    plan = two(**settings, listen=listen)
    desk, other = run(plan)
    share = desk.lost / (desk.lost + len(desk.exchanges))
    (row, *_) = of(plan, "desk").second_master
    assert (other.lost + len(other.exchanges)) / _SECONDS == pytest.approx(row.rate, rel=0.02)
    said = row.listening if listen != "0" else row.at_will
    # three standard errors of so many spoilt exchanges
    error = 3 * (desk.lost**0.5) / (desk.lost + len(desk.exchanges))
    assert share <= said + error
    if tight:
        assert share >= said / 4
