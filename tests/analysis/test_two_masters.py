"""Two masters on one line: the loss by a second master in the budget and in runs.

Both sides are our own. The laws behind them are held to Abramson 1970 and to Kleinrock and Tobagi 1975 in
test_budget_formulas.py, and so is the emulated line in test_sharing.py.
"""

from __future__ import annotations

import pytest

from busim.analysis.budget import LineBudget, budget
from busim.experiments.measurement_run import LineMeasurement, measure
from busim.experiments.verify import HOLDS, verify
from busim.plan import Plan, read_text

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
        f"  - {{name: {name}, bus_id: {number}, turnaround: {turnaround}}}\n" for number, name in enumerate(names, 1)
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
    protocol: modbus-rtu
    order:
      - terminator
      - converter: box
{order}{place}      - terminator
converters:
  - name: box
    endpoint: "198.51.100.44:15001"
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


def run(plan: Plan, seconds: int = _SECONDS) -> tuple[LineMeasurement, LineMeasurement]:
    desk, other = sorted(measure(plan, seconds * 10**9), key=lambda one: one.master)
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
@pytest.mark.parametrize("seconds", [100, pytest.param(_SECONDS, marks=pytest.mark.long)])
def test_a_second_master_spoils_no_more_than_the_budget_says(
    settings: dict[str, str], tight: bool, listen: str, seconds: int
) -> None:
    """And, without long pauses into which its exchanges fit, at least a quarter of that."""
    plan = two(**settings, listen=listen)
    desk, other = run(plan, seconds)
    share = desk.lost / (desk.lost + len(desk.exchanges))
    (row, *_) = of(plan, "desk").second_master
    assert (other.lost + len(other.exchanges)) / seconds == pytest.approx(row.rate, rel=0.02)
    said = row.listening if listen != "0" else row.at_will
    # three standard errors of so many spoilt exchanges
    error = 3 * (desk.lost**0.5) / (desk.lost + len(desk.exchanges))
    assert share <= said + error
    if tight:
        assert share >= said / 4


@pytest.mark.parametrize(
    "settings",
    [
        {},
        {"turnaround": "1..9 ms", "packing": "20 ms", "gap": "10 ms", "latency": "0..1 ms"},
        {"turnaround": "1..3 ms", "packing": "20 ms"},
        {"turnaround": "1..9 ms", "gap": "60 ms"},
    ],
    ids=["slow cameras", "slow packing and pauses", "slow packing", "long pauses"],
)
@pytest.mark.parametrize("listen", ["0", "5 ms"], ids=["at will", "listening first"])
def test_one_that_asks_ten_times_a_second_spoils_no_more_either(settings: dict[str, str], listen: str) -> None:
    """Exchanges at random would spoil fewer: these come at a strict interval and can keep in step with the polls."""
    seconds = 100
    plan = two(**settings, every="99.7 ms", listen=listen)
    desk, other = run(plan, seconds)
    share = desk.lost / (desk.lost + len(desk.exchanges))
    row = of(plan, "desk").second_master[1]
    assert (other.lost + len(other.exchanges)) / seconds == pytest.approx(row.rate, rel=0.02)
    error = 3 * (desk.lost**0.5) / (desk.lost + len(desk.exchanges))
    assert share <= (row.listening if listen != "0" else row.at_will) + error


@pytest.mark.parametrize("turnaround", ["10..14 ms", "2..6 ms", "1..3 ms"])
@pytest.mark.parametrize("packing", ["0", "4 ms", "20 ms"])
@pytest.mark.parametrize("gap", ["0", "60 ms"])
def test_listening_first_is_never_said_to_spoil_more(turnaround: str, packing: str, gap: str) -> None:
    plan = two(turnaround=turnaround, packing=packing, gap=gap)
    assert all(0 <= row.listening <= row.at_will <= 1 for row in of(plan, "desk").second_master)


# -- behind a converter that orders them -----------------------------------------------------------------------


def behind_one(**settings: str) -> Plan:
    """Both masters through one converter that arbitrates, with time-outs that leave room for each other."""
    plan = two(other="through: [box]", sharing="arbitrated", **settings)
    return read_text(plan.source.replace("offline_after: 10000", "offline_after: 10000\n    time_out: 500 ms"))


@pytest.mark.parametrize(
    ("settings", "close"),
    [
        ({"every": "0"}, 0.01),
        ({"every": "0", "turnaround": "1..20 ms"}, 0.01),
        ({"every": "40 ms"}, 0.01),
        ({"every": "97 ms"}, 0.07),
        ({"every": "97 ms", "pace": "151 ms"}, 0.07),
        ({"every": "307 ms", "pace": "211 ms", "turnaround": "2..6 ms"}, 0.07),
        ({"every": "0", "latency": "10..20 ms", "turnaround": "1..3 ms"}, 0.07),
    ],
    ids=["never resting", "jitter", "a pace it cannot keep", "one rests", "both rest", "seldom", "a slow network"],
)
def test_masters_whom_a_converter_orders_get_what_the_budget_says(settings: dict[str, str], close: float) -> None:
    """Throughput and delay of each, and the longest exchange: never exceeded."""
    plan = behind_one(**settings)
    for name, seen in zip(("desk", "other"), run(plan), strict=True):
        line = of(plan, name)
        shared = line.arbitrated
        assert line.obstacles == ()
        assert shared is not None
        assert seen.lost == 0
        assert len(seen.exchanges) / _SECONDS == pytest.approx(shared.rate, rel=min(close, 0.04))
        assert seen.exchanges.mean() == pytest.approx(shared.exchange, rel=close)
        assert seen.exchanges.max() <= shared.worst
        assert shared.alone < shared.exchange


def test_verify_sets_what_each_gets_side_by_side() -> None:
    found = verify(behind_one(every="0"), 60 * 10**9)
    assert [[check.name for check in line.checks] for line in found.lines] == [
        ["shared_rate", "shared_exchange", "shared_worst"]
    ] * 2
    assert found.verdict == HOLDS


@pytest.mark.parametrize(
    ("plan", "said"),
    [
        (two(other="through: [box]", sharing="arbitrated", every="0"), "behind those of the others and is given up"),
        (two(other="through: [box]", every="0"), "nobody orders them"),
        (behind_one(every="30 ms", pace="200 ms"), "1% too much"),
    ],
    ids=["time-outs made for one", "replies to all", "too much"],
)
def test_where_an_order_does_not_help_it_says_why(plan: Plan, said: str) -> None:
    (line, _) = budget(plan).lines
    assert line.arbitrated is None
    assert any(said in text for text in line.obstacles), line.obstacles


def test_a_converter_that_arbitrates_for_one_master_sends_its_replies_on_at_once() -> None:
    """It knows the end of a reply, so it does not wait for more."""
    text = behind_one(latency="1 ms").source
    start, end = text.index("  - name: other"), len(text)
    plan = read_text(text[:start] + text[end:])
    (line,) = budget(plan).lines
    (seen,) = measure(plan, 100 * 10**9)
    assert line.exchanges[0].parts["packing"].worst == 0
    assert float(seen.exchanges.mean()) == pytest.approx(
        sum(one.total.mean for one in line.exchanges) / len(line.exchanges), rel=0.01
    )
