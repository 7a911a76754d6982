"""Wall time: an event loop that wakes in time, and the driver that takes a kernel along with it."""

from busim.clocks.loop import wall_loop
from busim.clocks.wall import Wall

__all__ = ["Wall", "wall_loop"]
