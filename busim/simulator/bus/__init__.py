"""The pair of wires: settings, stations, the line with its fast and its exact path, and the receivers."""

from busim.simulator.bus.line import Line
from busim.simulator.bus.setting import Setting, setting
from busim.simulator.bus.stations import Burst, Listener, Station
from busim.simulator.bus.uart import Uart
from busim.simulator.bus.wave import Pulse, Wave

__all__ = ["Burst", "Line", "Listener", "Pulse", "Setting", "Station", "Uart", "Wave", "setting"]
