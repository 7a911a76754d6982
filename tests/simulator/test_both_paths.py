"""Whole installations on the fast and on the exact path: the same records, whatever the plan.

`test_wire` compares bare lines; here framers, cameras, packers, time-outs and masters take part, which decide things
by the clock while a burst is still under way.
"""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from busim.plan import Plan, read, read_text
from busim.recording.trace import BURST, EXCHANGE, FRAME, HEARD, Record
from busim.simulator.world import build


def records_of(plan: Plan, *, exact: bool, until: int) -> dict[tuple[int, int], list[Record]]:
    """By kind and source: the order of two stations' records in the same nanosecond does not matter."""
    records: list[Record] = []
    world = build(plan, 1, records.append, always_exact=exact)
    world.start()
    world.kernel.advance(until)
    # only the chosen path may differ
    made: dict[tuple[int, int], list[Record]] = {}
    for record in records:
        if record[0] not in (HEARD, FRAME):  # receivers that hear alike share one record
            made.setdefault(record[0:3:2], []).append(record[:-1] if record[0] in (BURST, EXCHANGE) else record)
    return made


def text_of(case: dict[str, Any]) -> str:
    cameras = case["cameras"]
    lines = [
        "busim: 1",
        "name: drawn",
        "lines:",
        "  - name: pair",
        f"    baud: {case['baud']} Bd",
        f"    format: {case['format']}",
    ]
    lines += [
        "    protocol: modbus-rtu",
        f"    contention: {case['contention']}",
        f"    bit_error_rate: {case['errors']}",
    ]
    lines += [
        f"    bias: {str(case['bias']).lower()}",
        f"    chatter: {case['chatter']} /s",
        "    order:",
        "      - converter: box",
    ]
    lines += [f"      - {{camera: camera {n}, after: {camera['after']} m}}" for n, camera in enumerate(cameras)]
    if case["second"]:
        lines += ["      - {master: second, after: 7 m}"]
    lines += ["converters:", "  - name: box", "    endpoint: 198.51.100.44:15001", f"    latency: {case['latency']}"]
    lines += [f"    packing: {{idle: {case['idle']}, length: {case['length']}}}", "cameras:"]
    for n, camera in enumerate(cameras):
        of = camera["format"] or case["format"]
        driver = f"{{echo: {str(camera['echo']).lower()}, hold: {camera['hold']}, format: {of}}}"
        lines += [f"  - name: camera {n}", f"    bus_id: {camera['bus_id']}", f"    turnaround: {camera['turnaround']}"]
        lines += [f"    driver: {driver}"]
    lines += [
        "masters:",
        "  - name: controller",
        "    through: [box]",
        f"    time_out: {case['time_out']}",
        "    groups:",
    ]
    lines += [
        "      - {name: fast, values: [iris, gain, shutter], every: 0}",
        "      - {name: slow, values: [tally], every: 90 ms}",
    ]
    if case["second"]:
        lines += [
            "  - name: second",
            "    on: [pair]",
            f"    time_out: {case['time_out']}",
            f"    listen: {case['listen']}",
        ]
        lines += ["    groups:", f"      - {{name: all, values: [iris, zoom, focus], every: {case['every']}}}"]
    return "\n".join(lines)


camera = st.fixed_dictionaries(
    {
        "bus_id": st.integers(1, 3),
        "after": st.sampled_from([0, 3, 40, 250]),
        "turnaround": st.sampled_from(["0", "1 ms", "0..3 ms", "2..2.1 ms"]),
        "echo": st.booleans(),
        "hold": st.sampled_from(["0", "0", "200 us"]),
        "format": st.sampled_from(["", "", "", "8N2", "8O1"]),
    }
)
plans = st.fixed_dictionaries(
    {
        "baud": st.sampled_from([9600, 19200, 38400, 115200]),
        "format": st.sampled_from(["8N1", "8E1"]),
        "contention": st.sampled_from(["space-wins", "random", "nearer-wins"]),
        "errors": st.sampled_from([0, 0, 0, 0.001]),
        "bias": st.booleans(),
        "chatter": st.sampled_from([0, 0, 20]),
        "idle": st.sampled_from(["0", "200 us", "1 ms", "4 ms"]),
        "length": st.sampled_from([0, 0, 3, 11]),
        "latency": st.sampled_from(["0", "1 ms", "0..2 ms"]),
        "time_out": st.sampled_from(["computed", "7 ms", "12 ms"]),
        "second": st.booleans(),
        "listen": st.sampled_from(["0", "2 ms"]),
        "every": st.sampled_from(["0", "23 ms"]),
        "cameras": st.lists(camera, min_size=1, max_size=4),
    }
)


AT_THE_END_OF_SILENCE = {  # a false start bit between the end of a silence where it began and at the far camera
    "baud": 115200, "format": "8E1", "contention": "space-wins", "errors": 0, "bias": False, "chatter": 20,
    "idle": "1 ms", "length": 3, "latency": "0..2 ms", "time_out": "computed", "second": False, "listen": "0",
    "every": "0",
    "cameras": [
        {"bus_id": 2, "after": 250, "turnaround": "2..2.1 ms", "echo": False, "hold": "0", "format": ""},
        {"bus_id": 1, "after": 250, "turnaround": "2..2.1 ms", "echo": False, "hold": "0", "format": ""},
        {"bus_id": 1, "after": 0, "turnaround": "0", "echo": False, "hold": "0", "format": "8N2"},
    ],
}  # fmt: skip


def same_on_both_paths(case: dict[str, Any]) -> None:
    plan = read_text(text_of(case))
    fast, exact = (records_of(plan, exact=exact, until=400_000_000) for exact in (False, True))
    assert fast.keys() == exact.keys()
    for who, records in fast.items():
        for number, (one, other) in enumerate(zip(records, exact[who], strict=False)):
            assert one == other, f"record {number} of {who}"
        assert len(records) == len(exact[who])


@pytest.mark.timeout(600)
@example(AT_THE_END_OF_SILENCE)
@settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
@given(plans)
def test_an_installation_does_the_same_on_both_paths(case: dict[str, Any]) -> None:
    same_on_both_paths(case)


@pytest.mark.long
@pytest.mark.timeout(7200)
@settings(max_examples=2500, deadline=None, suppress_health_check=list(HealthCheck))
@given(plans)
def test_many_installations_do_the_same_on_both_paths(case: dict[str, Any]) -> None:
    same_on_both_paths(case)


def test_the_scenarios_do_the_same_on_both_paths() -> None:
    for name in ("climbing-hall", "two-masters", "factory-fresh"):
        plan = read(f"scenarios/{name}/plan.yaml")
        assert records_of(plan, exact=False, until=3 * 10**9) == records_of(plan, exact=True, until=3 * 10**9)
