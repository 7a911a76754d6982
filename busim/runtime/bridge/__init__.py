"""The bridge: converters as TCP servers or clients, UDP ports and serial ports, for real controllers.

Also the controller itself as a child process, if busim starts it.

Open `door.py` first.
"""

from busim.runtime.bridge.addresses import Address, addresses, dialled
from busim.runtime.bridge.binding import bind_all, cautions
from busim.runtime.bridge.child import Child
from busim.runtime.bridge.datagram_door import DatagramDoor
from busim.runtime.bridge.door import Door, Enter
from busim.runtime.bridge.endpoints import endpoints_json, fill, variables
from busim.runtime.bridge.pty_door import PtyDoor, link_names

__all__ = [
    "Address",
    "Child",
    "DatagramDoor",
    "Door",
    "Enter",
    "PtyDoor",
    "addresses",
    "bind_all",
    "cautions",
    "dialled",
    "endpoints_json",
    "fill",
    "link_names",
    "variables",
]
