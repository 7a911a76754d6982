"""The pair of wires: bursts go in; characters reach listeners, and records of both come out. Open `line` first.

The way of data: a `Burst` of a `Station` -> `driver` (its levels) -> `superposition` (the level at a receiver) ->
`uart` (characters) -> `Listener`. `fast` is the short cut for a burst that nothing disturbs.
"""

from busim.simulator.bus.line import Line
from busim.simulator.bus.settings import Setting, setting
from busim.simulator.bus.stations import Burst, Listener, Station
from busim.simulator.bus.uart import Uart
from busim.simulator.bus.wave import Pulse, Wave

__all__ = ["Burst", "Line", "Listener", "Pulse", "Setting", "Station", "Uart", "Wave", "setting"]
