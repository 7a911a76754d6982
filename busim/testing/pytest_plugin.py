"""The pytest plug-in (entry point `pytest11`): worlds as fixtures, and a timeline with each failing test.

pytest imports this module in every run of every project that has busim installed. So it imports nothing but pytest; the
rest comes with the first test that uses a world.
"""

from __future__ import annotations

from collections.abc import Generator, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from busim.plan import Plan
    from busim.testing.worlds import ServedWorld, VirtualWorld

_WORLD: pytest.StashKey[VirtualWorld | ServedWorld] = pytest.StashKey()
_MARKER = (
    "busim(plan, seed=1, **options): the plan (a path from the test's folder or the root folder, or a Plan) and the "
    "options of busim.Virtual or busim.Live for busim_virtual and busim_served"
)


def pytest_configure(config: pytest.Config) -> None:
    """Register the marker."""
    config.addinivalue_line("markers", _MARKER)


@pytest.fixture
def busim_plan(request: pytest.FixtureRequest) -> Plan:
    """The plan of the test's marker `busim`. A fixture of this name in a test file or conftest replaces it."""
    from busim.foundation.diagnostics import Findings
    from busim.plan import Plan, read

    marker = request.node.get_closest_marker("busim")
    if marker is None or not marker.args:
        pytest.fail('this test needs a plan: mark it with @pytest.mark.busim("plan.yaml")', pytrace=False)
    plan = marker.args[0]
    if isinstance(plan, Plan):
        return plan
    beside = request.path.parent / plan
    try:
        return read(beside if beside.exists() else Path(request.config.rootpath) / plan)
    except Findings as wrong:
        pytest.fail(str(wrong), pytrace=False)


@pytest.fixture
def busim_virtual(request: pytest.FixtureRequest, busim_plan: Plan) -> Iterator[VirtualWorld]:
    """The installation in virtual time: `busim_virtual.run(controller)` runs an asyncio controller in it."""
    from busim.testing.worlds import VirtualWorld

    with VirtualWorld(busim_plan, **_options(request)) as world:
        request.node.stash[_WORLD] = world
        yield world


@pytest.fixture
def busim_served(request: pytest.FixtureRequest, busim_plan: Plan) -> Iterator[ServedWorld]:
    """The installation in wall time, its converters on free ports of 127.0.0.1: for any program."""
    from busim.testing.worlds import ServedWorld

    with ServedWorld(busim_plan, **_options(request)) as world:
        request.node.stash[_WORLD] = world
        yield world


def _options(request: pytest.FixtureRequest) -> dict[str, Any]:
    marker = request.node.get_closest_marker("busim")
    return {} if marker is None else dict(marker.kwargs)


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(
    item: pytest.Item, call: pytest.CallInfo[None]
) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    """Put the last of the exchange beside a failure that does not show it by itself."""
    report = yield
    world = item.stash.get(_WORLD, None)
    if world is not None and call.when == "call" and report.failed and call.excinfo is not None:
        from busim.testing.worlds import LineAssertionError

        if not isinstance(call.excinfo.value, LineAssertionError):
            report.sections.append(("busim: the exchange", _drawn(world)))
    return report


def _drawn(world: VirtualWorld | ServedWorld) -> str:
    """The timeline. An error in drawing it must not hide why the test failed."""
    try:
        return world.timeline()
    except Exception as error:
        return f"cannot be shown: {type(error).__name__}: {error}"
