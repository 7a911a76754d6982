"""The installation: a plan with every name looked up, once for all packages above.

In: a `Plan`. Out: an `Installation`: lines with their stations in order, cameras with their models under the line's
protocol, masters with their polls, panels with their commands. Open `resolve.py` first.

Public: `resolve` (raises Findings with everything that cannot be resolved), `outline` (as far as it can be), the types
of an installation, and `MasterPolicy` (`POLICY` by default), the numbers of a good master for simulator and budget.
"""

from busim.installation.asking import Asker, Command, Poll, ResolvedJoystick, ResolvedPanel
from busim.installation.installation import Driving, Installation, ResolvedLine, ResolvedSpare, ResolvedSupply
from busim.installation.origins import DEFAULT, MODEL, WRITTEN, Origin, Origins
from busim.installation.policy import POLICY, MasterPolicy
from busim.installation.resolve import outline, resolve
from busim.installation.spoken import Run, Spoken
from busim.installation.stations import (
    Port,
    ResolvedCamera,
    ResolvedConverter,
    ResolvedMaster,
    ResolvedPort,
    Station,
)

__all__ = [
    "DEFAULT",
    "MODEL",
    "POLICY",
    "WRITTEN",
    "Asker",
    "Command",
    "Driving",
    "Installation",
    "MasterPolicy",
    "Origin",
    "Origins",
    "Poll",
    "Port",
    "ResolvedCamera",
    "ResolvedConverter",
    "ResolvedJoystick",
    "ResolvedLine",
    "ResolvedMaster",
    "ResolvedPanel",
    "ResolvedPort",
    "ResolvedSpare",
    "ResolvedSupply",
    "Run",
    "Spoken",
    "Station",
    "outline",
    "resolve",
]
