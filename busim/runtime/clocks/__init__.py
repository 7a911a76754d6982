"""The clocks that drive a kernel: wall time, an event loop that wakes in time; and virtual time, a loop that jumps.

Open `wall.py` first.
"""

from busim.runtime.clocks.guard import Guard, WallTime
from busim.runtime.clocks.loop import wall_loop
from busim.runtime.clocks.network import Place
from busim.runtime.clocks.refused import Refused
from busim.runtime.clocks.virtual import VirtualLoop
from busim.runtime.clocks.wall import Wall

__all__ = ["Guard", "Place", "Refused", "VirtualLoop", "Wall", "WallTime", "wall_loop"]
