"""Simulated time and chance: callbacks in order, and random streams that do not disturb each other.

Open `scheduler.py` first.
"""

from busim.simulator.kernel.chance import Chance, Stream
from busim.simulator.kernel.scheduler import Kernel, PatientKernel, core

__all__ = ["Chance", "Kernel", "PatientKernel", "Stream", "core"]
