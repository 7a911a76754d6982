"""The plan of a command: a plan that one command refuses, all refuse, with the same findings.

Commands that only look at a plan take any plan that can be read: `check` lists the mistakes, `sheet` prints them on
its first page, `plan show`, `plan diff` and `plan set` help to mend them.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Collection

    from busim.foundation.diagnostics import Finding
    from busim.plan import Plan


def read_usable(path: str, *, mended: Collection[str] = ()) -> Plan:
    """The plan, with every name in it resolved once. `mended`: codes of mistakes that this command mends.

    Raises Findings with every mistake that keeps a command from using it, as `check` prints them.
    """
    from busim.foundation.diagnostics import Findings
    from busim.installation import outline
    from busim.plan import read

    plan = read(path)
    found = [one for one in (*outline(plan).findings, *of_faults(plan)) if one.code not in mended]
    if found:
        raise Findings(sorted(found, key=lambda finding: finding.order))
    return plan


def of_faults(plan: Plan) -> tuple[Finding, ...]:
    """Mistakes in the `faults` of a plan, which only a session looks up. Imports nothing where there are none."""
    if not plan.faults:
        return ()
    from busim.simulator.world import wrong_faults

    return wrong_faults(plan)
