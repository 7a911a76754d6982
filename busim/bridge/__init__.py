"""The bridge: converters as TCP servers or clients, at UDP ports and as serial ports: the way of a controller in."""

from busim.bridge.addresses import Address, addresses, dialled
from busim.bridge.binding import bind_all, cautions
from busim.bridge.datagram_door import DatagramDoor
from busim.bridge.door import Door, Enter
from busim.bridge.pty_door import PtyDoor, link_names

__all__ = [
    "Address",
    "DatagramDoor",
    "Door",
    "Enter",
    "PtyDoor",
    "addresses",
    "bind_all",
    "cautions",
    "dialled",
    "link_names",
]
