"""Faults of a line, a camera or a converter; and plain behaviour that fills the same hooks.

In: benches (the parts a fault may touch at its place) and values of its parameters. Out: `all_faults`, each with its
declaration (`Fault`), from which the plan's schema, the pages and the lists of actions come. Open
`declaration.py` first, then `catalogue/late_reply.py`.
"""

from busim.simulator.faults.benches import Bench, CameraBench, ConverterBench, LineBench, StationBench
from busim.simulator.faults.catalogue import all_faults, find_fault
from busim.simulator.faults.chatter import Chatter
from busim.simulator.faults.declaration import COMMON, Fault
from busim.simulator.faults.delays import Latency, Turnaround
from busim.simulator.faults.noise import BitNoise
from busim.simulator.faults.parameters import Parameter, Values, exact_time
from busim.simulator.faults.presets import Preset, all_presets, find_preset, is_preset

__all__ = [
    "COMMON",
    "Bench",
    "BitNoise",
    "CameraBench",
    "Chatter",
    "ConverterBench",
    "Fault",
    "Latency",
    "LineBench",
    "Parameter",
    "Preset",
    "StationBench",
    "Turnaround",
    "Values",
    "all_faults",
    "all_presets",
    "exact_time",
    "find_fault",
    "find_preset",
    "is_preset",
]
