"""Disturbances and delays, one per module, each for one seam."""

from busim.faults.chatter import Chatter
from busim.faults.delays import Latency, Turnaround
from busim.faults.noise import BitNoise

__all__ = ["BitNoise", "Chatter", "Latency", "Turnaround"]
