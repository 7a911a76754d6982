"""The pair of wires: settings, stations, the line with its fast and its exact path, and the receivers."""

from busim.bus.line import Line
from busim.bus.setting import Setting, setting
from busim.bus.stations import Burst, Listener, Station
from busim.bus.uart import Uart
from busim.bus.wave import Pulse, Wave

__all__ = ["Burst", "Line", "Listener", "Pulse", "Setting", "Station", "Uart", "Wave", "setting"]
