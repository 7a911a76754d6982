"""The control API against its own OpenAPI document, by schemathesis, which nobody here wrote.

It sends what the document allows and what it does not, with and without the token, and holds each answer against the
document and RFC 9110 (HTTP Semantics).
"""

from __future__ import annotations

import pytest
import schemathesis
from fault_halls import hall
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from schemathesis import GenerationMode
from schemathesis.specs.openapi.checks import positive_data_acceptance

from busim.runtime.session import Virtual
from busim.web.control_api import control_app

TOKEN = "the right one"
# Any text is a line by the document, and most are no action: answered with 400, which this check does not allow.
LEFT_OUT = [positive_data_acceptance]


def _hold(examples: int) -> set[int]:
    """The statuses that came."""
    statuses: set[int] = set()
    with Virtual(hall()) as session:
        app = control_app(session, TOKEN)
        schema = schemathesis.openapi.from_asgi("/openapi.json", app)
        operations = [operation.ok() for operation in schema.get_all_operations()]
        assert len(operations) == 3
        ways = st.one_of(
            *(
                operation.as_strategy(generation_mode=mode)
                for operation in operations
                for mode in (GenerationMode.POSITIVE, GenerationMode.NEGATIVE)
                if mode is GenerationMode.POSITIVE or operation.body
            )
        )

        @settings(
            max_examples=examples,
            deadline=None,
            suppress_health_check=list(HealthCheck),
            derandomize=True,
            database=None,
        )
        @given(case=ways)
        def held(case: schemathesis.Case) -> None:
            answer = case.call(headers={"Authorization": f"Bearer {TOKEN}"})
            statuses.add(answer.status_code)
            case.validate_response(answer, excluded_checks=LEFT_OUT)

        held()
        before = session.report()
    assert before.length == 0  # requests take no simulated time, and the session is whole
    return statuses


def test_answers_are_as_the_document_says() -> None:
    assert {200, 400} <= _hold(12) <= {200, 400, 401, 413}


@pytest.mark.long
def test_two_thousand_answers_are_as_the_document_says() -> None:
    assert {200, 400} <= _hold(2000) <= {200, 400, 401, 413, 429}
