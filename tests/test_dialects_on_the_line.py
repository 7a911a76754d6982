"""Declared dialects in running plans: the same on both paths, replies on the line, plans with files of their own."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from test_both_paths import plans, records_of, text_of

from busim.plan import read_text


TWO_MASTERS = """
busim: 1
name: pair
lines:
  - name: pair
    baud: 19200 Bd
    format: 8N1
    dialect: NAME
    order: [{converter: box}, {camera: mat, after: 3 m}, {master: second, after: 7 m}]
converters:
  - {name: box, endpoint: "10.20.0.44:15001", latency: 0..2 ms, packing: {idle: 1 ms, length: 11}}
cameras:
  - {name: mat, id: 1, turnaround: 0}
masters:
  - {name: controller, through: [box], groups: [{name: fast, values: [iris, gain, shutter], every: 0}]}
  - {name: second, on: [pair], groups: [{name: all, values: [iris, zoom, focus], every: 3 ms}]}
"""


@pytest.mark.parametrize("name", ["modbus-rtu", "text", "short", "tagged"])
def test_what_came_before_a_request_does_not_count_as_an_answer_to_it_on_either_path(name: str) -> None:
    """A second master asks while a burst is under way, of which the fast path would tell it later."""
    plan = read_text(TWO_MASTERS.replace("NAME", name))
    fast, exact = (records_of(plan, exact=exact, until=600_000_000) for exact in (False, True))
    assert fast == exact


@pytest.mark.timeout(600)
@pytest.mark.parametrize("name", ["text", "short", "tagged"])
@settings(max_examples=12, deadline=None, suppress_health_check=list(HealthCheck))
@given(case=plans)
def test_an_installation_does_the_same_on_both_paths(name: str, case: dict[str, Any]) -> None:
    plan = read_text(text_of(case).replace("dialect: modbus-rtu", f"dialect: {name}"))
    fast, exact = (records_of(plan, exact=exact, until=300_000_000) for exact in (False, True))
    assert fast == exact
