"""The world: a plan as live objects - lines, cameras, converters, masters, operators - around one kernel.

Open `build.py` first.
"""

from busim.simulator.world.asking import Way, way_through
from busim.simulator.world.build import build
from busim.simulator.world.camera_ports import CameraPort
from busim.simulator.world.controller_hook import Hook
from busim.simulator.world.converter_ports import ConverterPort
from busim.simulator.world.fault_board import FaultBoard, Switched
from busim.simulator.world.fault_entries import wrong_faults
from busim.simulator.world.master_ports import MasterBehindConverter, MasterPort
from busim.simulator.world.site_actions import DOWN
from busim.simulator.world.tool import Beneath, Drove, Heard, HeardReply, Packet, Replies, Tool
from busim.simulator.world.world import Name, SettingRow, World

__all__ = [
    "DOWN",
    "Beneath",
    "CameraPort",
    "ConverterPort",
    "Drove",
    "FaultBoard",
    "Heard",
    "HeardReply",
    "Hook",
    "MasterBehindConverter",
    "MasterPort",
    "Name",
    "Packet",
    "Replies",
    "SettingRow",
    "Switched",
    "Tool",
    "Way",
    "World",
    "build",
    "way_through",
    "wrong_faults",
]
