"""The masters that busim plays beside an outside controller."""

from __future__ import annotations

from collections.abc import Collection

from busim.foundation.errors import UserError
from busim.plan import Plan


def played(plan: Plan, play: Collection[str]) -> list[str]:
    """Masters on a line themselves, and those in `play`. Raises UserError for an unknown name."""
    names = [master.name for master in plan.masters]
    for name in play:
        if name not in names:
            raise UserError(
                "the plan has no master of this name",
                file=plan.path or None,
                found=repr(name),
                expected=" or ".join(repr(each) for each in names) or "none: the plan has no masters",
                mend="name one of its masters",
            )
    return sorted({master.name for master in plan.masters if master.on and not master.through} | set(play))
