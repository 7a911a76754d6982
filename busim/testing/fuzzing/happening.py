"""What happens in a case, as actions of a session: each fault and move at its instant, so its trace has them as inputs
and `busim replay` plays them again.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from typing import Any, Protocol

from busim.foundation.errors import UserError
from busim.testing.fuzzing.case import Action, Case, FaultEvent


class Session(Protocol):
    """A session in wall time or in virtual time."""

    def fault(self, name: str, at: str, **values: Any) -> None: ...

    def intend(self, camera: str, parameter: str, value: int) -> None: ...


async def happen(session: Session, case: Case, left: Callable[[int], float], skipped: list[str]) -> None:
    """Make the faults and moves of a case. `left`: seconds until an instant (ns); `skipped` gets those not possible."""
    events: list[FaultEvent | Action] = [*case.faults, *case.actions]
    for one in sorted(events, key=lambda one: one.at):
        await asyncio.sleep(max(0.0, left(one.at)))
        try:
            _do(session, one)
        except UserError as error:  # as a fault that is on already at this place
            skipped.append(f"{one.kind if isinstance(one, FaultEvent) else one.control}: {error.what}")


def _do(session: Session, one: FaultEvent | Action) -> None:
    if isinstance(one, FaultEvent):
        session.fault(one.kind, one.target, **dict(one.parameters), **{"for": f"{max(1, one.length // 1000)} us"})
    else:
        session.intend(one.camera, one.control, one.value)
