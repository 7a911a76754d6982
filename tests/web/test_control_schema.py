"""The control API against its own OpenAPI document, by schemathesis: each drawn request is answered as documented."""

from __future__ import annotations

import asyncio
from typing import Any

import pytest
import schemathesis
from fault_halls import hall
from hypothesis import HealthCheck, given, settings
from schemathesis.specs.openapi.checks import positive_data_acceptance

from busim.runtime.session import Live
from busim.web import ControlServer, openapi


def asked(url: str, token: str, path: str, method: str, examples: int) -> int:
    """Sends requests that schemathesis draws for an operation; returns the number answered as documented."""
    schema = schemathesis.openapi.from_dict(openapi())
    count = 0

    @given(case=schema[path][method].as_strategy())
    @settings(
        max_examples=examples, deadline=None, suppress_health_check=list(HealthCheck), derandomize=True, database=None
    )
    def each(case: Any) -> None:
        nonlocal count
        answer = case.call(base_url=url, headers={"Authorization": f"Bearer {token}"}, timeout=60)
        # Which names there are depends on the plan, so a request of the right form may still be refused.
        case.validate_response(answer, excluded_checks=[positive_data_acceptance])
        assert answer.status_code < 500
        count += 1

    each()
    return count


async def all_asked(examples: int) -> None:
    server = ControlServer()
    async with Live(hall(), 1, any_port=True, play=["controller"]) as live, server.serving(live):
        for path, method in (("/actions", "POST"), ("/state", "GET"), ("/faults", "GET")):
            many = examples if method == "POST" else 2
            assert await asyncio.to_thread(asked, server.url, server.token, path, method, many) > 0
        assert live.now > 0


async def test_requests_made_up_from_the_document_are_answered_as_it_says() -> None:
    await all_asked(25)


@pytest.mark.long
async def test_two_thousand_requests_made_up_from_the_document_are_answered_as_it_says() -> None:
    await all_asked(2000)
