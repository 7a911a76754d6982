"""The clocks that drive a kernel: wall time, an event loop that wakes in time; and virtual time, a loop that jumps."""

from busim.clocks.loop import wall_loop
from busim.clocks.network import Place
from busim.clocks.refused import Refused
from busim.clocks.virtual import VirtualLoop
from busim.clocks.wall import Wall

__all__ = ["Place", "Refused", "VirtualLoop", "Wall", "wall_loop"]
