"""The world: a plan as live objects - lines, cameras, converters, masters, operators - around one kernel."""

from busim.world.asking import Way, way_through
from busim.world.build import build
from busim.world.camera_ports import CameraPort
from busim.world.converter_ports import ConverterPort
from busim.world.hooks import Hook
from busim.world.master_ports import MasterPort
from busim.world.tool import Beneath, Drove, Heard, HeardReply, Packet, Tool
from busim.world.world import Name, SettingRow, World

__all__ = [
    "Beneath",
    "CameraPort",
    "ConverterPort",
    "Drove",
    "Heard",
    "HeardReply",
    "Hook",
    "MasterPort",
    "Name",
    "Packet",
    "SettingRow",
    "Tool",
    "Way",
    "World",
    "build",
    "way_through",
]
