"""Disturbances and delays, one per module, each for one seam."""

from busim.simulator.faults.chatter import Chatter
from busim.simulator.faults.delays import Latency, Turnaround
from busim.simulator.faults.noise import BitNoise

__all__ = ["BitNoise", "Chatter", "Latency", "Turnaround"]
