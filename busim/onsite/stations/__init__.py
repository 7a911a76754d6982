"""Real ports as stations of an emulated line: real cameras on it, or emulated cameras on a real line.

In: a target, and where a served converter listens. Out: bytes both ways, while the port comes and goes.

Open `joining.py` first.
"""

from busim.onsite.stations.joining import join, joined
from busim.onsite.stations.real_ports import RealPort, real_ports

__all__ = ["RealPort", "join", "joined", "real_ports"]
