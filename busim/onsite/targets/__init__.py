"""A target: the real line as a port of this machine or of a box on the network, opened once its user agrees.

In: a text (`socket://HOST:PORT`, `rfc2217://HOST:PORT`, or the path of a serial port), baud and format. Out: a `Link`
that sends bytes and stamps arrivals with the nanosecond, and over it a `RealTool` that asks as a master does.

Opening can do harm, so `dangers` says first what it does; a caller asks and only then calls `open_target`.

Open `opening.py` first.
"""

from busim.onsite.targets.adapter import Adapter, adapter_of
from busim.onsite.targets.address import PORT, RFC2217, SOCKET, Target, parse_target
from busim.onsite.targets.dangers import dangers
from busim.onsite.targets.direction import DIRECTIONS, HARDWARE, KERNEL, RTS
from busim.onsite.targets.link import Heard, Link
from busim.onsite.targets.opening import open_target
from busim.onsite.targets.real_tool import Asked, OtherMaster, RealTool

__all__ = [
    "DIRECTIONS",
    "HARDWARE",
    "KERNEL",
    "PORT",
    "RFC2217",
    "RTS",
    "SOCKET",
    "Adapter",
    "Asked",
    "Heard",
    "Link",
    "OtherMaster",
    "RealTool",
    "Target",
    "adapter_of",
    "dangers",
    "open_target",
    "parse_target",
]
